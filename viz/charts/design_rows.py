"""Compared designs as rows: how much each rings on one scale, beside the first, how sure that is, what check says."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import pygame

from ..draw import text
from ..draw.canvas import disc, framed, rounded
from ..draw.theme import Look, mix
from .axes import decimals_of
from .design_bars import bars, ticks_of, whisker
from .marks import mark

ROW, LOW_ROW, OPEN, HEAD = 32, 27, 26, 50


@dataclass(frozen=True)
class RowShown:
    """A row to draw. told: what is known of the design, None while it runs.  number: of its colour, None where not ticked.

    state: said instead of what is not known ("running", why it failed).  stale: it no longer belongs to the settings.
    shared: warnings that every design has, told once above.
    """

    label: str
    told: Any
    number: int | None
    state: str = ""
    stale: bool = False
    shared: tuple[str, ...] = ()


@dataclass(frozen=True)
class Columns:
    """Where the columns stand, px; a column of no width is left out."""

    tick: int
    name: pygame.Rect
    bars: pygame.Rect
    judged: int
    against: pygame.Rect
    sure: pygame.Rect
    takes: int
    price: int
    check: pygame.Rect


def columns_in(
    look: Look, rect: pygame.Rect, narrow: bool, *, priced: bool = False, names: Sequence[str] = ()
) -> Columns:
    """The columns of a table in `rect`, seven at most: where there are prices, they stand for what the move takes.

    In a narrow window both go: an open row says them. names: of the designs; a long one takes room from the bars.
    """

    def part(left: int, right: int) -> pygame.Rect:
        return pygame.Rect(left, rect.y, right - left, rect.h)

    tick = rect.x
    usual = look.px(120 if narrow else 150)
    wanted = max((text.width(look, f"{words} *", 16, True) for words in names), default=0) + look.px(20)
    wide = min(max(usual, wanted), usual + look.px(60 if narrow else 90))
    name = part(tick + look.px(24), tick + look.px(24) + wide)
    scale = round(rect.w * (0.24 if narrow else 0.27)) - (wide - usual)
    bars = part(name.right + look.px(12), name.right + look.px(12) + scale)
    judged = bars.right + look.px(72)
    against = part(judged + look.px(20), judged + look.px(20 + 118))
    sure = part(against.right + look.px(8), against.right + look.px(8 + 132))
    takes = 0 if narrow or priced else sure.right + look.px(48)
    price = sure.right + look.px(64) if priced and not narrow else 0
    check = part((takes or price or sure.right) + look.px(20), rect.right)
    return Columns(tick, name, bars, judged, against, sure, takes, price, check)


def draw_head(
    target: pygame.Surface,
    look: Look,
    at: Columns,
    rect: pygame.Rect,
    top_m: float,
    legend: Sequence[str],
    right: str,
    price: str = "",
) -> None:
    """The names of the columns, what bar, line, dot and star mean, and the scale. right: what is equal in all.

    price: what is said above the prices.
    legend: the words of bar, line, dot and star, "" of one that is not there.
    """
    dim, first, second = look.theme.dim, rect.y + look.px(14), rect.y + look.px(36)
    text.draw(target, look, "Ringing left at a stop", rect.x, first, 14, bold=True)
    x = at.bars.x
    speeds, draws, own, star = legend
    rounded(target, pygame.Rect(x, first - look.px(9), look.px(26), look.px(9)), look.px(3), look.theme.track)
    pygame.draw.rect(target, look.theme.text, (x + look.px(12), first - look.px(12), look.px(2), look.px(15)))
    x = text.draw(
        target, look, f"{speeds}, line: judged, their mean", x + look.px(32), first, 14, colour=dim
    ).right + look.px(16)
    if draws:
        whisker(target, look, x, x + look.px(26), first - look.px(5), look.theme.dim)
        x = text.draw(target, look, draws, x + look.px(32), first, 14, colour=dim).right + look.px(16)
    disc(target, (x + look.px(5), first - look.px(5)), look.px(5), look.theme.text)
    x = text.draw(target, look, own, x + look.px(16), first, 14, colour=dim).right + look.px(16)
    if star:
        x = text.draw(target, look, f"* {star}", x, first, 14, colour=dim).right + look.px(16)
    if right and rect.right - x > look.px(180):
        words = text.fit(look, _whole_words(look, right, rect.right - x), rect.right - x, 14)
        text.draw(target, look, words, rect.right, first, 14, colour=dim, align="right")
    text.draw(target, look, "µm", at.bars.x - look.px(8), second, 14, colour=dim, align="right")
    for tick in ticks_of(top_m):
        at_x = at.bars.x + round(tick * 1e-6 / top_m * at.bars.w)
        words = text.number(tick, decimals_of(tick) if tick else 0)
        at_x = min(at_x, at.bars.right - text.width(look, words, 14) // 2)  # clear of the next column's name
        text.draw(target, look, words, at_x, second, 14, colour=dim, align="center")
    text.draw(target, look, "judged µm", at.judged, second, 14, colour=dim, align="right")
    text.draw(target, look, "beside the first", at.against.x, second, 14, colour=dim)
    text.draw(target, look, "how sure", at.sure.x, second, 14, colour=dim)
    if at.takes:
        text.draw(target, look, "takes s", at.takes, second, 14, colour=dim, align="right")
    if at.price:
        text.draw(target, look, price, at.price, second, 14, colour=dim, align="right")
    text.draw(target, look, "check", at.check.x, second, 14, colour=dim)


def _whole_words(look: Look, words: str, room: float) -> str:
    """As many of the things that a comma parts as fit."""
    said = words
    while text.width(look, said, 14) > room and ", " in words:
        words = words.rpartition(", ")[0]
        said = f"{words}, …"
    return said


def draw_row(
    target: pygame.Surface, look: Look, at: Columns, rect: pygame.Rect, row: RowShown, top_m: float, *, chosen: bool
) -> None:
    """One design. rect: of its row."""
    theme, middle = look.theme, rect.centery
    baseline = middle + look.px(5)
    if chosen:
        wide = rect.inflate(look.px(16), -look.px(2))
        rounded(target, wide, look.px(6), mix(theme.panel, theme.raised, 0.6))
    colour = theme.designs[row.number % 3] if row.number is not None else theme.track
    _tick_box(target, look, at.tick, middle, row.number)
    if row.number is not None:
        mark(target, look, row.number, (at.name.x + look.px(6), middle), colour)
    star, bold = " *" if row.told is not None and row.told.starred else "", row.number is not None
    room = at.name.w - look.px(18) - text.width(look, star, 16, bold)
    words = text.fit(look, row.label, room, 16, bold) + star
    text.draw(
        target, look, words, at.name.x + look.px(18), baseline, 16, bold=bold, colour=colour if bold else theme.text
    )
    if row.told is None:
        room = rect.right - at.bars.x
        alarm = row.state != "running"
        said = text.fit(look, ("! " if alarm else "") + row.state, room, 14)
        text.draw(target, look, said, at.bars.x, baseline, 14, colour=theme.alarm if alarm else theme.dim)
        return
    told = row.told
    bars(target, look, at.bars, middle, told, colour, top_m)
    judged = told.judged
    value = text.micrometres(judged.judged_m) if judged is not None and judged.judged_m is not None else "–"
    text.draw(target, look, value, at.judged, baseline, 16, bold=True, align="right")
    first = told.against == "the one to beat"
    ink = theme.dim if first or not told.against else theme.text
    size = 16 if text.width(look, told.against, 16, not first) <= at.against.w else 14
    text.draw(target, look, told.against, at.against.x, baseline, size, bold=not first, colour=ink)
    text.draw(target, look, text.fit(look, told.sure, at.sure.w, 14), at.sure.x, baseline, 14, colour=theme.dim)
    if at.takes:
        text.draw(target, look, text.number(told.move_s, 2), at.takes, baseline, 16, align="right")
    if at.price:
        text.draw(target, look, price_words(told), at.price, baseline, 16, align="right")
    _check(target, look, at.check, middle, row)


def price_words(told: Any) -> str:
    """What a design costs, two decimals; a dash where that is not known."""
    return text.number(told.priced.price, 2) if told.priced is not None and told.priced.price is not None else "–"


def check_words(told: Any, shared: Sequence[str] = ()) -> tuple[str, list[str]]:
    """(sign, wordings) of what the run and `check` say: "stop", "warning" or "", and the names of the rules.

    The first wording names every rule that stops, or that warns where none stops; each next one less, and how many more.
    """
    stops = [*told.troubles, *told.checked.stops]
    names = stops or [rule for rule in told.checked.warnings if rule not in shared]
    if not names:
        return "", ["as all" if shared else "passes"]
    head = "stop: " if stops else ""
    shorter = [f"{head}{', '.join(names[:k])}, {len(names) - k} more" for k in range(len(names) - 1, 0, -1)]
    return "stop" if stops else "warning", [head + ", ".join(names), *shorter]


def _check(target: pygame.Surface, look: Look, at: pygame.Rect, middle: int, row: RowShown) -> None:
    sign, wordings = check_words(row.told, row.shared)
    x, theme = at.x, look.theme
    if sign:
        half = look.px(8)
        c = (x + half, middle)
        if sign == "stop":
            rounded(target, pygame.Rect(x, middle - half, 2 * half, 2 * half), look.px(4), theme.alarm)
        else:
            pygame.draw.polygon(
                target,
                theme.alarm,
                [(x - 1, middle + half - 1), (x + 2 * half + 1, middle + half - 1), (c[0], middle - half)],
            )
        text.draw(target, look, "!", c[0], middle + look.px(5), 14, bold=True, colour=theme.panel, align="center")
        x += look.px(26)
    if row.stale:
        wordings = [f"last good result; {words}" for words in wordings]
    fitting = (words for words in wordings if text.width(look, words, 14) <= at.right - x)
    said = text.fit(look, next(fitting, wordings[-1]), at.right - x, 14)
    text.draw(target, look, said, x, middle + look.px(5), 14, colour=theme.text if sign else theme.dim)


def _tick_box(target: pygame.Surface, look: Look, x: int, middle: int, number: int | None) -> None:
    theme, size = look.theme, look.px(15)
    box = pygame.Rect(x, middle - size // 2, size, size)
    framed(target, box, look.px(3), mix(theme.panel, theme.raised, 0.6), theme.dim, look.px(1))
    if number is not None:
        points = [(box.x + 0.2 * size, middle), (box.x + 0.42 * size, middle + 0.26 * size),
                  (box.x + 0.82 * size, middle - 0.28 * size)]  # fmt: skip
        pygame.draw.lines(target, theme.text, False, points, look.px(2))


def detail_words(told: Any) -> list[str]:
    """What an open row says: what beats it, its price, X, Y and frame, how long it rings, what the move takes and moves, what
    went wrong."""
    rings, frame = told.rings_hz, told.weighed.tones_hz[2]

    def hz(value: float | None) -> str:
        return "–" if value is None else f"{text.number(value, 1 if value < 20 else 0)} Hz"

    fades = []
    if told.fades_s is not None:
        fades = [f"fades in {text.number(told.fades_s * 1e3)} ms"]
    elif any(rings):
        fades = ["does not fade between corners"]
    beaten = [f"{told.beaten_by} beats it"] if told.beaten_by else []
    grams = text.number(max(told.weighed.moving_kg, default=0.0) * 1e3)
    went = "; ".join(told.troubles) if told.troubles else "no step lost, no belt slack"
    return [
        *beaten, *_cost(told), f"X rings at {hz(rings[0])}", f"Y rings at {hz(rings[1])}", f"frame at {hz(frame)}", *fades,
        f"takes {text.number(told.move_s, 2)} s", f"moves {grams} g", went,
    ]  # fmt: skip


def _cost(told: Any) -> list[str]:
    """ "costs 310.20 EUR without 2 that have no price"; nothing without prices."""
    if told.priced is None:
        return []
    if told.priced.price is None:
        return ["no price: nothing could be listed"]
    missing = len(told.priced.unpriced)
    without = f" without {missing} that have no price" if missing else ""
    without += ", invented prices" if told.priced.order is not None and told.priced.order.invented else ""
    return [f"costs {price_words(told)} {told.priced.currency}{without}".replace("  ", " ")]


def draw_open(target: pygame.Surface, look: Look, at: Columns, rect: pygame.Rect, row: RowShown) -> None:
    """The line below an open row: as much as fits, the first things first."""
    if row.told is None:
        return
    x, baseline = at.name.x + look.px(18), rect.y + look.px(16)
    shown = ""
    for piece in detail_words(row.told):
        longer = f"{shown}  ·  {piece}" if shown else piece
        if text.width(look, longer, 14) > rect.right - x:
            break
        shown = longer
    alarm = bool(row.told.troubles)
    text.draw(target, look, shown, x, baseline, 14, colour=look.theme.alarm if alarm else look.theme.dim)
