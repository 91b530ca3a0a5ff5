"""What a bench does by itself: the moves of its film one after the other, and the gentle motion of a new window."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from .bench import MOVE_S, Bench

PAUSE_S = 0.7
SWING_DEG, FIRST_S, LATER_S, SOFT_S = 70.0, 7.0, 3.0, 2.0


class MovesShown:
    """The film of the bench: every move once, with a pause after each. play(index) begins one."""

    def __init__(self, bench: Bench, count: int, play: Callable[[int], None]) -> None:
        self._bench, self._count, self._play = bench, count, play
        self._at_s = 0.0
        self._begun = 0

    @property
    def lasts_s(self) -> float:
        """All of it, s."""
        return (MOVE_S + PAUSE_S) * self._count

    def advance(self, dt: float) -> bool:
        """Let time pass."""
        index = int(self._at_s / (MOVE_S + PAUSE_S) + 1e-9)
        if not self._begun or index >= self._begun:
            if index < self._count:
                self._play(index)
            self._begun = index + 1
        self._at_s += dt
        self._bench.advance(dt)
        return True


class Greeting:
    """Each motor to and fro in its own time, from rest, until a hand takes over."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._at_s = 0.0

    def advance(self, dt: float) -> bool:
        """Let time pass."""
        self._at_s += dt
        soft = min(1.0, self._at_s / SOFT_S)
        turns = [math.sin(2 * math.pi * self._at_s / (FIRST_S + LATER_S * k)) for k in range(len(self._bench.names))]
        self._bench.turn(math.radians(SWING_DEG) * soft * np.array(turns) - self._bench.angle)
        return True
