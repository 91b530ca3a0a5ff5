"""The printed line: the whole path at true scale with its error drawn larger, and pieces of it under a lens."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import pygame
from numpy.typing import NDArray

from ..draw import text
from ..draw.canvas import Layer, dashes, disc, few_colours, path_stroke, scratch, shrink_onto
from ..draw.theme import Colour, Look
from .axes import nice_step
from .shown import Shown

Array = NDArray[np.float64]

# In a program the line runs to and fro close by itself: its error is drawn larger only until neighbours meet.
PROGRAM_SHARE = 0.02
TO_COME, LEAST_TO_COME = 0.30, 1.2  # width of the line still to come, as a share of the line laid; px at least


@dataclass(frozen=True)
class PaperScale:
    """How path metres become pixels: px = origin + px_m * (x, -y) after turning the path by turn_rad.

    magnification: of the error only, the path itself stays at true scale.
    """

    px_m: float
    origin: tuple[float, float]
    magnification: float
    turn_rad: float = 0.0

    def path(self, points: Array) -> Array:
        """Points (n, 2) or (2,), m, in px."""
        p = np.asarray(points, float)
        if self.turn_rad:
            c, s = math.cos(self.turn_rad), math.sin(self.turn_rad)
            p = p @ np.array([[c, s], [-s, c]])
        return np.stack([self.origin[0] + self.px_m * p[..., 0], self.origin[1] - self.px_m * p[..., 1]], axis=-1)

    def line(self, shown: Shown, part: slice) -> Array:
        """The tool's way with its error magnified, px."""
        return self.path(shown.feet_m[part] + self.magnification * shown.error_m[part])


def nice_magnification(value: float) -> float:
    """The largest of 1, 2, 5, 10, 20, 50, ... that is not above `value`; at least 1."""
    if value <= 1:
        return 1.0
    power = 10.0 ** math.floor(math.log10(value))
    return max(k * power for k in (1, 2, 4, 5, 8) if k * power <= value * (1 + 1e-9))


def best_magnification(shown: Shown, share: float = 0.09) -> float:
    """A magnification at which the largest error fills about `share` of the path's size."""
    size = float(np.ptp(shown.asked_m, axis=0).max()) if len(shown.asked_m) else 0.0
    worst = float(shown.result.analysis.path.across_max_m)
    if shown.trace.source_line.any():
        share = min(share, PROGRAM_SHARE)
    return nice_magnification(min(500.0, share * size / worst)) if worst > 1e-9 and size > 0 else 1.0


def fit_path(rect: pygame.Rect, shown: Shown, magnification: float, margin_px: float) -> PaperScale:
    """The scale at which the whole magnified line stays inside `rect`, its middle in the middle."""
    asked = shown.asked_m if len(shown.asked_m) else shown.trace.tool[:1, :2]
    drawn = shown.feet_m + magnification * shown.error_m
    if not shown.laid.all():
        # Ways on which nothing is laid may lead out of the picture.
        drawn = drawn[shown.laid]
        asked = shown.feet_m[shown.laid]
    low = np.minimum(asked.min(axis=0), drawn.min(axis=0))
    high = np.maximum(asked.max(axis=0), drawn.max(axis=0))
    size = np.maximum(high - low, 1e-6)
    px_m = float(min((rect.w - 2 * margin_px) / size[0], (rect.h - 2 * margin_px) / size[1]))
    middle = (low + high) / 2
    return PaperScale(
        px_m, (rect.centerx - px_m * float(middle[0]), rect.centery + px_m * float(middle[1])), magnification
    )


def draw_line(
    target: pygame.Surface,
    rect: pygame.Rect,
    look: Look,
    shown: Shown,
    scale: PaperScale,
    now_s: float | None,
    *,
    width_px: float | None = None,
    factor: int = 2,
) -> None:
    """Path asked for (dashed), the line still to come (faded) and the line laid so far, clipped to `rect`.

    width_px: stroke of the line; None for the real width at this scale (at least 1.5 px).
    """
    theme = look.theme
    layer = Layer(rect.size, factor)
    layer.surface.fill(theme.panel)
    inner = replace(
        scale,
        px_m=scale.px_m * factor,
        origin=((scale.origin[0] - rect.x) * factor, (scale.origin[1] - rect.y) * factor),
    )
    count = len(shown.t_s)
    k = count if now_s is None else int(np.searchsorted(shown.t_s, now_s, side="right"))
    width = width_px if width_px is not None else max(1.5 * look.scale, shown.trace.line_width_m * scale.px_m)
    window = pygame.Rect((0, 0), layer.surface.get_size()).inflate(80, 80)
    if k < count:
        _to_come(layer.surface, window, inner, shown, slice(max(0, k - 1), count), width * factor, look, factor)
    _laid(layer.surface, window, inner, shown, slice(0, k), width * factor, theme.laid, theme.alarm)
    for piece in dashes(inner.path(shown.asked_m), 5 * factor * look.scale, 4 * factor * look.scale):
        if window.collidepoint(piece[0]) or window.collidepoint(piece[-1]):
            path_stroke(layer.surface, piece, max(2, round(1.1 * factor * look.scale)), theme.asked)
    layer.onto(target, rect.topleft)
    if now_s is not None and 0 < k <= count:
        error = shown.at(now_s, shown.error_m)
        foot = shown.at(now_s, shown.feet_m)
        at = scale.path(foot + scale.magnification * error)
        if rect.collidepoint(at[0], at[1]):
            disc(target, (float(at[0]), float(at[1])), look.px(6), theme.panel)
            disc(target, (float(at[0]), float(at[1])), look.px(5), theme.text)


def _laid(
    surface: pygame.Surface,
    window: pygame.Rect,
    inner: PaperScale,
    shown: Shown,
    part: slice,
    width: float,
    colour: Colour,
    alarm: Colour,
) -> None:
    """Draw the printed line of some samples: where nothing is laid there is none, after a loss of steps it is an alarm."""
    points, laid = inner.line(shown, part), shown.laid[part]
    if shown.lost_from_s is not None:
        wrong = max(0, int(np.searchsorted(shown.t_s, shown.lost_from_s)) - (part.start or 0))
        if wrong < len(points):
            _pieces(surface, window, points[wrong:], laid[wrong:], width, alarm)
            points, laid = points[: wrong + 1], laid[: wrong + 1]
    _pieces(surface, window, points, laid, width, colour)


def _pieces(
    surface: pygame.Surface, window: pygame.Rect, points: Array, laid: NDArray[np.bool_], width: float, colour: Colour
) -> None:
    if laid.all():
        _stroke(surface, window, points, width, colour)
        return
    edges = np.flatnonzero(np.diff(np.concatenate([[0], laid.astype(int), [0]])))
    for a, b in zip(edges[::2], edges[1::2], strict=True):
        _stroke(surface, window, points[a:b], width, colour)


def _to_come(
    surface: pygame.Surface, window: pygame.Rect, inner: PaperScale, shown: Shown, part: slice, width: float, look: Look,
    factor: int,
) -> None:  # fmt: skip
    """The line still to come: fainter and much thinner."""
    theme = look.theme
    thin = max(TO_COME * width, LEAST_TO_COME * factor * look.scale)
    _laid(surface, window, inner, shown, part, thin, theme.faded(theme.laid, theme.to_come), theme.alarm)


def _stroke(
    surface: pygame.Surface, window: pygame.Rect, points: Array, width: float, colour: tuple[int, int, int]
) -> None:
    if len(points) < 2:
        return
    near = np.abs(np.diff(np.rint(points), axis=0)).sum(axis=1) > 0
    keep = np.concatenate([[True], near])
    points = points[keep]
    if len(points) < 2:
        return
    inside = (
        (points[:, 0] > window.left)
        & (points[:, 0] < window.right)
        & (points[:, 1] > window.top)
        & (points[:, 1] < window.bottom)
    )
    edges = np.flatnonzero(np.diff(np.concatenate([[0], inside.astype(int), [0]])))
    for a, b in zip(edges[::2], edges[1::2], strict=True):
        path_stroke(surface, points[max(0, a - 1) : b + 1], width, colour)


def scale_bar(
    target: pygame.Surface, look: Look, x: float, baseline: float, px_per_m: float, *, room: float = 70
) -> pygame.Rect:
    """A bar of a round length of error with its length in words; returns what it covers. px_per_m: magnified."""
    longest_um = room * look.scale / px_per_m * 1e6
    step = nice_step(longest_um, 1)
    length_um = step if step <= longest_um * 1.001 else step / 2 if step / 2 <= longest_um else step / 5
    width = max(2, round(length_um * 1e-6 * px_per_m))
    y = round(baseline - look.px(5))
    thick, tick = look.px(2), look.px(5)
    left = round(x)
    target.fill(look.theme.text, (left, y - thick // 2, width, thick))
    for end in (left, left + width - thick):
        target.fill(look.theme.text, (end, y - tick, thick, 2 * tick))
    if length_um >= 1000:
        words = f"{text.plain(length_um / 1000)} mm of error"
    else:
        words = f"{text.plain(length_um)} µm of error"
    return text.draw(target, look, words, left + width + look.px(9), baseline, 14, colour=look.theme.dim).union(
        pygame.Rect(left, y - tick, width, 2 * tick)
    )


def magnification_words(value: float) -> str:
    """ "40×" or "1×"."""
    return f"{text.plain(value, 3)}×"


def lens_scale(
    at: tuple[float, float], centre_m: Array, px_m: float, magnification: float, turn_rad: float = 0.0
) -> PaperScale:
    """A scale that puts the path's place `centre_m` (2,) at the pixel `at`."""
    there = PaperScale(px_m, (0.0, 0.0), magnification, turn_rad).path(centre_m)
    return PaperScale(px_m, (at[0] - float(there[0]), at[1] - float(there[1])), magnification, turn_rad)


def corner_scale(rect: pygame.Rect, shown: Shown, time_s: float, span_m: float, magnification: float) -> PaperScale:
    """A strip of the print after one instant, turned so that the tool travels to the right.

    The place at `time_s` stands near the left end of `rect`, `span_m` of the path fill its width.
    """
    soon = min(time_s + 0.02, shown.end_s)
    d = np.asarray(shown.at(soon, shown.direction), float)
    turn = -math.atan2(float(d[1]), float(d[0]))
    at = (rect.x + 0.14 * rect.w, float(rect.centery))
    return lens_scale(at, np.asarray(shown.at(time_s, shown.feet_m)), rect.w / span_m, magnification, turn)


class PrintCanvas:
    """`draw_line` for a moving clock: keeps the finished parts as images and adds only what was laid since.

    Keeps nothing that does not follow from its arguments; the pixels are those of a fresh drawing. The images are large, and
    of few colours: one byte a pixel holds them.
    """

    def __init__(self) -> None:
        self._key: tuple[object, ...] | None = None
        self._base: pygame.Surface | None = None
        self._dashes: pygame.Surface | None = None
        self._line: pygame.Surface | None = None
        self._laid = 0

    def forget(self) -> None:
        """Let go of the images; the next drawing makes them again."""
        self._key = self._base = self._dashes = self._line = None
        self._laid = 0

    def draw(
        self,
        target: pygame.Surface,
        rect: pygame.Rect,
        look: Look,
        shown: Shown,
        scale: PaperScale,
        now_s: float,
        *,
        width_px: float | None = None,
        factor: int = 2,
    ) -> None:
        """As `draw_line`."""
        theme = look.theme
        width = (
            width_px if width_px is not None else max(1.5 * look.scale, shown.trace.line_width_m * scale.px_m)
        ) * factor
        inner = replace(
            scale,
            px_m=scale.px_m * factor,
            origin=((scale.origin[0] - rect.x) * factor, (scale.origin[1] - rect.y) * factor),
        )
        k = int(np.searchsorted(shown.t_s, now_s, side="right"))
        key = (shown.serial, rect.size, look, inner, width)
        if key != self._key or self._line is None or k < self._laid:
            if key != self._key or self._base is None:
                self._prepare(rect, look, shown, inner, width, factor)
                self._key = key
            assert self._base is not None
            self._line = self._base.copy()
            self._laid = 0
        assert self._line is not None
        assert self._dashes is not None
        window = pygame.Rect((0, 0), self._line.get_size()).inflate(80, 80)
        if k > self._laid:
            _laid(self._line, window, inner, shown, slice(max(0, self._laid - 1), k), width, theme.laid, theme.alarm)
            self._laid = k
        whole = scratch(self._line.get_size())
        whole.blit(self._line, (0, 0))
        whole.blit(self._dashes, (0, 0))
        shrink_onto(target, whole, rect)
        if k > 0:
            at = scale.path(shown.at(now_s, shown.feet_m) + scale.magnification * shown.at(now_s, shown.error_m))
            if rect.collidepoint(at[0], at[1]):
                disc(target, (float(at[0]), float(at[1])), look.px(6), theme.panel)
                disc(target, (float(at[0]), float(at[1])), look.px(5), theme.text)

    def _prepare(
        self, rect: pygame.Rect, look: Look, shown: Shown, inner: PaperScale, width: float, factor: int
    ) -> None:
        theme = look.theme
        size = (rect.w * factor, rect.h * factor)
        faded = theme.faded(theme.laid, theme.to_come)
        base = few_colours(size, [theme.panel, faded, theme.laid, theme.alarm])
        window = pygame.Rect((0, 0), size).inflate(80, 80)
        _to_come(base, window, inner, shown, slice(0, len(shown.t_s)), width, look, factor)
        self._base = base
        hole = (1, 2, 3)
        marks = few_colours(size, [hole, theme.asked])
        marks.set_colorkey(hole)
        for piece in dashes(inner.path(shown.asked_m), 5 * factor * look.scale, 4 * factor * look.scale):
            if window.collidepoint(piece[0]) or window.collidepoint(piece[-1]):
                path_stroke(marks, piece, max(2, round(1.1 * factor * look.scale)), theme.asked)
        self._dashes = marks
