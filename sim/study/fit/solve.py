"""Turning the knobs until measured and modelled agree as well as they can: least squares in logarithms, from several starts."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.special import ndtri
from scipy.stats import qmc

from ...errors import BeltspringError
from ...simulate.interrupt import Interruptible
from .problem import LOST, Problem, Said

Array = NDArray[np.float64]
#: Called with (start, of starts, steps so far, chi2 of the worst record so far).
Tell = Callable[[int, int, int, float], None]

STARTS, ENOUGH = 5, 2.0
#: Steps looking coarsely, finely, and with central differences.
COARSELY, ON_THE_WAY, AT_THE_END = 10, 16, 14
#: A look is given up for the next once a step takes less than this share off what is left.
COARSE_TOL, FINE_TOL, END_TOL = 2e-2, 3e-4, 2e-4
#: A knob whose turn by a sigma of its band moves less than this, in sigmas of all measurements together, waits.
FELT = 0.3
#: What the starts turn: what shifts modes, which lock on to a wrong ring, and friction. So many places are tried, one
#: simulation each, and those begun from that leave least, each so far from the others, in sigmas.
STARTED = ("ea_n", "stiffness_x_n_per_mm", "stiffness_y_n_per_mm", "holding_torque_nm", "friction_n")
TRIED, APART = 63, 0.7
#: Starts shifted in time, ms.
LATER = (-4.0, -2.0, 0.0, 2.0, 4.0)


#: Half the sum of squares, turns, what is said there, what is left there.
Place = tuple[float, Array, Said, Array]


class Stopped(Exception):
    """Somebody asked to stop."""


@dataclass(frozen=True)
class Solved:
    """Where the search ended. x: its turns.  slopes: (rows, turns).  starts: how many were tried.  interrupted: whether
    somebody stopped it."""

    x: Array
    said: Said
    left: Array
    slopes: Array
    starts: int
    interrupted: bool

    @property
    def cost(self) -> float:
        """Half the sum of squares of what is left."""
        return 0.5 * float(self.left @ self.left)


class _Search:
    """One problem being solved: what was said last is kept, so that slopes are taken where it stands."""

    def __init__(self, problem: Problem, tell: Tell | None, wish: Interruptible) -> None:
        self.p, self.tell, self.wish = problem, tell, wish
        self.active = np.ones(len(problem.knobs), np.bool_)
        self.best: Place | None = None
        self.kept: Place | None = None
        self.said: tuple[Array, Said, Array] | None = None
        self.start = self.steps = 0

    def look(self, coarse: bool) -> None:
        """Look at records coarsely or finely from now on; the best so far is then as this look has it."""
        if self.p.coarse != coarse:
            self.p.coarse = coarse
            self.said = None
            if self.best is not None:
                self.best = self._seen(self.best)

    def _seen(self, place: Place) -> Place:
        _, x, said, _ = place
        left = self.p.left(said, x)
        return 0.5 * float(left @ left), x, said, left

    def keep(self) -> None:
        """Keep the best of this start if it is the best of all, looked at finely."""
        self.look(coarse=False)
        if self.best is not None and (self.kept is None or self.best[0] < self.kept[0]):
            self.kept = self.best

    def weigh(self) -> None:
        """Weigh records by what is left of them at the best of all starts, and go on from there."""
        self.p.widen(self.reached[3])
        self.best = self.kept = self._seen(self.reached)
        self.said = None

    @property
    def reached(self) -> Place:
        """The best of all starts."""
        assert self.kept is not None
        return self.kept

    def stop(self) -> None:
        if self.wish.stop:
            raise Stopped

    def at(self, x: Array) -> tuple[Said, Array]:
        """What is said, and left, at some turns."""
        if self.said is None or not np.array_equal(self.said[0], x):
            self.stop()
            said = self.p.say(x, refine=True)
            left = self.p.left(said, x)
            self.said = x.copy(), said, left
            cost = 0.5 * float(left @ left)
            if self.best is None or cost < self.best[0]:
                self.best = cost, x.copy(), said, left
                if self.tell is not None:
                    worst = float(self.p.chi2(left).max(initial=0.0))
                    self.tell(self.start + 1, STARTS, self.steps, worst)
        return self.said[1], self.said[2]

    def left(self, x: Array) -> Array:
        try:
            return self.at(x)[1]
        except BeltspringError:
            # No machine, or one that flies apart: as far off as nothing else is.
            assert self.best is not None
            return np.full(len(self.best[3]), LOST)

    def slopes(self, x: Array, central: bool) -> Array:
        said, left = self.at(x)
        self.steps += 1
        return self.p.slopes(x, said, left, self.active, central, self.stop)

    def descend(self, x: Array, central: bool, most: int, tol: float) -> Array:
        low, high = self.p.bounds
        room = 1e-6 * (high - low)
        found = least_squares(
            self.left, np.clip(x, low + room, high - room), jac=lambda at: self.slopes(at, central), bounds=(low, high),
            method="trf", x_scale=1.0, ftol=tol, xtol=1e-4, gtol=1e-6, max_nfev=most,
        )  # fmt: skip
        return np.asarray(found.x, float)

    def screen(self, x: Array) -> None:
        """Let knobs wait that nothing measured feels: they cost a simulation at every step."""
        j = self.slopes(x, central=False)
        data = j[: len(j) - len(self.p.knobs), : len(self.p.knobs)]
        felt = np.sqrt((data**2).sum(axis=0)) / np.array([max(k.slope(0.0), 1e-9) for k in self.p.knobs])
        self.active = felt > FELT


def solve(problem: Problem, tell: Tell | None = None) -> Solved:
    """The turns that leave least. tell: called when a better place was found. Ctrl-C ends it with the best so far."""
    with Interruptible() as wish:
        search = _Search(problem, tell, wish)
        interrupted = False
        search.at(problem.first)
        # Whoever stops it before the first start is over has what the scenario told.
        search.keep()
        try:
            _starts(search)
            search.weigh()
            search.screen(search.reached[1])
            search.descend(search.reached[1], True, AT_THE_END, END_TOL)
        except Stopped:
            interrupted = True
            wish.stop = False
        search.keep()
        _, x, said, left = search.reached
        active = np.full(len(problem.knobs), not interrupted)
        try:
            slopes = problem.slopes(x, said, left, active, not interrupted, search.stop)
        except Stopped:
            interrupted, active[:] = True, False
            slopes = problem.slopes(x, said, left, active, False, lambda: None)
        return Solved(x, said, left, slopes, search.start + 1, interrupted)


def _starts(search: _Search) -> None:
    """Search from one start after another until a record is met: first coarsely, then finely."""
    problem = search.p
    search.look(coarse=bool(problem.samples))
    for number, x in enumerate(_places(search)[:STARTS]):
        search.start, search.best, search.said = number, None, None
        search.look(coarse=bool(problem.samples))
        search.at(x)
        if number == 0:
            search.screen(x)
        x = search.descend(x, False, COARSELY, COARSE_TOL)
        search.look(coarse=False)
        search.descend(x, False, ON_THE_WAY, FINE_TOL)
        search.keep()
        if not problem.samples or problem.chi2(search.reached[3]).max() <= ENOUGH:
            return


def _places(search: _Search) -> list[Array]:
    """Where to begin, best first: as told where there are no records, else from a few dozen places tried out."""
    problem = search.p
    if not problem.samples:
        return [problem.first]
    turned = [[i for i, k in enumerate(problem.knobs) if k.key.endswith(end)] for end in STARTED]
    normal = ndtri(np.clip(qmc.Sobol(len(STARTED), seed=1).random(TRIED + 1), 0.02, 0.98))
    normal[0] = 0.0
    tried: list[tuple[float, int, Array]] = []
    for number, place in enumerate(normal):
        search.stop()
        x = problem.first
        for mine, off in zip(turned, place, strict=True):
            x[mine] = off
        try:
            tried.append((_shifted(search, x), number, x))
        except BeltspringError:
            continue
    tried.sort(key=lambda one: one[:2])
    chosen: list[tuple[Array, Array]] = []
    for _, number, x in tried:
        if all(np.abs(normal[number] - other).max() > APART for other, _ in chosen):
            chosen.append((normal[number], x))
    return [x for _, x in chosen]


def _shifted(search: _Search, x: Array) -> float:
    """What is left at some turns, each record's start shifted as suits it best; x is changed in place."""
    problem = search.p
    said = problem.say(x, refine=True)
    for k in range(len(problem.samples)):
        at = len(problem.knobs) + 2 * k
        costs = []
        for later in LATER:
            x[at] = later
            left = problem.left_of_record(k, said, x)
            costs.append(float(left @ left))
        x[at] = LATER[int(np.argmin(costs))]
    left = problem.left(said, x)
    return float(left @ left)
