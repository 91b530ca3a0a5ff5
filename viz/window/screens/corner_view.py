"""Which corner is looked at, and how much time about it: it follows the clock, and the wheel zooms."""

from __future__ import annotations

import numpy as np

from ...charts.corners import Corner, corner_at, worst_corner
from ...charts.shown import Shown
from ..clock import Clock

LEAST, MOST = 0.125, 4.0


class CornerView:
    """Shared by screens that show one corner: chosen by the clock; before it has moved, the worst."""

    def __init__(self, clock: Clock) -> None:
        self.clock = clock
        self.zoom = 1.0

    def number(self, shown: Shown) -> int | None:
        """Of the corner looked at; None where the move has none."""
        if self.clock.time_s <= 0.0:
            worst = worst_corner(shown.result, shown.corners)
            return worst if worst is not None else (0 if shown.corners else None)
        return corner_at(shown.corners, self.clock.time_s)

    def corner(self, shown: Shown) -> Corner | None:
        """The corner looked at."""
        number = self.number(shown)
        return shown.corners[number] if number is not None else None

    def span(self, shown: Shown) -> tuple[float, float]:
        """The part of the time shown, s: the corner's stretch at zoom 1, up to shortly before the next one at most."""
        number = self.number(shown)
        if number is None:
            return 0.0, max(shown.end_s, 1e-3)
        corner = shown.corners[number]
        following = shown.corners[number + 1].stop_s if number + 1 < len(shown.corners) else shown.end_s
        high = corner.stop_s + (corner.end_s - corner.stop_s) / self.zoom
        return corner.begin_s, max(min(high, following), corner.stop_s + 0.005)

    def zoomed(self, steps: int) -> None:
        """A turn of the wheel: up shows less time, larger."""
        self.zoom = min(MOST, max(LEAST, self.zoom * 1.25**steps))

    def choose(self, shown: Shown, number: int) -> None:
        """Bring the clock to the stop of a corner."""
        if 0 <= number < len(shown.corners):
            self.clock.go(shown.corners[number].stop_s)

    def step(self, shown: Shown, way: int) -> None:
        """The corner before or after."""
        number = self.number(shown)
        if number is not None:
            self.choose(shown, min(max(number + way, 0), len(shown.corners) - 1))


def show_ringing(clock: Clock, shown: Shown) -> None:
    """A clock that has not moved begins where there is something to see: the tool farthest off after its worst stop."""
    corner = CornerView(clock).corner(shown)
    if clock.time_s > 0.0 or shown.off_most_m[0] <= 0.0 or corner is None:
        return
    part = np.flatnonzero((shown.t_s >= corner.stop_s) & (shown.t_s <= corner.end_s))
    if len(part):
        off = np.hypot(shown.deviation_m["x"][part], shown.deviation_m["y"][part])
        clock.go(float(shown.t_s[part[int(np.argmax(off))]]))
