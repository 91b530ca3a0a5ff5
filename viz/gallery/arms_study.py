"""How long arms and how far out towers should be: what the small delta's tool gives way by, and how far it reaches.

Every number is that of `check` for the shipped small-delta with the keys named here changed, at detail full.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import pygame
from beltspring.sim import (
    LOW_STOP_DEG,
    LOW_WARN_DEG,
    InputError,
    build_machine,
    build_model,
    load,
    lowest_arm,
    softest_directions,
    with_changes,
)
from beltspring.viz.charts.panels import panel
from beltspring.viz.charts.ripple_map import ramp
from beltspring.viz.draw import text
from beltspring.viz.draw.canvas import surface
from beltspring.viz.draw.png import save_png
from beltspring.viz.draw.theme import Colour, Look, look

NAME = "small-delta"
ARMS_MM = tuple(range(180, 301, 15))
TOWERS_MM = tuple(range(138, 199, 10))
REACHES_MM = tuple(range(100, 261, 20))
OUT_MM = (138, 158, 178, 198)  # towers of the curves
SIZE = (1200, 560)


@dataclass(frozen=True)
class Point:
    """One machine: softest and middle, N/mm, over its reach and in the middle of it; flattest, degrees; columns, mm."""

    softest: float
    middle: float
    flattest: float
    columns: float
    outward: bool


def point(changes: dict[str, float]) -> Point | None:
    """The small delta with changes; None where it cannot be."""
    try:
        machine = build_machine(with_changes(load(NAME), changes))
    except InputError:
        return None
    system, arms = build_model(machine), machine.design.arms
    assert arms is not None
    found = softest_directions(system)
    centre = min(found, key=lambda f: float(abs(f[1][0]) + abs(f[1][1])))
    rim = machine.design.space.x_m / 2
    return Point(
        min(f[0] for f in found) / 1e3,
        centre[0] / 1e3,
        math.degrees(lowest_arm(machine)),
        machine.design.frame_size.height_m * 1e3,
        arms.across_m < rim,
    )


def at(arm_mm: float, tower_mm: float) -> Point | None:
    """With the reach as written."""
    return point({"delta.arm_mm": arm_mm, "delta.tower_radius_mm": tower_mm})


def shortest(reach_mm: float, tower_mm: float) -> tuple[float, Point | None]:
    """(arm length mm, machine) with arms just long enough to stand 25 degrees at the rim of a reach."""
    spec = build_machine(load(NAME)).design.arms
    assert spec is not None
    across = tower_mm - (spec.carriage_offset_m + spec.effector_radius_m) * 1e3
    arm_mm = math.ceil((across + reach_mm / 2) / math.cos(math.radians(LOW_WARN_DEG)))
    keys = {"space.x_mm": reach_mm, "space.y_mm": reach_mm, "delta.arm_mm": arm_mm, "delta.tower_radius_mm": tower_mm}
    return arm_mm, point(keys)


def picture(file: Path) -> None:
    """Both panels as one light picture."""
    style = look("light")
    target = surface(SIZE)
    target.fill(style.theme.page)
    left = pygame.Rect(20, 20, 640, SIZE[1] - 40)
    _map(target, style, left)
    _curves(target, style, pygame.Rect(left.right + 20, 20, SIZE[0] - left.right - 40, SIZE[1] - 40))
    save_png(target, file, {"Title": "Arm length and tower radius of a delta"})


def _map(target: pygame.Surface, style: Look, rect: pygame.Rect) -> None:
    theme = style.theme
    panel(target, style, rect, "Softest direction in the reach, N/mm", "reach 160 mm; motors held")
    grid = {(a, t): at(a, t) for a in ARMS_MM for t in TOWERS_MM}
    values = [p.softest for p in grid.values() if p is not None and p.flattest >= LOW_STOP_DEG]
    low, high = min(values), max(values)
    box = pygame.Rect(rect.x + 74, rect.y + 62, rect.w - 96, rect.h - 138)
    w, h = box.w / len(ARMS_MM), box.h / len(TOWERS_MM)
    for i, a in enumerate(ARMS_MM):
        for j, t in enumerate(TOWERS_MM):
            found = grid[a, t]
            cell = pygame.Rect(round(box.x + i * w), round(box.bottom - (j + 1) * h), round(w) - 2, round(h) - 2)
            if found is None or found.flattest < LOW_STOP_DEG:
                pygame.draw.rect(target, theme.grid, cell)
                words, colour = "flat", theme.dim
            else:
                share = (found.softest - low) / max(high - low, 1e-9)
                pygame.draw.rect(target, ramp("light", share), cell)
                words, colour = text.number(found.softest, 1), theme.panel if share > 0.45 else theme.text
                if found.flattest < LOW_WARN_DEG:
                    words += "*"
            text.draw(target, style, words, cell.centerx, cell.centery + 5, 14, colour=colour, align="center")
    for i, a in enumerate(ARMS_MM):
        text.draw(
            target, style, str(a), round(box.x + (i + 0.5) * w), box.bottom + 18, 14, colour=theme.dim, align="center"
        )
    for j, t in enumerate(TOWERS_MM):
        text.draw(
            target,
            style,
            str(t),
            box.x - 10,
            round(box.bottom - (j + 0.5) * h) + 5,
            14,
            colour=theme.dim,
            align="right",
        )
    text.draw(target, style, "towers, mm", rect.x + 20, box.y - 8, 14, colour=theme.text)
    text.draw(target, style, "arms, mm", box.right, box.bottom + 38, 14, colour=theme.text, align="right")
    words = f"flat: under {LOW_STOP_DEG:.0f} degrees at the rim, * under {LOW_WARN_DEG:.0f}"
    text.draw(target, style, words, rect.x + 20, rect.bottom - 16, 14, colour=theme.dim)


def _curves(target: pygame.Surface, style: Look, rect: pygame.Rect) -> None:
    theme = style.theme
    panel(target, style, rect, "Reach against stiffness", "shortest arms that do")
    box = pygame.Rect(rect.x + 56, rect.y + 70, rect.w - 130, rect.h - 150)
    curves = {t: [(r, p) for r in REACHES_MM if (p := shortest(r, t)[1]) is not None] for t in OUT_MM}
    top = 5 * math.ceil(max(p.softest for c in curves.values() for _, p in c) / 5)
    first, last = REACHES_MM[0], REACHES_MM[-1]

    def spot(reach: float, value: float) -> tuple[int, int]:
        return round(box.x + (reach - first) / (last - first) * box.w), round(box.bottom - value / top * box.h)

    for value in range(0, top + 1, 5):
        _, y = spot(first, value)
        target.fill(theme.grid, (box.x, y, box.w, 1))
        text.draw(target, style, str(value), box.x - 8, y + 5, 14, colour=theme.dim, align="right")
    for reach in REACHES_MM[::2]:
        text.draw(target, style, str(reach), spot(reach, 0)[0], box.bottom + 20, 14, colour=theme.dim, align="center")
    ends: list[tuple[int, str, Colour]] = []
    shades = (theme.belts[0], theme.belts[1], theme.y, theme.belts[2])
    for (tower, curve), colour in zip(curves.items(), shades, strict=True):
        points = [spot(r, p.softest) for r, p in curve]
        pygame.draw.aalines(target, colour, False, points)
        for at_px, (_, p) in zip(points, curve, strict=True):
            pygame.draw.circle(target, colour, at_px, 5)
            if p.outward:
                pygame.draw.circle(target, theme.panel, at_px, 3)
        ends.append((points[-1][1] + 5, str(tower), colour))
    lowest = box.bottom
    for y, words, colour in sorted(ends, reverse=True):  # from below, so that none lies on another
        lowest = min(y, lowest - 16)
        text.draw(target, style, words, box.right + 12, lowest, 14, bold=True, colour=colour)
    text.draw(target, style, "softest, N/mm", rect.x + 20, box.y - 12, 14, colour=theme.text)
    text.draw(target, style, "towers, mm", rect.right - 16, box.y - 12, 14, colour=theme.text, align="right")
    text.draw(target, style, "round reach, mm", box.right, box.bottom + 42, 14, colour=theme.text, align="right")
    text.draw(
        target, style, "ring: arms lean outward near their tower", rect.x + 20, rect.bottom - 16, 14, colour=theme.dim
    )
