"""One view of a swinging machine with its words: a side, or what is told of from near, with where it turns and swings."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pygame
from numpy.typing import NDArray

from . import text
from .canvas import disc, ring
from .side_views import PLANES, draw_arrow, draw_view, fastest, near_frame, near_pieces, whole_frame
from .swing import Swing
from .theme import Colour, Look

Array = NDArray[np.float64]

ROOM_M, NEAR_M, AIR_M = 0.030, 0.030, 0.008
WORDS = 22  # height of the line above a view, px at scale 1


def near_of(swing: Swing, named: Sequence[str], towards: str) -> str:
    """The side from which what is named is seen to move most; where that is a tie, the one that shows the tool's motion."""
    best, most = "", -1.0
    for name, plane in PLANES.items():
        seen = 0.0
        for piece in swing.pieces:
            if piece.body in named and not piece.top:
                ways = swing.speed(piece.body, piece.points)[:, list(plane)]
                seen = max(seen, float(np.linalg.norm(ways, axis=1).max()))
        likes = {"x": "from the front", "y": "from the right"}.get(towards)
        if seen * (1.02 if name == likes else 1.0) > most:
            best, most = name, seen * (1.02 if name == likes else 1.0)
    return best


def draw_side(
    target: pygame.Surface, rect: pygame.Rect, look: Look, name: str, swing: Swing, now: float, most: float,
    named: Sequence[str], colour: Colour, still: Sequence[float], marked: bool = False,
) -> None:  # fmt: skip
    """The whole machine from a side, its words above; marked: only the frame of what is shown from near."""
    head = look.px(WORDS)
    area = pygame.Rect(rect.x, rect.y + head, rect.w, rect.h - head)
    frame = whole_frame(swing, PLANES[name], area.size, ROOM_M)
    if marked:
        near = near_frame(swing, named, PLANES[name], near_area(rect, look).size, _near_room(swing, named, name, most))
        middle = frame.at(_lift(near.middle, PLANES[name])[None], area.size)[0]
        half = np.array(near_area(rect, look).size) / near.px_m * frame.px_m / 2
        box = pygame.Rect(0, 0, round(2 * half[0]), round(2 * half[1]))
        box.center = round(area.x + middle[0]), round(area.y + middle[1])
        pygame.draw.rect(target, look.theme.text, box.clip(area), look.px(1), border_radius=look.px(4))
        return
    text.draw(target, look, name, rect.x, rect.y + look.px(14), 14, colour=look.theme.dim)
    draw_view(target, area, look, swing, frame, now, named, colour, still)


def near_area(rect: pygame.Rect, look: Look) -> pygame.Rect:
    """The part of a cell that the near view is drawn in."""
    head = look.px(WORDS)
    return pygame.Rect(rect.x, rect.y + head, rect.w, rect.h - head)


def draw_near(
    target: pygame.Surface, rect: pygame.Rect, look: Look, name: str, towards: str, swing: Swing, now: float, most: float,
    named: Sequence[str], colour: Colour, still: Sequence[float],
) -> None:  # fmt: skip
    """What is named from near: an arrow at its fastest point, a ring where it turns about if that is in sight."""
    area, plane = near_area(rect, look), PLANES[name]
    frame = near_frame(swing, named, plane, area.size, _near_room(swing, named, name, most))
    draw_view(target, area, look, swing, frame, now, named, colour, still, named[:1])
    pygame.draw.rect(target, look.theme.line, area, look.px(1))
    text.draw(target, look, f"near, {name}", rect.x, rect.y + look.px(14), 14, colour=look.theme.dim)
    taken: list[pygame.Rect] = []
    pivot = swing.pivot(named[0], plane) if len(named) < len(swing.machine.bodies) else None
    if pivot is not None:
        at = frame.at(_lift(pivot, plane)[None], area.size)[0]
        if 0 < at[0] < area.w and 0 < at[1] < area.h:
            spot = area.x + float(at[0]), area.y + float(at[1])
            disc(target, spot, look.px(9), look.theme.page)
            ring(target, spot, look.px(8), look.theme.text, look.px(2))
            disc(target, spot, look.px(3), look.theme.text)
            taken.append(_word(target, look, area, "turns about here", spot, taken))
    found = fastest(swing, named, frame, area.size)
    if found is None:
        return
    point, way = found
    start = frame.at(point[None], area.size)[0]
    step = way[list(plane)] * np.array([1.0, -1.0])
    length = float(np.linalg.norm(step))
    if length <= 0:
        return
    reach = min(max(look.px(34), length * most * frame.px_m), look.px(70))
    end = start + step / length * reach
    corner = np.array(area.topleft)
    before = target.get_clip()
    target.set_clip(area.clip(before))
    draw_arrow(target, look, start + corner, end + corner, look.theme.page)
    target.set_clip(before)
    axis = "XYZ"[int(np.argmax(np.abs(way)))]
    words = f"swings in {axis}"
    _word(target, look, area, words, (area.centerx, area.bottom - look.px(16)), taken, centred=True)


def _near_room(swing: Swing, named: Sequence[str], name: str, most: float) -> Array:
    """Air around what is seen from near, (across, up), m: so that it stays in sight at both ends of its swing."""
    ways = [np.abs(swing.speed(p.body, p.points)).max(axis=0) for p in near_pieces(swing, named)]
    return np.asarray(np.maximum(NEAR_M, AIR_M + most * np.max(ways, axis=0, initial=0.0)[list(PLANES[name])]))


def _lift(flat: Array, plane: tuple[int, int]) -> Array:
    out = np.zeros(3)
    out[list(plane)] = flat
    return out


def _word(
    target: pygame.Surface, look: Look, area: pygame.Rect, words: str, at: tuple[float, float], taken: list[pygame.Rect],
    centred: bool = False,
) -> pygame.Rect:  # fmt: skip
    """Words beside a spot inside an area, on a plate, clear of what is taken."""
    w = text.width(look, words, 14)
    tall = look.px(20)
    sides = [(at[0] - w / 2, at[1])] if centred else [
        (at[0] + look.px(16), at[1] - look.px(14)), (at[0] - look.px(16) - w, at[1] - look.px(14)),
        (at[0] - w / 2, at[1] - look.px(22)), (at[0] - w / 2, at[1] + look.px(32)),
    ]  # fmt: skip
    for x, baseline in sides:
        box = pygame.Rect(round(x) - look.px(6), round(baseline) - look.px(15), w + look.px(12), tall)
        if area.contains(box) and box.collidelist(taken) < 0:
            text.draw(target, look, words, x, baseline, 14, back=look.theme.page)
            return box
    return pygame.Rect(0, 0, 0, 0)
