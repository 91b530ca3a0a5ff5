"""Input shapers: a few impulses that a motion is convolved with, so that one frequency is left at rest.

Published names and sources. zero-vibration (ZV), zero-slope (ZVD), zero-curvature (ZVDD): Singer & Seering, ASME J. Dyn.
Syst. Meas. Control 112 (1990) 76-82; one-hump (EI): Singhose, Seering & Singer, ASME J. Mech. Design 116 (1994) 654-659;
two-hump (two-hump EI): Singhose, Porter, Tuttle & Singer, ASME J. Dyn. Syst. Meas. Control 119 (1997) 320-326 (all from
memory, re-derived here). With damping the last two have no closed form: their conditions are solved as they stand (see
`_extra_insensitive`).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from ..errors import ScenarioError
from ..scenario.motion import ShaperSpec

Array = NDArray[np.float64]

# What an EI shaper lets through at its worst within its stated width: the customary 5 %.
EI_RESIDUAL = 0.05
# Above this damping the conditions of the EI shapers lose their solution; so damped a machine needs no such shaper.
EI_MOST_DAMPING = 0.3


@dataclass(frozen=True)
class Impulses:
    """A shaper of one axis: commanded(t) = sum of weight * asked(t - time). times_s: rising, s.  weights: sum 1."""

    times_s: tuple[float, ...] = (0.0,)
    weights: tuple[float, ...] = (1.0,)

    @property
    def tail_s(self) -> float:
        """How long after the asked motion the commanded one goes on, s."""
        return self.times_s[-1]

    def later(self, seconds: float) -> Impulses:
        """The same impulses, all so much later."""
        return Impulses(tuple(t + seconds for t in self.times_s), self.weights) if seconds > 0.0 else self

    @property
    def delay_s(self) -> float:
        """How far the commanded motion lags behind the asked one at constant speed, s."""
        return float(sum(t * w for t, w in zip(self.times_s, self.weights, strict=True)))


def residual(impulses: Impulses, frequency_hz: float, damping: float = 0.0) -> float:
    """Share of the vibration that one impulse at time 0 would cause which these leave, at the last impulse.

    frequency_hz: undamped natural frequency of the machine.  V = exp(-z w t_n) sqrt(C^2 + S^2) with
    C, S = sum A_i exp(z w t_i) (cos, sin)(w_d t_i) (Singer & Seering 1990, from memory).
    """
    c, s = _components(np.array(impulses.times_s), np.array(impulses.weights), math.tau * frequency_hz, damping)
    return math.hypot(c, s)


def _components(times: Array, weights: Array, omega: float, damping: float) -> tuple[float, float]:
    grown = weights * np.exp(damping * omega * (times - times[-1]))
    phase = omega * math.sqrt(1.0 - damping * damping) * times
    return float(grown @ np.cos(phase)), float(grown @ np.sin(phase))


def _zero_vibration(order: int, damping: float) -> tuple[list[float], list[float]]:
    """ZV (order 1), ZVD (2), ZVDD (3): the binomial (1 + K)^order; times in damped periods."""
    k = math.exp(-math.pi * damping / math.sqrt(1.0 - damping * damping))
    weights = [math.comb(order, i) * k**i / (1.0 + k) ** order for i in range(order + 1)]
    return [0.5 * i for i in range(order + 1)], weights


def _solved(equations: Callable[[Array], Array], x: Array) -> Array:
    """A root of as many equations as unknowns by Newton's method with differences; raises ValueError if none is near."""
    for _ in range(30):
        value = equations(x)
        slope = np.empty((len(value), len(x)))
        for i in range(len(x)):
            step = np.zeros(len(x))
            step[i] = 1e-6
            slope[:, i] = (equations(x + step) - equations(x - step)) / 2e-6
        change = np.linalg.lstsq(slope, -value, rcond=None)[0]
        x = x + change
        if float(np.abs(change).max()) < 1e-12:
            break
    if float(np.abs(equations(x)).max()) > 1e-9:
        raise ValueError("no root near")
    return x


@lru_cache(maxsize=64)
def _extra_insensitive(humps: int, damping: float) -> tuple[list[float], list[float]]:
    """EI (one hump) and two-hump EI; times in undamped periods.

    One hump: residual V with level slope at the model's frequency, none at one frequency on either side.
    Two humps: none at the model's frequency and at one on either side, V at both humps between.
    Undamped these have the closed forms the solution starts from; damping is then raised step by step.
    """
    v = EI_RESIDUAL
    if humps == 1:
        outer, zero = (1.0 + v) / 4.0, math.acos((1.0 - v) / (1.0 + v)) / math.pi
        # First and last weight; second and third time; where nothing is left.
        x = np.array([outer, outer, 0.5, 1.0, 1.0 - zero, 1.0 + zero])
    else:
        cube = (v * v * (math.sqrt(1.0 - v * v) + 1.0)) ** (1.0 / 3.0)
        outer = (3.0 * cube * cube + 2.0 * cube + 3.0 * v * v) / (16.0 * cube)
        inner = 0.5 - outer
        zero = 1.0 - 2.0 * math.acos(math.sqrt((3.0 - inner / outer) / 4.0)) / math.pi
        hump = 1.0 - 2.0 * math.acos(math.sqrt((1.0 - inner / (3.0 * outer)) / 4.0)) / math.pi
        # First, second and last weight; three times; where nothing is left; where the humps are.
        x = np.array([outer, inner, outer, 0.5, 1.0, 1.5, 1.0 - zero, 1.0 + zero, 1.0 - hump, 1.0 + hump])

    def unpack(x: Array) -> tuple[Array, Array]:
        if humps == 1:
            return np.array([0.0, x[2], x[3]]), np.array([x[0], 1.0 - x[0] - x[1], x[1]])
        return np.array([0.0, x[3], x[4], x[5]]), np.array([x[0], x[1], 1.0 - x[0] - x[1] - x[2], x[2]])

    def equations(x: Array, z: float) -> Array:
        times, weights = unpack(x)

        def left(share: float) -> float:
            c, s = _components(times, weights, math.tau * share, z)
            return math.hypot(c, s)

        def level(share: float) -> float:
            return (left(share + 1e-5) - left(share - 1e-5)) / 2e-5

        if humps == 1:
            zeros, tops = [x[4], x[5]], [1.0]
        else:
            zeros, tops = [x[6], 1.0, x[7]], [x[8], x[9]]
        out = [part for w in zeros for part in _components(times, weights, math.tau * w, z)]
        return np.array(out + [left(w) - v for w in tops] + [level(w) for w in tops])

    steps = math.ceil(damping / 0.02)
    for n in range(1, steps + 1):
        z = damping * n / steps
        x = _solved(lambda y, z=z: equations(y, z), x)  # type: ignore[misc]
    times, weights = unpack(x)
    return times.tolist(), weights.tolist()


# Kind in a scenario -> published name, and how many times the ringing's own zero is repeated (0: a shaper with humps).
KINDS: dict[str, tuple[str, int]] = {
    "zero-vibration": ("ZV", 1),
    "zero-slope": ("ZVD", 2),
    "zero-curvature": ("ZVDD", 3),
    "one-hump": ("EI", 0),
    "two-hump": ("two-hump EI", 0),
}


def shaper(kind: str, frequency_hz: float, damping: float) -> Impulses:
    """The impulses of a shaper made for a natural frequency (undamped, Hz) and a damping ratio (below 1).

    Raises ScenarioError for a kind that does not exist, a frequency that is not above 0, or too much damping.
    """
    if kind not in KINDS:
        raise ScenarioError([f"[motion.shaper] kind = {kind!r}: must be one of {', '.join(KINDS)}."])
    if not (math.isfinite(frequency_hz) and frequency_hz > 0.0):
        raise ScenarioError([f"[motion.shaper] frequency_hz = {frequency_hz:g}: must be above 0."])
    published, order = KINDS[kind]
    most = 0.99 if order else EI_MOST_DAMPING
    if not 0.0 <= damping <= most:
        raise ScenarioError(
            [
                f"[motion.shaper] damping = {damping:g}: a shaper of kind {kind} ({published}) is made for 0 to {most:g}; "
                "use zero-vibration or zero-slope."
            ]
        )
    if order:
        times, weights = _zero_vibration(order, damping)
        period = 1.0 / (frequency_hz * math.sqrt(1.0 - damping * damping))
    else:
        times, weights = _extra_insensitive(2 if kind == "two-hump" else 1, damping)
        period = 1.0 / frequency_hz
    return Impulses(tuple(t * period for t in times), tuple(weights))


@dataclass(frozen=True)
class Made:
    """A shaper as it was made. frequency_hz: undamped.  auto: whether frequency and damping are the machine's own."""

    axis: str
    kind: str
    frequency_hz: float
    damping: float
    auto: bool


@dataclass(frozen=True)
class Shaping:
    """The shapers of all three axes, laid out for the sampling loops: axes with equal impulses form one group.

    times_s, weight: (groups, most impulses).  impulses: (groups,).  axes: (groups, 3), the axes of each, then -1.
    made: the shapers, one for each axis that has one.
    """

    by_axis: tuple[Impulses, Impulses, Impulses]
    times_s: Array
    weight: Array
    impulses: NDArray[np.int64]
    axes: NDArray[np.int64]
    made: tuple[Made, ...] = ()

    @staticmethod
    def of(x: Impulses, y: Impulses, z: Impulses) -> Shaping:
        """Group the axes' shapers.

        All axes are made to lag alike: those whose shaper lags less are delayed by the difference. Otherwise a slanted
        straight line would be driven beside itself, by half the speed times that difference.
        """
        lag = max(x.delay_s, y.delay_s, z.delay_s)
        by_axis = (x.later(lag - x.delay_s), y.later(lag - y.delay_s), z.later(lag - z.delay_s))
        different = list(dict.fromkeys(by_axis))
        most = max(len(s.times_s) for s in different)
        delay, weight = np.zeros((len(different), most)), np.zeros((len(different), most))
        for row, one in enumerate(different):
            delay[row, : len(one.times_s)] = one.times_s
            weight[row, : len(one.weights)] = one.weights
        counts = np.array([len(s.times_s) for s in different], dtype=np.int64)
        axes = np.full((len(different), 3), -1, dtype=np.int64)
        for row, one in enumerate(different):
            mine = [d for d in range(3) if by_axis[d] == one]
            axes[row, : len(mine)] = mine
        return Shaping(by_axis, delay, weight, counts, axes)

    @property
    def tail_s(self) -> tuple[float, float, float]:
        """How long after the asked motion the commanded one goes on, by axis, s."""
        x, y, z = self.by_axis
        return x.tail_s, y.tail_s, z.tail_s

    @property
    def delay_s(self) -> float:
        """How far the commanded motion lags behind the asked one at constant speed, s; the same for all axes."""
        return self.by_axis[0].delay_s


UNSHAPED = Shaping.of(Impulses(), Impulses(), Impulses())


def shaping_of(shapers: Mapping[str, ShaperSpec]) -> Shaping:
    """The shapers of all axes. What was "auto" is a number by now (`chain.motion`)."""
    axes: list[Impulses] = []
    made: list[Made] = []
    for axis in ("x", "y", "z"):
        spec = shapers.get(axis)
        if spec is None:
            axes.append(Impulses())
            continue
        if spec.frequency_hz == "auto":
            raise ScenarioError(
                [f'[motion.shaper] {axis}: frequency_hz = "auto" needs a machine that can ring; give it in Hz.']
            )
        axes.append(shaper(spec.kind, spec.frequency_hz, spec.damping))
        made.append(Made(axis, spec.kind, spec.frequency_hz, spec.damping, spec.own_mode))
    return replace(Shaping.of(axes[0], axes[1], axes[2]), made=tuple(made))
