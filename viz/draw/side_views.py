"""A swinging machine from above, from the front and from the right: parallel views, the parts that are told in colour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pygame
from numpy.typing import NDArray

from .canvas import Layer, arrow, dashes
from .swing import Piece, Swing, hull
from .theme import Colour, Look, mix

Array = NDArray[np.float64]

PLANES = {"from above": (0, 1), "from the front": (0, 2), "from the right": (1, 2)}
#: What lies over what, whatever the view: the carriage is always to be seen.
_OVER = ("foot", "column", "frame", "bed", "rail", "arm", "motor", "gantry", "tool", "carriage")
FINE = 2  # supersampling


@dataclass(frozen=True)
class Frame:
    """A view's window: its plane (two axes), the middle of what it shows (2,), m, and px for each metre."""

    plane: tuple[int, int]
    middle: Array
    px_m: float

    def at(self, points: Array, size: tuple[int, int]) -> Array:
        """Places (n, 3), m, in px of an area of that size."""
        flat = np.asarray(points)[..., list(self.plane)] - self.middle
        return np.asarray(flat * np.array([self.px_m, -self.px_m]) + np.array(size) / 2)


def whole_frame(swing: Swing, plane: tuple[int, int], size: tuple[int, int], room: float) -> Frame:
    """A view of the whole machine at rest, with `room` m around it."""
    points = np.vstack([p.points for p in swing.pieces])[:, list(plane)]
    low, high = points.min(axis=0) - room, points.max(axis=0) + room
    return Frame(plane, (low + high) / 2, float(min(size[0] / (high - low)[0], size[1] / (high - low)[1])))


def near_pieces(swing: Swing, bodies: Sequence[str]) -> list[Piece]:
    """What of some bodies is looked at from near: carriage and tool, where they have one."""
    mine = [p for p in swing.pieces if p.body in bodies and p.kind not in ("rail", "foot")] or swing.pieces
    return [p for p in mine if p.kind in ("carriage", "tool")] or mine


def near_frame(
    swing: Swing, bodies: Sequence[str], plane: tuple[int, int], size: tuple[int, int], room: float | Array
) -> Frame:
    """A view of what belongs to some bodies, with `room` m around it; at least six centimetres wide.

    room: to each side, (across, up), or the same of both.
    """
    points = np.vstack([p.points for p in near_pieces(swing, bodies)])[:, list(plane)]
    low, high = points.min(axis=0) - room, points.max(axis=0) + room
    span = np.maximum(high - low, 0.06)
    return Frame(plane, (low + high) / 2, float(min(size[0] / span[0], size[1] / span[1])))


def draw_view(
    target: pygame.Surface, rect: pygame.Rect, look: Look, swing: Swing, frame: Frame, amplitude: float,
    named: Sequence[str], colour: Colour, still: Sequence[float] = (), dashed: Sequence[str] = (),
) -> None:  # fmt: skip
    """The machine at an amplitude into `rect`, what `named` bodies carry in a colour, dashed where those are at rest.

    dashed: of those only these are.  still: further amplitudes drawn as outlines, where nothing may move.
    """
    layer = Layer(rect.size, FINE, brief=True)
    layer.surface.fill(look.theme.page)
    size = layer.surface.get_size()
    fine = Frame(frame.plane, frame.middle, frame.px_m * FINE)
    for piece in ordered(swing.pieces):
        _piece(layer.surface, look, fine, size, swing, piece, amplitude, colour if is_named(piece, named) else None)
    for other in still:
        for piece in swing.pieces:
            if is_named(piece, named) and not piece.top:
                edge = hull(fine.at(swing.placed(piece, other), size))
                if len(edge) > 2:
                    pygame.draw.polygon(layer.surface, colour, np.rint(edge).tolist(), max(2, round(2 * look.scale)))
    width = max(2, round(1.2 * FINE * look.scale))
    for piece in swing.pieces:
        if is_named(piece, dashed or named) and piece.kind not in ("foot", "rail", "motor"):
            edge = hull(fine.at(piece.points, size))
            for dash in dashes(np.vstack([edge, edge[:1]]), 7 * FINE * look.scale, 5 * FINE * look.scale):
                pygame.draw.lines(layer.surface, look.theme.text, False, np.rint(dash).tolist(), width)
    layer.onto(target, rect.topleft)


def is_named(piece: Piece, named: Sequence[str]) -> bool:
    """Whether a piece belongs to one of the bodies told; what lies between two bodies does not."""
    return piece.body in named and not piece.top and piece.kind != "rail"


def ordered(pieces: Sequence[Piece]) -> list[Piece]:
    """Pieces from the undermost on."""
    return sorted(pieces, key=lambda p: _OVER.index(p.kind) if p.kind in _OVER else 0)


def _piece(
    target: pygame.Surface, look: Look, frame: Frame, size: tuple[int, int], swing: Swing, piece: Piece, amplitude: float,
    colour: Colour | None,
) -> None:  # fmt: skip
    theme = look.theme
    grey = {"carriage": theme.carriage, "gantry": theme.carriage, "tool": theme.pulley, "rail": theme.metal}
    fill = mix(theme.page, colour, 0.72) if colour else grey.get(piece.kind, theme.frame)
    edge = colour or mix(theme.metal, theme.page, 0.2)
    if piece.top:
        arm = piece.kind == "arm"
        points = frame.at(_ends(swing, piece, amplitude) if arm else swing.placed(piece, amplitude), size)
        width = max(2.0, (0.004 if arm else 0.016) * frame.px_m)
        pygame.draw.lines(
            target,
            mix(theme.metal, theme.pulley, 0.6) if arm else theme.frame,
            False,
            np.rint(points).tolist(),
            round(width),
        )
        return
    corners = hull(frame.at(swing.placed(piece, amplitude), size))
    if len(corners) < 3:
        return
    whole = np.rint(corners).tolist()
    pygame.draw.polygon(target, fill, whole)
    pygame.draw.polygon(target, edge, whole, max(1, round(FINE * look.scale)))


def _ends(swing: Swing, piece: Piece, amplitude: float) -> Array:
    ends = [swing.moved(b, piece.points[k : k + 1], amplitude)[0] for k, b in enumerate((piece.body, piece.top))]
    return np.array(ends)


def fastest(swing: Swing, named: Sequence[str], frame: Frame, size: tuple[int, int]) -> tuple[Array, Array] | None:
    """Where in a view what is named moves most, (3,) m, and how far a unit of amplitude takes it, (3,); None out of sight."""
    best: tuple[float, Array, Array] | None = None
    for piece in swing.pieces:
        if not is_named(piece, named):
            continue
        ways = swing.speed(piece.body, piece.points)
        flat = np.linalg.norm(ways[:, list(frame.plane)], axis=1)
        places = frame.at(piece.points, size)
        seen = np.logical_and(places > 0, places < np.array(size)).all(axis=-1)
        assert isinstance(seen, np.ndarray)
        k = int(np.argmax(np.where(seen, flat, -1.0)))
        if seen[k] and (best is None or flat[k] > best[0]):
            best = (float(flat[k]), piece.points[k], ways[k])
    return None if best is None or best[0] <= 0 else (best[1], best[2])


def draw_arrow(target: pygame.Surface, look: Look, start: Array, end: Array, back: Colour) -> None:
    """A short arrow over a view, px of the target, with an edge that keeps it apart from what lies below."""
    low = np.minimum(start, end) - look.px(14)
    high = np.maximum(start, end) + look.px(14)
    box = pygame.Rect(int(low[0]), int(low[1]), int((high - low)[0]) + 1, int((high - low)[1]) + 1).clip(
        target.get_clip()
    )
    if box.w < 4 or box.h < 4:
        return
    large = pygame.transform.scale(target.subsurface(box), (box.w * 2, box.h * 2))
    a, b = (np.asarray(start) - box.topleft) * 2, (np.asarray(end) - box.topleft) * 2
    way = (b - a) / max(1e-9, float(np.hypot(*(b - a))))
    arrow(large, a - way * 3, b + way * 6, 10 * look.scale, back, 34 * look.scale)
    arrow(large, a, b, 5 * look.scale, look.theme.text, 24 * look.scale)
    target.blit(pygame.transform.smoothscale(large, box.size), box.topleft)
