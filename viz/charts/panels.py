"""Panels and the small pieces that stand in several of them: titles, tension list, thickness scale, keys of the print."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pygame
from beltspring.sim import OFF_LINE
from beltspring.sim.machine.machine import Machine

from ..draw import text
from ..draw.belt_colours import belt_colour, lettered
from ..draw.belts import SLACK_BELOW_N, THICKER, THINNEST
from ..draw.canvas import Layer, rounded
from ..draw.machine import MachineView
from ..draw.theme import Colour, Look
from .printed import PaperScale, magnification_words, scale_bar
from .shown import Shown


def panel(
    target: pygame.Surface,
    look: Look,
    rect: pygame.Rect,
    title: str,
    meaning: str | Sequence[str] = "",
    right: str = "",
    right_colour: Colour | None = None,
) -> pygame.Rect:
    """A panel with its title, what it means, and a remark at the right; returns the room inside, below the title.

    meaning: several wordings, longest first, where there may be little room; the first that fits is written.
    """
    rounded(target, rect, look.px(10), look.theme.panel)
    pad = look.px(20)
    inner = rect.inflate(-2 * pad, -2 * pad)
    if not title:
        return inner
    baseline = inner.y + look.px(16)
    used = text.draw(target, look, title, inner.x, baseline, 18, bold=True)
    gap = look.px(12)
    room = inner.right - used.right - gap
    if right and text.width(look, right, 14) <= room:
        got = text.draw(
            target, look, right, inner.right, baseline, 14, colour=right_colour or look.theme.dim, align="right"
        )
        room = got.x - used.right - gap - look.px(16)
    words = wording(look, meaning, room)
    if len(words) > 1:
        text.draw(target, look, words, used.right + gap, baseline, 14, colour=look.theme.dim)
    return below_title(look, rect)


def below_title(look: Look, rect: pygame.Rect) -> pygame.Rect:
    """The room that a panel in `rect` has below its title."""
    pad, drop = look.px(20), look.px(30)
    inner = rect.inflate(-2 * pad, -2 * pad)
    return pygame.Rect(inner.x, inner.y + drop, inner.w, inner.h - drop)


def wording(look: Look, meaning: str | Sequence[str], room: float) -> str:
    """The first of several wordings, longest first, that fits into `room` px; the last one cut where none does."""
    wordings = [meaning] if isinstance(meaning, str) else list(meaning)
    return next((w for w in wordings if text.width(look, w, 14) <= room), text.fit(look, wordings[-1], room, 14))


def tension_list(target: pygame.Surface, look: Look, rect: pygame.Rect, shown: Shown, time_s: float) -> None:
    """The tension of every run at one instant."""
    tension_list_of(target, look, rect, shown.result.machine, shown.tensions(time_s))


def tension_list_of(
    target: pygame.Surface, look: Look, rect: pygame.Rect, machine: Machine, forces: Mapping[tuple[str, str], float]
) -> None:
    """The tension of every run in newtons, by belt; runs below the slack limit say so. forces: by (belt, run)."""
    line, head, gap = look.px(41), look.px(28), look.px(16)
    if len(machine.belts) * (head + gap) + len(forces) * line > rect.h:
        _tension_short(target, look, rect, machine, forces)
        return
    y = rect.y
    for k, belt in enumerate(machine.belts):
        colour = belt_colour(look.theme, machine, k)
        runs = [(run, force) for (name, run), force in forces.items() if name == belt.name]
        text.draw(target, look, f"Belt {lettered(belt.name)}", rect.x, y + look.px(14), 14, bold=True, colour=colour)
        y += head
        for run, force in runs:
            if y + line > rect.bottom:
                return
            slack = force < SLACK_BELOW_N
            words = f"{text.number(force)} N"
            text.draw(target, look, words, rect.x, y + look.px(14), 18, bold=True, colour=colour)
            note = f"{run}, slack" if slack else run
            text.draw(
                target, look, note, rect.x, y + look.px(31), 14, colour=look.theme.alarm if slack else look.theme.dim
            )
            y += line
        y += gap


def _tension_short(
    target: pygame.Surface, look: Look, rect: pygame.Rect, machine: Machine, forces: Mapping[tuple[str, str], float]
) -> None:
    """The tensions where there is little room: a line for each belt's name, one for each run's number."""
    y, line = rect.y, look.px(18)
    for k, belt in enumerate(machine.belts):
        colour = belt_colour(look.theme, machine, k)
        runs = [(run, force) for (name, run), force in forces.items() if name == belt.name]
        if y + (1 + len(runs)) * line > rect.bottom:
            return
        text.draw(target, look, f"Belt {lettered(belt.name)}", rect.x, y + look.px(14), 14, bold=True, colour=colour)
        for run, force in runs:
            y += line
            slack = force < SLACK_BELOW_N
            words = f"{text.number(force)} N {'slack' if slack else run}"
            shade = look.theme.alarm if slack else look.theme.dim
            text.draw(target, look, text.fit(look, words, rect.w, 14), rect.x, y + look.px(14), 14, colour=shade)
        y += line + look.px(4)


def tension_scale(
    target: pygame.Surface, look: Look, x: int, y: int, most_n: float, unit_px: float, width: int = 150
) -> pygame.Rect:
    """The wedge that says how thick a belt is at which tension; returns what it covers. unit_px: of the machine drawn."""
    room = look.px(width)
    tall = look.px(52)
    text.draw(target, look, "Belt tension", x, y + look.px(13), 14, colour=look.theme.dim)
    thin, thick = THINNEST * unit_px, (THINNEST + THICKER) * unit_px
    layer = Layer((room, max(4, round(thick) + 2)), 4)
    layer.surface.fill(look.theme.panel)
    middle = layer.surface.get_height() / 2
    points = [
        (0, middle - thin * 2),
        (room * 4, middle - thick * 2),
        (room * 4, middle + thick * 2),
        (0, middle + thin * 2),
    ]
    pygame.draw.polygon(layer.surface, look.theme.track, points)
    wedge_y = y + look.px(26) - layer.size[1] // 2
    layer.onto(target, (x, wedge_y))
    steps = 3 if most_n % 3 == 0 else 2 if most_n % 2 == 0 else 1
    for k in range(steps + 1):
        at = x + round(room * k / steps)
        target.fill(look.theme.dim, (at - (k == steps), y + look.px(33), look.px(1), look.px(4)))
        words = text.number(most_n * k / steps) + (" N" if k == steps else "")
        text.draw(
            target, look, words, at, y + look.px(51), 14, colour=look.theme.dim, align="left" if k == 0 else "center"
        )
    return pygame.Rect(x, y, room, tall)


def tension_line(
    target: pygame.Surface, look: Look, x: int, baseline: int, most_n: float, unit_px: float, width: int = 90
) -> pygame.Rect:
    """The wedge on one line, for low panels: "Belt tension 0 [wedge] 20 N"."""
    used = text.draw(target, look, "Belt tension  0", x, baseline, 14, colour=look.theme.dim)
    room = look.px(width)
    layer = Layer((room, max(4, round((THINNEST + THICKER) * unit_px) + 2)), 4)
    layer.surface.fill(look.theme.panel)
    middle = layer.surface.get_height() / 2
    thin, thick = THINNEST * unit_px * 2, (THINNEST + THICKER) * unit_px * 2
    points = [(0, middle - thin), (room * 4, middle - thick), (room * 4, middle + thick), (0, middle + thin)]
    pygame.draw.polygon(layer.surface, look.theme.track, points)
    layer.onto(target, (used.right + look.px(6), baseline - look.px(5) - layer.size[1] // 2))
    end = used.right + look.px(12) + room
    return used.union(text.draw(target, look, f"{text.number(most_n)} N", end, baseline, 14, colour=look.theme.dim))


def machine_with_tensions(
    target: pygame.Surface,
    look: Look,
    rect: pygame.Rect,
    shown: Shown,
    time_s: float,
    *,
    frame_s: float = 0.0,
    factor: int = 2,
) -> pygame.Rect:
    """The machine, its run tensions at the left, the thickness scale and what it is doing below; returns its place."""
    short = rect.h < look.px(330)
    foot = look.px(28) if short else look.px(66)
    side = look.px(78)
    view: MachineView = shown.view
    room = pygame.Rect(rect.x + side, rect.y, rect.w - side, rect.h - foot)
    box = view.fitted(room)
    box.topleft = (room.centerx - box.w // 2, room.y + max(0, (room.h - box.h) // 2))
    view.draw(target, box, look, shown.machine_state(time_s, frame_s=frame_s), factor=factor)
    tension_list(target, look, pygame.Rect(rect.x, rect.y, side, rect.h), shown, time_s)
    unit = view.place(box.size).unit
    words = shown.doing(time_s)
    if short:
        baseline = rect.bottom - look.px(4)
        used = tension_line(target, look, rect.x, baseline, shown.tension_most_n, unit)
    else:
        baseline = box.bottom + look.px(59)
        wedge_x = max(box.x, rect.x + side)
        used = tension_scale(target, look, wedge_x, box.bottom + look.px(8), shown.tension_most_n, unit, 130)
    if text.width(look, words, 14) < rect.right - used.right - look.px(24):
        text.draw(target, look, words, rect.right, baseline, 14, colour=look.theme.dim, align="right")
    return box


def print_key(
    target: pygame.Surface, look: Look, x: int, y: int, scale: PaperScale, *, to_come: bool, room: int
) -> None:
    """How to read the printed line: magnification, scale bar, what each stroke means."""
    dim = look.theme.dim
    text.draw(target, look, "error drawn", x, y + look.px(13), 14, colour=dim)
    text.draw_pair(target, look, magnification_words(scale.magnification), "larger", x, y + look.px(42), 26, 16)
    scale_bar(target, look, x, y + look.px(74), scale.px_m * scale.magnification, room=min(70, room * 0.36))
    rows = [("path asked for", look.theme.asked, True), ("line laid down", look.theme.laid, False)]
    if to_come:
        rows.append(("still to come", look.theme.faded(look.theme.laid, look.theme.to_come), False))
    for k, (words, colour, dashed) in enumerate(rows):
        line = y + look.px(104 + 27 * k)
        if dashed:
            for dash in range(3):
                target.fill(colour, (x + look.px(9) * dash, line - look.px(5), look.px(6), look.px(1)))
        else:
            thick = look.px(1 if words == "still to come" else 4)
            rounded(target, pygame.Rect(x, line - look.px(4) - thick // 2, look.px(26), thick), look.px(1), colour)
        text.draw(target, look, words, x + look.px(36), line, 14, colour=dim)


def result_rows(shown: Shown, of_axis: str | None = None) -> list[tuple[str, str, str]]:
    """The result in three numbers: (what, value, unit). of_axis: whose ringing; None: of the axis that rings most."""
    analysis = shown.result.analysis
    axis = of_axis or analysis.ringing_axis
    ringing = analysis.ringing.get(axis) if axis else None
    worst = analysis.path.across_max_m
    hz = ringing.frequency_hz if ringing is not None else None
    fades = ringing.fades_to_5_percent_s if ringing is not None else None
    calm = text.number(fades * 1e3) if fades is not None else "–"
    if ringing is not None and hz and fades is None:
        calm = f"> {text.number(ringing.watched_s * 1e3)}"  # it has to move again before it has faded
    size, _, unit = text.length(worst).partition(" ")
    # Whose frequency it is has to be told: the other axis rings at its own.
    rings, fades_in = (f"{axis.upper()} rings at", f"{axis.upper()} fades in") if axis else ("Rings at", "Fades in")
    return [
        (f"Most {OFF_LINE}", size, unit),
        (rings, text.number(hz, 1 if hz < 20 else 0) if hz else "–", "Hz"),
        (fades_in, calm, "ms"),
    ]


def moving_rows(shown: Shown) -> list[tuple[str, str, str]]:
    """What differs while it moves: the frequency without sticking guides, and what it shakes by; as `result_rows`."""
    report, rows = shown.result, []
    for axis, hz in report.analysis.moving_hz.items():
        rows.append((f"{axis.upper()} on the move", text.number(hz, 1 if hz < 20 else 0), "Hz"))
    shaking = [b.moving for b in report.moving.values() if b is not None]
    if report.buzz_words and shaking:
        most = max(shaking, key=lambda m: m.peak_m)
        rows.append((f"Shakes moving, {most.axis.upper()}", text.micrometres(most.peak_m), "µm"))
    return rows


def pose_words(tool: np.ndarray) -> str:
    """The tool's place in words: "X 90.0, Y 60.0 mm"."""
    return f"X {text.number(float(tool[0]) * 1e3, 1)}, Y {text.number(float(tool[1]) * 1e3, 1)} mm"
