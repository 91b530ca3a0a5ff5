"""The values of a limit tried one by one: a walk from low to high, its edges bisected, all trials kept. No words."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Literal

from ..chain.stand import Bench, Trial
from ..model.modes import modes, swings_most
from ..scenario.motion import MotionLimits
from ..scenario.units import to_si

Quantity = Literal["acceleration", "speed"]
Move = Literal["x", "y", "own"]
Spans = tuple[tuple[float, float], ...]

CLIMB = 1.05  # from one trial to the next
#: A crest of ringing that uses more than this is looked at more closely: its top may lie between two trials.
NEARLY = 0.8
FINE = 1.001  # how far apart a value that holds and one that fails may be in the end
HOLDS_AT, FAILS_AT = 0.99, 1.05
RANGE: dict[Quantity, tuple[float, float]] = {"acceleration": (0.05, 200.0), "speed": (0.005, 5.0)}  # m/s2, m/s
#: Of the scenario's own: where the walk begins.
START_SHARE: dict[Quantity, float] = {"acceleration": 0.15, "speed": 1 / 6}
#: Of the scenario's own: how far speeds are walked at least, if the travel is long enough for them (accelerations: to it).
FASTEST_SHARE = 3.0
#: A ramp between speeds this share of acceleration / frequency apart stands at most so far on in the lobes of its ringing.
LOBE_SHARE = 0.125
NEAR_SHARES = (0.96, 0.97, 0.98, 1.0, 1.01, 1.02, 1.03)  # of the answer: more points of the curve about it
BEYOND = 1.6  # how far past its first edge a walk goes at least
MOST_TRIALS = 400
IDLE = 8  # trials that change nothing end a walk


class Walk:
    """One limit's trials, kept by value, so that no value is simulated twice."""

    def __init__(self, bench: Bench, quantity: Quantity, move: Move) -> None:
        self.bench, self.quantity, self.move = bench, quantity, move
        self.tried: dict[float, Trial] = {}
        self.frequency_hz = self._fastest_hz()

    @property
    def trials(self) -> list[Trial]:
        """All so far, by value."""
        return [self.tried[v] for v in sorted(self.tried)]

    def _fastest_hz(self) -> float:
        """Of the modes that swing the tool most along the axes of the move, the faster, Hz; 0 where nothing rings."""
        system = self.bench.ready.system
        known = modes(system)
        columns = ["xy".index(self.move)] if self.move != "own" else [0, 1]
        tops = [swings_most(system, known, c) for c in columns]
        return max((m.frequency_hz for m in tops if m is not None), default=0.0)

    def at(self, value: float) -> Trial:
        """The trial at a value, rounded to six figures of the file's unit and read as from there: `run` then does the same."""
        value = to_si(float(f"{value * 1e3:.6g}"), "mm/s2" if self.quantity == "acceleration" else "mm/s")
        found = self.tried.get(value)
        if found is None:
            found = self.tried[value] = self.bench.try_out(self.changed(value), value)
        return found

    def changed(self, value: float) -> MotionLimits:
        """The limits with the one looked for at a value."""
        changed = {"acceleration_m_s2": value} if self.quantity == "acceleration" else {"speed_m_s": value}
        return replace(self.bench.limits, **changed)

    def walk(self) -> None:
        """Every value from the lowest up, with a closer look about crests of what is used."""
        bottom, top = RANGE[self.quantity]
        own = getattr(self.bench.limits, "acceleration_m_s2" if self.quantity == "acceleration" else "speed_m_s")
        value = max(bottom, START_SHARE[self.quantity] * own)
        if self.quantity == "acceleration":
            while value > bottom and not self.at(value).holds:
                value = max(bottom, value / 3)
        last: Trial | None = None
        before: Trial | None = None
        first_failing: float | None = None
        idle = 0
        for _ in range(MOST_TRIALS):
            trial = self.at(value)
            if before is not None and last is not None and last.used > max(before.used, trial.used, NEARLY):
                self._crest(before, last, trial)
            if first_failing is None and not trial.holds:
                first_failing = value
            # Beyond some value the travel is too short to reach a higher speed, and nothing changes any more.
            idle = idle + 1 if last is not None and _same(last, trial) else 0
            before, last = last, trial
            share = FASTEST_SHARE if self.quantity == "speed" else 1.0
            far = first_failing is not None and value >= max(BEYOND * first_failing, share * own)
            if idle >= IDLE or value >= top or far:
                return
            coarse = self.quantity == "acceleration" and first_failing is not None and value > BEYOND * first_failing
            value = min(top, self._next(value) * (CLIMB if coarse else 1.0))

    def _next(self, value: float) -> float:
        """The next value of the walk: less than one lobe of the ringing on."""
        if self.quantity == "acceleration":
            return value * CLIMB
        lobe = self.bench.limits.acceleration_m_s2 / self.frequency_hz if self.frequency_hz else math.inf
        return value + min((CLIMB - 1.0) * value, max(LOBE_SHARE * lobe, 0.01 * value))

    def safe(self, high: Trial) -> float:
        """The highest value below which nothing fails: 99 % of it holds, 105 % fails."""
        for _ in range(8):
            low = max((t for v, t in self.tried.items() if v < high.value), key=lambda t: t.value)
            value = self._edge(low, high)
            if self.at(HOLDS_AT * value).holds:
                break
            high = self.at(HOLDS_AT * value)
        return value

    def passing(self, safe: float | None) -> Spans:
        """Stretches that hold beyond the first failure, their edges bisected."""
        out = []
        trials = [self.tried[v] for v in sorted(self.tried) if safe is None or v > safe]
        while trials and trials[0].holds:
            trials.pop(0)
        k = 0
        while k < len(trials):
            if not trials[k].holds:
                k += 1
                continue
            start = k
            while k < len(trials) and trials[k].holds:
                k += 1
            low = self._bisected(trials[start], trials[start - 1]) if start else trials[start].value
            high = self._bisected(trials[k - 1], trials[k]) if k < len(trials) else trials[-1].value
            out.append((low, high))
        return tuple(out)

    def _bisected(self, holds: Trial, fails: Trial) -> float:
        """A value that holds, with one that fails within a thousandth of it."""
        good, bad = holds.value, fails.value
        while max(good, bad) / min(good, bad) > FINE:
            middle = self.at(math.sqrt(good * bad))
            if middle.value in (good, bad):
                break
            good, bad = (middle.value, bad) if middle.holds else (good, middle.value)
        return good

    def slope(self, below: Trial, above: Trial) -> float | None:
        """Growth of what gives way between two trials, for each m/s or m/s2."""
        pairs = {"ringing": (below.ringing_m, above.ringing_m), "torque": (below.torque_share, above.torque_share)}
        low, high = pairs.get(above.broken[0], (None, None))
        return None if low is None or high is None else (high - low) / (above.value - below.value)

    def _crest(self, before: Trial, top: Trial, after: Trial) -> None:
        """A few trials about a crest: its top may lie between two of the walk."""
        for a, b in ((before, top), (top, after)):
            for share in (1 / 3, 2 / 3):
                self.at(a.value ** (1 - share) * b.value**share)

    def _edge(self, low: Trial, high: Trial) -> float:
        """A value that holds, with one that fails within 5 % above it: bisected to a thousandth first."""
        while high.value / low.value > FINE:
            middle = self.at(math.sqrt(low.value * high.value))
            if middle.value in (low.value, high.value):
                break
            low, high = (middle, high) if middle.holds else (low, middle)
        if not self.at(FAILS_AT * low.value).holds:
            return low.value
        # A narrow lobe: what fails just above holds again 5 % further. Answer so that 105 % meets the lobe.
        return high.value / FAILS_AT

    def failing_above(self, value: float) -> float:
        """The lowest value tried that fails, of those above one."""
        return min(v for v, t in self.tried.items() if v > value and not t.holds)


def _same(a: Trial, b: Trial) -> bool:
    """Whether raising the value changed nothing: same top speed, same ringing, same torque."""
    pairs = (
        (a.top_speed_m_s, b.top_speed_m_s),
        (a.ringing_m or 0.0, b.ringing_m or 0.0),
        (a.torque_share or 0.0, b.torque_share or 0.0),
    )
    return all(abs(x - y) <= 1e-6 * max(abs(x), 1e-12) for x, y in pairs)
