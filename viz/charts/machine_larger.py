"""The machine with its ringing drawn larger: the tool off its place, belts that pull more and less, and that in words."""

from __future__ import annotations

from dataclasses import replace

import pygame

from ..draw import text
from ..draw.larger import BELTS
from ..draw.room import Room
from ..draw.theme import Look
from .axes import nice_step
from .panels import machine_with_tensions
from .printed import magnification_words
from .pull import HEAD, PITCH, draw_pull, most_changing
from .shown import Shown
from .torque import TorquePlot

CAPTION, FOOT = 46, 26


def off_words(shown: Shown, time_s: float) -> tuple[str, str]:
    """How far the tool is off the line, and along it beside that: "24 µm off the line", "40 µm behind along the line"."""
    off = abs(float(shown.at(time_s, shown.sideways_m)))
    ahead = float(shown.at(time_s, shown.ahead_m))
    along = f"{text.length(abs(ahead))} {'ahead' if ahead >= 0 else 'behind'} along the line"
    return f"{text.length(off)} off the line", along


def below_rect(look: Look, rect: pygame.Rect, shown: Shown) -> pygame.Rect:
    """Where in `rect` belts or motors are told, below the machine and what it says."""
    # Where there is little height the machine keeps most of it, and the runs that change most are told.
    rows = min(len(shown.trace.runs), 6, max(2, (rect.h - look.px(300)) // look.px(PITCH)))
    high = look.px(HEAD + PITCH * rows)
    return pygame.Rect(rect.x, rect.bottom - high, rect.w, high)


def draw_machine_larger(
    target: pygame.Surface,
    look: Look,
    rect: pygame.Rect,
    shown: Shown,
    time_s: float,
    *,
    larger: bool,
    frame_s: float = 0.0,
    motors: TorquePlot | None = None,
    switch: int = 0,
) -> pygame.Rect:
    """Machine, what it says, and the belts' bars below; returns where the machine stands. larger: or as it is.

    motors: their torque below instead of the belts' bars.  switch: room beside the title there, px.
    """
    if not larger:
        return machine_with_tensions(target, look, rect, shown, time_s, frame_s=frame_s)
    theme, below = look.theme, below_rect(look, rect, shown)
    foot = look.px(CAPTION + FOOT) + below.h + look.px(8)
    room = Room(look, rect)
    area = pygame.Rect(rect.x, rect.y, rect.w, rect.h - foot)
    box = shown.view.fitted(area)
    box.midtop = (area.centerx, area.y + max(0, (area.h - box.h) // 2))
    factor = shown.larger
    state = replace(shown.machine_state(time_s, frame_s=frame_s, larger=factor), notes=most_changing(shown, time_s))
    shown.view.draw(target, box, look, state, room=room)
    said, beside = off_words(shown, time_s)
    y = area.bottom + look.px(21)
    text.draw(target, look, said, rect.centerx, y, 18, bold=True, align="center")
    dashed = "dashed: where it was asked to be"
    words = f"{beside}; {dashed}"
    if text.width(look, words, 14) > rect.w:
        words = beside
    text.draw(target, look, words, rect.centerx, y + look.px(20), 14, colour=theme.dim, align="center")
    _bar(target, look, rect, area.bottom + look.px(CAPTION + 18), shown.view.place(box.size).scale * factor)
    if motors is not None:
        motors.draw(target, below, look, shown, time_s, switch)
    else:
        draw_pull(target, look, below, shown, time_s, switch)
    return box


def larger_words(shown: Shown) -> str:
    """ "ringing drawn 400× larger"."""
    return f"ringing drawn {magnification_words(shown.larger)} larger" if shown.larger > 1.0 else "as it is"


def _bar(target: pygame.Surface, look: Look, rect: pygame.Rect, baseline: int, px_m: float) -> None:
    """How long a round length of ringing is in the picture, and what the belts' width says."""
    longest_um = look.px(60) / px_m * 1e6
    step = nice_step(longest_um, 1)
    size = step if step <= longest_um else step / 2 if step / 2 <= longest_um else step / 5
    wide = max(2, round(size * 1e-6 * px_m))
    y, tick, thick = baseline - look.px(5), look.px(5), look.px(2)
    target.fill(look.theme.text, (rect.x, y, wide, thick))
    for x in (rect.x, rect.x + wide - thick):
        target.fill(look.theme.text, (x, y - tick + thick // 2, thick, 2 * tick))
    words = f"{text.plain(size)} µm of ringing" if size < 1000 else f"{text.plain(size / 1000)} mm of ringing"
    used = text.draw(target, look, words, rect.x + wide + look.px(9), baseline, 14, colour=look.theme.dim)
    for note in (
        f"belt width: change of tension, {text.number(BELTS)}× larger",
        f"belts: change {text.number(BELTS)}×",
    ):
        if text.width(look, note, 14) <= rect.right - used.right - look.px(16):
            text.draw(target, look, note, rect.right, baseline, 14, colour=look.theme.dim, align="right")
            return
