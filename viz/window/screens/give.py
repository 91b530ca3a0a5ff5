"""The bench with belts that give: a hand pushes the carriage against held motors, lets go, and it rings.

What gives, how hard and how it rings is the engine's (`PushBench`); here it is only kept, and played slowly.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
from beltspring.sim import BeltspringError, Push, PushBench, Rung
from beltspring.sim.machine.machine import Machine
from numpy.typing import NDArray

from ...draw.larger import TRAIL_S, carriage_m, one_figure
from ...draw.state import MachineState
from .bench import Bench

Array = NDArray[np.float64]

SLOWER = 50.0  # what is let go is played this much slower
MOST_N = 60.0  # a hand pushes no harder
FAR_N, FAR = 20.0, 0.7  # so many newtons are drawn as this share of the carriage


class Give:
    """The state of the push. tool: where the motors hold it is the bench's own place."""

    def __init__(self, machine: Machine, bench: Bench) -> None:
        self.machine, self.bench = machine, bench
        self.push: Push | None = None
        self.rung: Rung | None = None
        self.time_s = 0.0
        self.trouble = ""
        self.pulling = False
        self._wish: Array | None = None
        self._last_n = np.array([12.0, -8.0])

    @cached_property
    def engine(self) -> PushBench:
        return PushBench(self.machine)

    @property
    def plane(self) -> tuple[int, int]:
        """The axes that a hand in the picture pushes along: X and Y, or X and Z where the front is shown."""
        return (0, 2) if self.machine.arms else (0, 1)

    @property
    def tool(self) -> Array:
        return np.asarray(self.bench.tool)

    @cached_property
    def _gives(self) -> Array:
        """Way for force in the plane, (2, 2), m/N; along an axis that does not give, hardly any."""
        whole = self.engine.compliance(self.machine.middle)[np.ix_(self.plane, self.plane)]
        least = 1e-3 * float(np.abs(whole).max())
        return np.asarray(whole + np.eye(2) * least)

    @cached_property
    def larger(self) -> float:
        """How much further than it gives the carriage is drawn: one figure and zeros."""
        most = FAR_N * float(np.linalg.norm(self._gives, 2))
        return one_figure(FAR * carriage_m(self.machine) / most) if most > 0 else 1.0

    @property
    def rest_n(self) -> dict[tuple[str, str], float]:
        """Tensions with nobody pushing."""
        return self._rest.tension_n

    @property
    def _rest(self) -> Push:
        key = tuple(self.tool.tolist())
        if getattr(self, "_rest_key", None) != key:
            self._rest_key, self._rest_push = key, self.engine.push(self.tool, np.zeros(3))
        return self._rest_push

    # ---- what the hand does

    def pull(self, way_m: Array, straight: bool) -> None:
        """The hand draws the carriage by a way in the picture, (2,) m as drawn. straight: along one axis only."""
        force: Array = np.linalg.solve(self._gives, np.asarray(way_m, np.float64) / self.larger).astype(np.float64)
        if straight:
            force[int(abs(way_m[0]) >= abs(way_m[1]))] = 0.0
        self._wish = force  # met once a frame, however often the mouse tells
        self.pulling = True
        self.rung = None

    def meet_wish(self) -> bool:
        """Push as hard as the hand last asked; True if it had asked for something."""
        if self._wish is None:
            return False
        wish, self._wish = self._wish, None
        self.pull_with(wish)
        return True

    def pull_with(self, force_n: Array) -> None:
        """The hand pulls with a force (2,) in the plane, N; where a motor would lose its step it stays as it was."""
        size = float(np.hypot(*force_n))
        force = np.zeros(3)
        self.rung, self.trouble, self.pulling = None, "", True
        if size > 0:
            force[list(self.plane)] = force_n / size
            holds = self.engine.holds_n(self.tool, force)
            if size > min(holds, MOST_N) and holds < MOST_N:
                self.trouble = "Harder, and a motor loses its step."
            force *= min(size, holds, MOST_N)
        try:
            self.push = self.engine.push(self.tool, force)
            self._last_n = force[list(self.plane)]
        except BeltspringError as error:
            self.trouble = f"{error}."[0].upper() + f"{error}."[1:]

    def let_go(self) -> None:
        """The hand lets go: what comes is worked out at once and played slowly."""
        self.meet_wish()
        self.pulling = False
        if self.push is None:
            return
        if not np.any(self.push.force_n):
            self.push = None
            return
        self.rung, self.time_s = self.engine.let_go(self.tool, self.push), 0.0

    def again(self) -> None:
        """The last push once more, let go at once."""
        self.pull_with(self._last_n)
        self.let_go()

    def rest(self) -> None:
        """Nobody pushes and nothing rings."""
        self.push, self.rung, self.trouble, self.pulling, self._wish = None, None, "", False, None

    @property
    def ends_s(self) -> float:
        """Until when what is let go is shown: half as long again as it takes to calm down."""
        assert self.rung is not None
        calm, end = self.rung.fades_s, float(self.rung.t_s[-1])
        return end if calm is None else min(end, max(0.08, 1.5 * calm))

    def advance(self, dt: float, *, still: bool = False) -> bool:
        """Let it ring on; True if something moved. still: it is over at once."""
        if self.meet_wish():
            return True
        if self.rung is None or self.time_s >= self.ends_s:
            return False
        self.time_s = self.ends_s if still else min(self.ends_s, self.time_s + dt / SLOWER)
        return True

    # ---- what there is to see

    @property
    def off_m(self) -> Array:
        """How far the tool is from where the motors hold it now, (3,), m."""
        if self.rung is not None:
            return np.array([np.interp(self.time_s, self.rung.t_s, self.rung.off_m[:, k]) for k in range(3)])
        return self.push.gives_m if self.push is not None else np.zeros(3)

    @property
    def tension_n(self) -> dict[tuple[str, str], float]:
        if self.rung is not None:
            row = [np.interp(self.time_s, self.rung.t_s, self.rung.tension_n[:, k]) for k in range(len(self.rung.runs))]
            return {run: float(f) for run, f in zip(self.rung.runs, row, strict=True)}
        return self.push.tension_n if self.push is not None else self.rest_n

    @property
    def most_n(self) -> float:
        """Top of the thickness scale."""
        return self.bench.most_n

    def state(self) -> MachineState:
        """What to draw: the carriage further off than it is, where it is held dashed, its trail while it rings."""
        tool = self.tool
        trail = None
        if self.rung is not None:
            t = self.rung.t_s
            a, b = np.searchsorted(t, (self.time_s - TRAIL_S, self.time_s))
            trail = tool[:2] + self.larger * self.rung.off_m[a:b, :2]
        return MachineState(
            tool=self._inside(tool + self.larger * self.off_m),
            motor_rad=dict(zip(self.bench.names, self.bench.angle.tolist(), strict=True)),
            tension_n=self.tension_n,
            tension_most_n=self.most_n,
            asked_tool=tool if self.push is not None else None,
            trail=trail,
        )

    def _inside(self, tool: Array) -> Array:
        """A drawn place that stays within the reach, so that belts and arms can follow."""
        low, high = (np.array([limits[k] for limits in self.machine.reach]) for k in (0, 1))
        return np.asarray(np.clip(tool, low, high))
