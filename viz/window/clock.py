"""The one clock that machine, plots, print and all compared designs follow."""

from __future__ import annotations

from collections.abc import Sequence

SPEEDS = (1.0, 0.1, 0.01)
SPEED_WORDS = ("1×", "1/10", "1/100")
STEP_S = 1e-3


class Clock:
    """Time of the move, s, between 0 and `end_s`. It follows real time times the speed, whatever the frame rate."""

    def __init__(self, end_s: float) -> None:
        self.end_s = end_s
        self.time_s = 0.0
        self.playing = False
        self.speed_index = 1
        #: What is played over and over, s; None: once to the end.
        self.repeat: tuple[float, float] | None = None

    @property
    def speed(self) -> float:
        """Simulated seconds for each real second."""
        return SPEEDS[self.speed_index]

    def set_end(self, end_s: float) -> None:
        """A new result may be longer or shorter; the time stays where it can."""
        self.end_s = end_s
        self.time_s = min(self.time_s, end_s)

    def go(self, time_s: float) -> None:
        """Jump to a time; playing goes on."""
        self.time_s = min(self.end_s, max(0.0, time_s))

    def toggle(self) -> None:
        """Play or pause; at the end, play starts over."""
        if not self.playing and self.time_s >= self.end_s - 1e-9:
            self.time_s = 0.0
        self.playing = not self.playing

    def advance(self, real_s: float) -> bool:
        """Let real time pass; True if the clock moved."""
        if not self.playing:
            return False
        before = self.time_s
        self.time_s = min(self.end_s, self.time_s + real_s * self.speed)
        if self.repeat is not None:
            begin, end = self.repeat
            if self.time_s >= min(end, self.end_s) - 1e-12:
                self.time_s = begin
            return True
        if self.time_s >= self.end_s:
            self.playing = False
        return self.time_s != before

    def step(self, count: int) -> None:
        """Pause and move by whole milliseconds, onto the grid of milliseconds."""
        self.playing = False
        now = round(self.time_s / STEP_S, 6)
        whole = int(now) if count < 0 and now != int(now) else round(now)
        offset = count + (1 if count < 0 and now != int(now) else 0)
        self.go((whole + offset) * STEP_S)

    def leg(self, direction: int, starts: Sequence[float]) -> None:
        """Pause and go to the next or previous start of a leg."""
        self.playing = False
        stops = sorted({0.0, self.end_s, *starts})
        if direction > 0:
            self.go(next((s for s in stops if s > self.time_s + 1e-6), self.end_s))
        else:
            self.go(next((s for s in reversed(stops) if s < self.time_s - 1e-6), 0.0))

    def faster(self, direction: int) -> None:
        """One speed up or down."""
        self.speed_index = min(len(SPEEDS) - 1, max(0, self.speed_index - direction))
