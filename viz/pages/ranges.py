"""Every compared design as a picture: how much each rings over the judged speeds, best first, on one scale."""

from __future__ import annotations

from pathlib import Path

import pygame
from beltspring.sim import Comparison, Judged, Spread, Spreading

from ..charts.axes import decimals_of, nice_step
from ..draw import text
from ..draw.canvas import rounded, surface
from ..draw.png import save_png
from ..draw.theme import Look, look

WIDTH, ROW, TOP, FOOT = 1600, 52, 150, 84
#: Where the columns begin, px at scale 1: names, bars (from, to), judged ringing, price, check.
NAME, BARS, JUDGED, PRICE, CHECK = 24, (430, 1010), 1110, 1220, 1250
MOST_TICKS = 6


def ranges_picture(
    comparison: Comparison,
    path: str | Path,
    spreading: Spreading | None = None,
    theme: str = "light",
    scale: float = 1.0,
) -> Path:
    """Write the picture; as high as there are designs. Lengths on it are µm."""
    image = draw_ranges(comparison, look(theme, scale), spreading)
    words = {"Title": f"{comparison.reports[0].title}: designs compared", "Software": "beltspring"}
    words["Description"] = "\n".join(comparison.sentences)
    return save_png(image, path, words)


def draw_ranges(comparison: Comparison, style: Look, spreading: Spreading | None = None) -> pygame.Surface:
    """A row for each design, best first, those that cannot be built last."""
    rows = len(comparison.order) + len(comparison.refused)
    size = style.px(WIDTH), style.px(TOP + ROW * rows + FOOT)
    target = surface(size)
    target.fill(style.theme.page)
    _head(target, style, comparison, size[0])
    top_um = max((1e6 * j.most_m for j in comparison.judged if j is not None and j.most_m is not None), default=0.0)
    top_um = max([top_um, *(_ends(s)[1] for s in spreading.spreads)]) if spreading is not None else top_um
    px_um = style.px(BARS[1] - BARS[0]) / top_um if top_um > 0 else 0.0
    _scale(target, style, top_um, px_um, size[1])
    y = style.px(TOP)
    for i in comparison.order:
        _row(target, style, comparison, i, y, px_um, None if spreading is None else spreading.spreads[i])
        y += style.px(ROW)
    for one in comparison.refused:
        base = y + style.px(ROW // 2 + 6)
        text.draw(target, style, text.fit(style, one.label, style.px(BARS[0] - NAME - 16), 18), style.px(NAME), base, 18,
                  colour=style.theme.dim)  # fmt: skip
        words = text.fit(style, f"cannot be built: {one.refused}", size[0] - style.px(BARS[0] + 24), 16)
        text.draw(target, style, words, style.px(BARS[0]), base, 16, colour=style.theme.alarm)
        y += style.px(ROW)
    foot = "thick: least to most over the judged speeds; tick: judged, their root mean square"
    foot += "; thin: 8 of 10 machines built from these parts" if spreading is not None else ""
    foot += "; *: no other design beats it" if any(comparison.starred) else ""
    text.draw(target, style, foot, style.px(NAME), size[1] - style.px(16), 14, colour=style.theme.dim)
    return target


def _head(target: pygame.Surface, style: Look, comparison: Comparison, wide: int) -> None:
    first = comparison.reports[0]
    used = text.draw(target, style, first.title, style.px(NAME), style.px(44), 26, bold=True)
    count = len(comparison.order) + len(comparison.refused)
    words = f"{count} designs, the same move: {first.plan.description}"
    room = wide - used.right - style.px(NAME + 14)
    text.draw(target, style, text.fit(style, words, room, 16), used.right + style.px(14), style.px(44), 16,
              colour=style.theme.dim)  # fmt: skip
    verdict = comparison.sentences[min(1, len(comparison.sentences) - 1)]
    text.draw(target, style, text.fit(style, verdict, wide - 2 * style.px(NAME), 18), style.px(NAME), style.px(82), 18)
    head = style.px(TOP - 14)
    dim = style.theme.dim
    text.draw(target, style, "ringing, µm", style.px(BARS[0]), head, 14, colour=dim)
    text.draw(target, style, "judged µm", style.px(JUDGED), head, 14, colour=dim, align="right")
    if any(p is not None for p in comparison.priced):
        text.draw(target, style, "price", style.px(PRICE), head, 14, colour=dim, align="right")
    text.draw(target, style, "check", style.px(CHECK), head, 14, colour=dim)


def _scale(target: pygame.Surface, style: Look, top_um: float, px_um: float, high: int) -> None:
    """Lines at round values behind the bars, written below them."""
    if px_um <= 0:
        return
    step = nice_step(top_um, MOST_TICKS)
    bottom = high - style.px(FOOT - 8)
    for k in range(int(top_um / step + 1e-9) + 1):
        x = style.px(BARS[0]) + round(k * step * px_um)
        target.fill(style.theme.grid, (x, style.px(TOP), 1, bottom - style.px(TOP)))
        words = text.number(k * step, decimals_of(step))
        text.draw(target, style, words, x, bottom + style.px(18), 14, colour=style.theme.dim, align="center")


def _row(
    target: pygame.Surface, style: Look, comparison: Comparison, i: int, y: int, px_um: float, spread: Spread | None
) -> None:
    judged, checked, price = comparison.judged[i], comparison.checked[i], comparison.priced[i]
    theme, base, middle = style.theme, y + style.px(ROW // 2 + 6), y + style.px(ROW // 2)
    target.fill(theme.line, (style.px(NAME), y, style.px(WIDTH - 2 * NAME), 1))
    label = f"{comparison.labels[i]}{' *' if comparison.starred[i] else ''}"
    best = i == comparison.best
    name = text.fit(style, label, style.px(BARS[0] - NAME - 16), 18, best)
    text.draw(
        target, style, name, style.px(NAME), base, 18, bold=best, colour=theme.dim if checked.stops else theme.text
    )
    _bar(target, style, judged, middle, px_um, theme.dim if checked.stops else theme.control)
    if spread is not None:
        low, high = (style.px(BARS[0]) + round(v * px_um) for v in _ends(spread))
        target.fill(theme.text, (low, middle + style.px(11), max(1, high - low), style.px(2)))
    if judged is not None and judged.judged_m is not None:
        words = text.sensible(judged.judged_m * 1e6)
        text.draw(target, style, words, style.px(JUDGED), base, 18, bold=best, align="right")
    else:
        text.draw(target, style, "no verdict", style.px(BARS[0]), base, 16, colour=theme.dim)
    if price is not None and price.price is not None:
        text.draw(target, style, f"{price.price:.2f}", style.px(PRICE), base, 16, align="right")
    words = text.fit(style, checked.words or "passes", style.px(WIDTH - NAME - CHECK), 16)
    text.draw(target, style, words, style.px(CHECK), base, 16, colour=theme.alarm if checked.stops else theme.dim)


def _bar(
    target: pygame.Surface, style: Look, judged: Judged | None, middle: int, px_um: float, colour: tuple[int, int, int]
) -> None:
    """From the least to the most, with a tick at what is judged."""
    if judged is None or judged.judged_m is None or judged.least_m is None or judged.most_m is None:
        return
    left, right, at = (
        style.px(BARS[0]) + round(1e6 * v * px_um) for v in (judged.least_m, judged.most_m, judged.judged_m)
    )
    bar = pygame.Rect(left, middle - style.px(7), max(style.px(3), right - left), style.px(14))
    rounded(target, bar, style.px(3), style.theme.faded(colour, 0.55))
    target.fill(style.theme.text, (at - style.px(2), middle - style.px(11), style.px(4), style.px(22)))


def _ends(spread: Spread) -> tuple[float, float]:
    """8 of 10 machines, µm."""
    found = spread.answers.get("judged_um")
    return (found.low, found.high) if found is not None else (0.0, 0.0)
