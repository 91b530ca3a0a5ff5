"""Limits as a picture: for each move how much of what is allowed is used, against acceleration and against speed."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pygame
from beltspring.sim import Limit, Limits, Trial
from numpy.typing import NDArray

from ..charts.axes import Axis, curve_image, nice_step
from ..charts.panels import panel
from ..draw import text
from ..draw.canvas import dashes, disc, path_stroke, surface
from ..draw.png import save_png
from ..draw.theme import Colour, Look, look

Array = NDArray[np.float64]

SIZE = (1600, 1000)
TOP_PERCENT = 220.0
MOVE_WORDS = {"x": "Step along X", "y": "Step along Y", "own": "The scenario's move"}


def limits_picture(limits: Limits, path: str | Path, theme: str = "light", scale: float = 1.0) -> Path:
    """Write the picture."""
    size = round(SIZE[0] * scale), round(SIZE[1] * scale)
    image = draw_limits(limits, look(theme, scale), size)
    words = {"Title": f"{limits.title}: limits", "Software": "beltspring"}
    words["Description"] = "\n".join(limit.words for limit in limits.limits)
    return save_png(image, path, words)


def draw_limits(limits: Limits, style: Look, size: tuple[int, int]) -> pygame.Surface:
    """Columns: the moves. Rows: acceleration and speed, as far as they were looked for."""
    target = surface(size)
    target.fill(style.theme.page)
    margin, gap = style.px(24), style.px(16)
    used = text.draw(target, style, limits.title, margin, style.px(44), 26, bold=True)
    allowed = limits.criteria
    words = (
        f"how fast before it rings more than {text.plain(allowed.ringing_m * 1e6)} µm, loses steps, goes slack or uses "
        f"more than {text.plain(allowed.torque_share * 100)} % of the torque"
    )
    room = size[0] - used.right - margin - style.px(14)
    text.draw(target, style, text.fit(style, words, room, 16), used.right + style.px(14), style.px(44), 16,
              colour=style.theme.dim)  # fmt: skip
    moves = list(dict.fromkeys(limit.move for limit in limits.limits))
    rows = list(dict.fromkeys(limit.quantity for limit in limits.limits))
    area = pygame.Rect(margin, style.px(64), size[0] - 2 * margin, size[1] - style.px(64) - style.px(36))
    wide = (area.w - gap * (len(moves) - 1)) / len(moves)
    tall = (area.h - gap * (len(rows) - 1)) / len(rows)
    for limit in limits.limits:
        column, row = moves.index(limit.move), rows.index(limit.quantity)
        box = pygame.Rect(
            round(area.x + column * (wide + gap)), round(area.y + row * (tall + gap)), round(wide), round(tall)
        )
        _plot(target, style, box, limit, limits)
    foot = "every point is one simulation; 100 % is what is allowed; the mark is the answer, run again at 99 % and 105 % of it"
    text.draw(
        target, style, text.fit(style, foot, area.w, 14), margin, size[1] - style.px(13), 14, colour=style.theme.dim
    )
    return target


def _plot(target: pygame.Surface, style: Look, rect: pygame.Rect, limit: Limit, limits: Limits) -> None:
    unit = "mm/s²" if limit.quantity == "acceleration" else "mm/s"
    inner = panel(
        target, style, rect, MOVE_WORDS[limit.move], [f"% of what is allowed, against {limit.quantity}", "% of allowed"]
    )
    verdict = limit.words.partition(": ")[2] or limit.words
    lines = text.wrap(style, verdict[:1].upper() + verdict[1:] + ".", inner.w, 16)[:2]
    for k, line in enumerate(lines):
        text.draw(target, style, line, inner.x, inner.y + style.px(14 + 21 * k), 16, bold=limit.value is not None)
    if not limit.curve:
        return
    top = inner.y + style.px(62)
    area = pygame.Rect(inner.x + style.px(48), top, inner.w - style.px(60), inner.bottom - top - style.px(26))
    values = np.array([trial.value for trial in limit.curve]) * 1e3
    high = float(values[-1]) if limit.value is None else min(float(values[-1]), 1.7e3 * limit.value)
    across = Axis(0.0, high, area.x, area.right)
    up = Axis(0.0, TOP_PERCENT, area.bottom, area.y)
    _grid(target, style, area, across, up, unit)
    ringing = [_percent(t.ringing_m, limits.criteria.ringing_m) for t in limit.curve]
    torque = [_percent(t.torque_share, limits.criteria.torque_share) for t in limit.curve]
    colour = style.theme.axis(limit.move) if limit.move in ("x", "y") else style.theme.text
    _curve(target, style, area, across, up, values, torque, style.theme.dim, "torque")
    _curve(target, style, area, across, up, values, ringing, colour, "ringing")
    _losses(target, style, area, across, limit.curve)
    if limit.value is not None:
        x = round(float(across(limit.value * 1e3)))
        for y in range(area.y, area.bottom, style.px(6)):
            target.fill(style.theme.text, (x, y, style.px(1), style.px(3)))
        disc(target, (x, float(up(min(answer_percent(limit, limits), TOP_PERCENT)))), style.px(5), style.theme.text)
        words = f"{text.plain(limit.value * 1e3)} {unit}"
        left = x + style.px(8) + text.width(style, words, 16, True) > area.right
        text.draw(target, style, words, x - style.px(8) if left else x + style.px(8), area.y + style.px(14), 16, bold=True,
                  align="right" if left else "left", back=style.theme.panel)  # fmt: skip


def answer_percent(limit: Limit, limits: Limits) -> float:
    """What is used at the answer, in percent: the height of the curve that gives way there, so that the mark lies on it."""
    assert limit.value is not None
    trial = min(limit.curve, key=lambda t: abs(t.value - (limit.value or 0.0)))
    ringing = _percent(trial.ringing_m, limits.criteria.ringing_m)
    torque = _percent(trial.torque_share, limits.criteria.torque_share)
    wanted = {"ringing": ringing, "torque": torque}.get(limit.gives_way, float("nan"))
    known = [v for v in (wanted, ringing, torque) if np.isfinite(v)]
    # A belt that goes slack or a step that is lost has no curve: the mark then lies on the higher of the two.
    return (wanted if np.isfinite(wanted) else max(known)) if known else 100.0


def _percent(value: float | None, allowed: float) -> float:
    return float("nan") if value is None else 100.0 * value / allowed


def _grid(target: pygame.Surface, style: Look, area: pygame.Rect, across: Axis, up: Axis, unit: str) -> None:
    for tick in (0, 100, 200):
        y = round(float(up(tick)))
        colour = style.theme.line if tick == 0 else style.theme.grid
        target.fill(colour, (area.x, y, area.w, style.px(1)))
        text.draw(
            target, style, f"{tick} %", area.x - style.px(8), y + style.px(5), 14, colour=style.theme.dim, align="right"
        )
    ends = np.array([[area.x, float(up(100))], [area.right, float(up(100))]])
    for piece in dashes(ends, style.px(7), style.px(4)):
        path_stroke(target, piece, style.px(2), style.theme.alarm)
    step = nice_step(across.high, max(2, area.w // style.px(90)))
    ticks = np.arange(0, across.high + 1e-9, step).tolist()
    for k, tick in enumerate(ticks):
        words = text.number(tick) + (f" {unit}" if k == len(ticks) - 1 else "")
        half = text.width(style, words, 14) / 2
        x = min(float(across(tick)), area.right + style.px(8) - half)
        text.draw(target, style, words, x, area.bottom + style.px(20), 14, colour=style.theme.dim, align="center")


def _curve(
    target: pygame.Surface,
    style: Look,
    area: pygame.Rect,
    across: Axis,
    up: Axis,
    values: Array,
    percent: list[float],
    colour: Colour,
    name: str,
) -> None:
    """One curve, cut off at the top, named where it ends or leaves the picture."""
    y = np.array(percent)
    keep = np.isfinite(y) & (values <= across.high * 1.0001)
    if keep.sum() < 2:
        return
    px = np.asarray(across(values[keep])), np.asarray(up(np.minimum(y[keep], TOP_PERCENT)))
    image = curve_image(style, target.get_size(), target.copy(), [(*px, colour)])
    target.blit(image, (area.x, area.y), area)
    for point in zip(*px, strict=True):
        disc(target, (float(point[0]), float(point[1])), style.px(2), colour)
    inside = np.flatnonzero(y[keep] < TOP_PERCENT - 1)
    k = int(inside[-1]) if len(inside) else 0
    x = min(float(px[0][k]), area.right - text.width(style, name, 14) / 2)
    above = float(px[1][k]) - style.px(9)
    below = float(px[1][k]) + style.px(18)
    baseline = above if above > area.y + style.px(24) else below
    text.draw(target, style, name, x, baseline, 14, colour=colour, align="center", back=style.theme.panel)


def _losses(target: pygame.Surface, style: Look, area: pygame.Rect, across: Axis, curve: tuple[Trial, ...]) -> None:
    """Where a belt goes slack or a motor loses steps: a mark at the foot with its word once."""
    for what, word in (("slack", "slack"), ("lost steps", "lost steps"), ("run", "run stopped")):
        where = [float(across(t.value * 1e3)) for t in curve if what in t.broken and t.value * 1e3 <= across.high]
        for x in where:
            target.fill(
                style.theme.alarm, (round(x) - style.px(2), area.bottom - style.px(8), style.px(4), style.px(8))
            )
        if where:
            text.draw(target, style, word, min(where), area.bottom - style.px(14), 14, colour=style.theme.alarm,
                      back=style.theme.panel)  # fmt: skip
