"""Turning the knobs until measured and modelled agree as well as they can: least squares in logarithms, from several starts."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import CancelledError
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri
from scipy.stats import qmc

from ...errors import BeltspringError
from ...simulate.interrupt import Interruptible
from .descend import descend
from .problem import Problem, Said
from .widths import Place as Walked
from .widths import Widths, widths_of

Array = NDArray[np.float64]
#: Called with (start, of starts, steps so far, chi2 of the worst record so far).
Tell = Callable[[int, int, int, float], None]

STARTS, ENOUGH = 5, 2.0
#: What a right model leaves of a record is well below what it is allowed: a start that leaves more than this may have met
#: another valley, and is believed only after so many.
WELL, SEEN = 0.9, 2
#: Steps looking coarsely, finely, and with central differences.
COARSELY, ON_THE_WAY, AT_THE_END = 10, 16, 14
#: A look is given up for the next once a step takes less than this share off what is left.
COARSE_TOL, FINE_TOL, END_TOL = 2e-2, 3e-4, 2e-4
#: What may be gained, of half the sum of squares, since the last slopes were taken: they are then those of the end.
AS_GOOD = 0.5
#: From here on the end is not looked for: no few steps more bring it under what is enough.
HOPELESS = 4.0 * ENOUGH
#: Sigmas of its band: a number that ends farther out ran there, it was not built so.
RAN = 2.0
#: How often the end is sought again where a better place was met beside it.
ENDS = 3
#: A knob whose turn by a sigma of its band moves less than this, in sigmas of all measurements together, waits.
FELT = 0.3
#: What the starts turn: what shifts modes, which lock on to a wrong ring, and friction. So many places are tried, one
#: simulation each, and those begun from that leave least, each so far from the others, in sigmas.
STARTED = (
    "ea_n", "stiffness_x_n_per_mm", "stiffness_y_n_per_mm", "holding_torque_nm", "friction_n",
    "stiffness_vertical_n_per_mm", "stiffness_sideways_n_per_mm",
)  # fmt: skip
TRIED, APART = 63, 0.7
#: Starts shifted in time, ms.
LATER = np.array([-4.0, -2.0, 0.0, 2.0, 4.0])


#: Half the sum of squares, turns, what is said there, what is left there.
Place = tuple[float, Array, Said, Array]


class Stopped(Exception):
    """Somebody asked to stop."""


@dataclass(frozen=True)
class Solved:
    """Where the search ended. x: its turns.  slopes: (rows, turns).  widths: None where nobody waited for them.  starts:
    how many were tried.  interrupted: whether somebody stopped it."""

    x: Array
    said: Said
    left: Array
    slopes: Array
    widths: Widths | None
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
        self.j = np.zeros((0, problem.size))

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

    def left(self, x: Array) -> Array | None:
        """What is left at some turns; None where there is no machine, or one that flies apart."""
        try:
            return self.at(x)[1]
        except BeltspringError:
            return None

    def slopes(self, x: Array, central: bool) -> Array:
        said, left = self.at(x)
        self.steps += 1
        return self.p.slopes(x, said, left, self.active, central, self.stop)

    def descend(self, x: Array, central: bool, most: int, tol: float, near: float = np.inf) -> Array:
        """Down from some turns; the slopes where it ended are kept. Looking coarsely, what the first slopes do not feel
        waits: what a wrong start hardly feels may be what a right end turns on."""
        self.active[:] = True
        first = True

        def slopes(at: Array) -> Array:
            nonlocal first
            j = self.slopes(at, central)
            if first and not central and (self.p.coarse or not self.p.samples):
                self.screen(j)
            first = False
            return j

        x, self.j = descend(self.left, slopes, x, self.p.bounds, most, tol, near)
        return x

    def ran(self, x: Array) -> list[int]:
        """Numbers that ran far out of their bands."""
        return [i for i, knob in enumerate(self.p.knobs) if abs(knob.sigmas(float(x[i]))) > RAN]

    def screen(self, j: Array) -> None:
        """Let knobs wait that nothing measured feels: they cost a simulation at every step."""
        data = j[: len(j) - len(self.p.knobs), : len(self.p.knobs)]
        felt = np.sqrt((data**2).sum(axis=0)) / np.array([max(k.slope(0.0), 1e-9) for k in self.p.knobs])
        self.active = felt > FELT


def solve(problem: Problem, tell: Tell | None = None, wish: Interruptible | None = None) -> Solved:
    """The turns that leave least. tell: called when a better place was found. wish: once it says so the search ends, with
    the best so far."""
    wish = Interruptible() if wish is None else wish
    search = _Search(problem, tell, wish)
    interrupted, widths = False, None
    search.at(problem.first)
    search.keep()
    try:
        problem.given_up = wish.asked
        _starts(search)
        search.weigh()
        widths = _ended(search)
    except (Stopped, CancelledError):
        interrupted = True
    problem.given_up = None
    wish.stop = False
    search.keep()
    _, x, said, left = search.reached
    slopes = search.j
    if interrupted:
        slopes = problem.slopes(x, said, left, np.zeros(len(problem.knobs), np.bool_), False, lambda: None)
    return Solved(x, said, left, slopes, widths, search.start + 1, interrupted)


def _ended(search: _Search) -> Widths | None:
    """Down to the end from the best of all starts, and how far every number may be from there; None where it is not worth
    knowing, for the model makes nothing like the records."""
    x = search.reached[1]
    if search.p.chi2(search.reached[3]).max(initial=0.0) > HOPELESS:
        search.j = search.slopes(x, False)
        return None
    for again in range(ENDS):
        search.descend(x, True, AT_THE_END, END_TOL, AS_GOOD)
        search.keep()
        x, _, left = search.reached[1:]
        some = np.arange(len(x)) < len(search.p.knobs)
        widths = widths_of(search.left, Walked(x, left), search.j, search.p.bounds, some)
        if widths.better is None or again == ENDS - 1:
            break
        x = widths.better
    return widths


def _starts(search: _Search) -> None:
    """Search from one start after another until a record is met: first coarsely, then finely.

    Every other one begins beside the best so far: all others near what they are, what shifts modes is tried out anew.
    """
    problem = search.p
    search.look(coarse=bool(problem.samples))
    told = _places(search, problem.first)
    for number in range(STARTS if problem.samples else 1):
        search.look(coarse=bool(problem.samples))
        some = _beside(search) if number % 2 else told
        search.start, search.best, search.said = number, None, None
        if not some:
            continue
        x = some.pop(0)
        search.at(x)
        x = search.descend(x, False, COARSELY, COARSE_TOL)
        search.look(coarse=False)
        ran = search.ran(x)
        x[ran] = problem.first[ran]
        search.descend(x, False, ON_THE_WAY, FINE_TOL)
        search.keep()
        left = float(problem.chi2(search.reached[3]).max(initial=0.0))
        if left <= WELL or (left <= ENOUGH and number + 1 >= SEEN):
            return


def _beside(search: _Search) -> list[Array]:
    """Where to begin beside the best so far, itself left out: what ran far out of its band is put back into its middle; where
    nothing did, what shifts modes is tried out anew."""
    base, k = search.reached[1].copy(), len(search.p.knobs)
    ran = search.ran(base)
    if ran:
        base[ran] = search.p.first[ran]
        return [base]
    return [x for x in _places(search, base) if not np.array_equal(x[:k], base[:k])]


def _places(search: _Search, base: Array) -> list[Array]:
    """Where to begin, best first, of a few dozen places tried out beside some turns; those alone where there are no records."""
    problem = search.p
    if not problem.samples:
        return [base]
    turned = [[i for i, k in enumerate(problem.knobs) if k.key.endswith(end)] for end in STARTED]
    normal = ndtri(np.clip(qmc.Sobol(len(STARTED), seed=1).random(TRIED + 1), 0.02, 0.98))
    normal[0] = [float(np.mean(base[mine])) if mine else 0.0 for mine in turned]
    tried: list[tuple[float, int, Array]] = []
    for number, place in enumerate(normal):
        search.stop()
        x = base.copy()
        for mine, off in zip(turned if number else (), place, strict=False):
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
        costs, begun = [], np.clip(x[at] + LATER, *(end[at] for end in problem.bounds))
        for x[at] in begun:
            left = problem.left_of_record(k, said, x)
            costs.append(float(left @ left))
        x[at] = begun[int(np.argmin(costs))]
    left = problem.left(said, x)
    return float(left @ left)
