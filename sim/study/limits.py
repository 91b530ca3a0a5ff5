"""How fast a machine may go: the highest acceleration and speed at which a move still keeps what is asked of it.

Found by real simulations. Ringing does not grow evenly with speed or acceleration: after a ramp that lasts a whole number
of periods hardly any is left. So every value is walked, from low to high in steps smaller than the lobes of the ringing:
what is safe is where nothing below fails, beyond it stretches may pass again, and from some value on all fail. Edges are
bisected, and two more runs make sure: what is answered holds at 99 % and fails at 105 %. Speeds are walked at the
scenario's own acceleration, and accelerations at its own speed.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection
from dataclasses import dataclass, replace
from typing import Literal

from ..chain.chain import Prepared, prepare
from ..chain.judged import Judged
from ..chain.stand import Bench, Criteria, Trial, bench_of
from ..model.facts import arm_travel
from ..model.left_out import left_out_words
from ..model.modes import modes, swing
from ..scenario.motion import MotionLimits, MoveSpec, move_spec
from ..scenario.schema import Scenario
from ..scenario.units import to_si

Quantity = Literal["acceleration", "speed"]
Move = Literal["x", "y", "own"]
MOVES: tuple[Move, ...] = ("x", "y", "own")
QUANTITIES: tuple[Quantity, ...] = ("acceleration", "speed")

CLIMB = 1.05  # from one trial to the next
NEARLY = (
    0.8  # a crest of ringing that uses more than this is looked at more closely: its top may lie between two trials
)
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
STEP_SHARE = 0.8  # of the reach, for a single axis's move
MOST_TRIALS = 400
IDLE = 8  # trials that change nothing end a walk
MOST_SPANS = 4  # stretches that pass again, told in words; all are in the numbers
THIN = "\u202f"  # between thousands, as in the pictures


@dataclass(frozen=True)
class Limit:
    """One answer.

    quantity, move: what was raised in which move.  value: SI, up to which nothing fails (from the lowest tried on), None
    where nothing fails or the lowest already does; `words` says which.  gives_way: what is broken first beyond it:
    "ringing" | "torque" | "slack" | "lost steps" | "run", or "".  below, above: the trials at 99 % and 105 % of it.
    judged: ringing at speeds around it, at 99 % of it.
    curve: every trial, by value.  settings: dotted keys, in file units, that repeat the move with `run`, the limit itself
    left out.  passes_again: stretches beyond that hold, low and high.  fails_beyond: from where on all fail that were
    tried, None where the highest holds.  slope: by how much what gives way grows at the value, m or share of the torque
    for each m/s or m/s2; None where it does not grow evenly.
    """

    quantity: Quantity
    move: Move
    value: float | None
    gives_way: str
    words: str
    below: Trial | None
    above: Trial | None
    curve: tuple[Trial, ...]
    settings: dict[str, object]
    passes_again: tuple[tuple[float, float], ...] = ()
    fails_beyond: float | None = None
    slope: float | None = None
    judged: Judged | None = None


@dataclass(frozen=True)
class Limits:
    """Every answer for one scenario. title: of the machine.  carriages: how fast those of a tool on arms run, or "".
    left_out: what its model leaves out, a sentence or ""."""

    title: str
    criteria: Criteria
    limits: tuple[Limit, ...]
    left_out: str = ""
    carriages: str = ""


Told = Callable[[str], None]


def find_limits(
    scenario: Scenario,
    criteria: Criteria | None = None,
    moves: Collection[str] = MOVES,
    quantities: tuple[Quantity, ...] = QUANTITIES,
    told: Told | None = None,
) -> Limits:
    """The limits of a scenario. moves: of MOVES.  told: called with what is being looked for.

    Raises InputError for what cannot be run.
    """
    ready = prepare(scenario)
    wanted = criteria if criteria is not None else Criteria()
    found = []
    for move in (m for m in MOVES if m in moves):
        bench = bench_of(ready, wanted, _move(scenario, ready, move))
        for quantity in quantities:
            if told is not None:
                told(f"{quantity}, {_named(move)}")
            found.append(_Search(bench, quantity, move).answer())
    return Limits(ready.machine.title, wanted, tuple(found), left_out_words(ready.machine), _carriages(ready))


def _carriages(ready: Prepared) -> str:
    """What a tool's speed asks of carriages on arms; a gantry's run no faster than the tool."""
    if not ready.system.arms:
        return ""
    ratio, bend = arm_travel(ready.system)
    return (
        f"Carriages run up to {ratio:.2f} times as fast as the tool, and at an even speed v of the tool they still speed up by "
        f"up to {bend:.1f} v² (1/m): at the rim, with an arm at its flattest."
    )


def _named(move: Move) -> str:
    return "the scenario's own move" if move == "own" else f"a step along {move.upper()}"


def _move(scenario: Scenario, ready: Prepared, move: Move) -> MoveSpec:
    """A single step along an axis over most of its reach, or the scenario's own move."""
    own = move_spec(scenario)
    if move == "own":
        return own
    low, high = ready.machine.reach["xy".index(move)]
    size = STEP_SHARE * (high - low)
    return replace(
        own, pattern="step", program=None, size_m=to_si(float(f"{size * 1e3:.6g}"), "mm"), repeats=1, axis=move
    )


class _Search:
    """One limit. Trials are kept by value, so that no value is simulated twice."""

    def __init__(self, bench: Bench, quantity: Quantity, move: Move) -> None:
        self.bench, self.quantity, self.move = bench, quantity, move
        self.tried: dict[float, Trial] = {}
        self.frequency_hz = self._fastest_hz()

    def _fastest_hz(self) -> float:
        """Of the modes that swing the tool most along the axes of the move, the faster, Hz; 0 where nothing rings."""
        system = self.bench.ready.system
        known = modes(system)
        columns = ["xy".index(self.move)] if self.move != "own" else [0, 1]
        tops = [max(known, key=lambda m: swing(system, m, c), default=None) for c in columns]
        return max((m.frequency_hz for m in tops if m is not None), default=0.0)

    def at(self, value: float) -> Trial:
        """The trial at a value, rounded to six figures of the file's unit and read as from there: `run` then does the same."""
        value = to_si(float(f"{value * 1e3:.6g}"), "mm/s2" if self.quantity == "acceleration" else "mm/s")
        found = self.tried.get(value)
        if found is None:
            found = self.tried[value] = self.bench.try_out(self._changed(value), value)
        return found

    def _changed(self, value: float) -> MotionLimits:
        """The limits with the one looked for at a value."""
        changed = {"acceleration_m_s2": value} if self.quantity == "acceleration" else {"speed_m_s": value}
        return replace(self.bench.limits, **changed)

    def answer(self) -> Limit:
        """Walk, find every edge, make sure, and put it in words."""
        self._walk()
        trials = [self.tried[v] for v in sorted(self.tried)]
        failing = [t for t in trials if not t.holds]
        if not failing:
            return self._limit(None, "", self._why_none(trials[-1]), None, None)
        if not any(t.holds for t in trials):
            return self._limit(None, failing[0].broken[0], self._why_all(failing[0]), None, None)
        value = None if not trials[0].holds else self._safe(failing[0])
        # The edge may lie below where the walk first saw it: narrow lobes were met on the way.
        spans = self._passing(value)
        beyond = None
        if not self.tried[max(self.tried)].holds:
            beyond = spans[-1][1] if spans else value
        if value is None:
            words = self._words(None, failing[0], spans, beyond)
            return self._limit(None, failing[0].broken[0], words, None, None, spans, beyond)
        for share in NEAR_SHARES:
            self.at(share * value)
        below, above = self.at(HOLDS_AT * value), self.at(FAILS_AT * value)
        first = self.at(self._failing_above(value))
        words = self._words(value, first, spans, beyond)
        slope = self._slope(below, first)
        if slope is not None:
            words += self._slope_words(slope, first.broken[0])
        return self._limit(value, first.broken[0], words, below, above, spans, beyond, slope)

    def _walk(self) -> None:
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

    def _safe(self, high: Trial) -> float:
        """The highest value below which nothing fails: 99 % of it holds, 105 % fails."""
        for _ in range(8):
            low = max((t for v, t in self.tried.items() if v < high.value), key=lambda t: t.value)
            value = self._edge(low, high)
            if self.at(HOLDS_AT * value).holds:
                break
            high = self.at(HOLDS_AT * value)
        return value

    def _passing(self, safe: float | None) -> tuple[tuple[float, float], ...]:
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

    def _slope(self, below: Trial, above: Trial) -> float | None:
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

    def _failing_above(self, value: float) -> float:
        return min(v for v, t in self.tried.items() if v > value and not t.holds)

    def _words(
        self, value: float | None, first: Trial, spans: tuple[tuple[float, float], ...], beyond: float | None
    ) -> str:
        """ "...: safe up to 120 mm/s (nothing from 25 mm/s on fails), then it rings ...; passes again ...; beyond ..."."""
        lowest, highest = self._shown(min(self.tried)), self._shown(max(self.tried))
        if value is None:
            words = f"{_named(self.move)}: already at {lowest} {_broken(first)}"
        else:
            words = (
                f"{_named(self.move)}: safe up to {self._shown(value)} (nothing from {lowest} up to it fails), then "
                f"{_broken(first)}"
            )
        told = [f"{self._shown(a).partition(' ')[0]} to {self._shown(b)}" for a, b in spans]
        if spans and beyond is None:
            told[-1] = f"{self._shown(spans[-1][0])} on, as far as was tried, {highest}"
        if len(told) > MOST_SPANS:
            told = [*told[: MOST_SPANS - 1], f"{len(told) - MOST_SPANS} stretches more", told[-1]]
        if told:
            words += f"; passes again from {', '.join(told[:-1])}{' and from ' if told[1:] else ''}{told[-1]}"
        if beyond is not None:
            words += f"; beyond {self._shown(beyond)} every value tried fails, up to {highest}"
        return words

    def _slope_words(self, slope: float, what: str) -> str:
        unit = "mm/s²" if self.quantity == "acceleration" else "mm/s"
        if what == "ringing":
            return f"; there it rings {1e3 * slope:.2g} µm more for each {unit}"
        return f"; there it takes {0.1 * slope:.2g} % more of the torque for each {unit}"

    def _why_all(self, first: Trial) -> str:
        highest = self._shown(max(self.tried))
        words = f"{_named(self.move)}: already at {self._shown(first.value)} {_broken(first)}, and at every value tried up to"
        words += f" {highest}"
        if self.quantity == "speed":
            return f"{words}; speed is not what limits you, slower does not help"
        if first.broken[0] == "ringing" and self.move == "own":
            words += "; what is left comes from the jumps of speed at corners, motion.corner_speed_step_mm_s"
        return words

    def _why_none(self, last: Trial) -> str:
        top = RANGE[self.quantity][1]
        lowest = self._shown(min(self.tried))
        if self.quantity == "speed" and last.top_speed_m_s < 0.999 * last.value:
            return (
                f"{_named(self.move)}: speed is not what limits you, nothing from {lowest} on fails, and the travel is too "
                f"short to go faster than {last.top_speed_m_s * 1e3:.0f} mm/s at this acceleration"
            )
        if last.value < top:
            return f"{_named(self.move)}: no limit, above {self._shown(last.value)} the move does not change any more"
        return f"{_named(self.move)}: no limit up to {self._shown(top)}, the highest that was tried"

    def _shown(self, value: float) -> str:
        unit = "mm/s²" if self.quantity == "acceleration" else "mm/s"
        figures = f"{value * 1e3:.4g}" if value < 1 else f"{value * 1e3:,.0f}".replace(",", THIN)
        return f"{figures} {unit}"

    def _limit(
        self,
        value: float | None,
        gives_way: str,
        words: str,
        below: Trial | None,
        above: Trial | None,
        passes_again: tuple[tuple[float, float], ...] = (),
        fails_beyond: float | None = None,
        slope: float | None = None,
    ) -> Limit:
        curve = tuple(self.tried[v] for v in sorted(self.tried))
        settings: dict[str, object] = {}
        if self.quantity == "speed":
            settings["motion.acceleration_mm_s2"] = float(f"{self.bench.limits.acceleration_m_s2 * 1e3:.6g}")
        if self.move != "own":
            size_mm = float(f"{self.bench.motion.move.size_m * 1e3:.6g}")
            settings |= {"move.pattern": "step", "move.axis": self.move, "move.size_mm": size_mm, "move.repeats": 1}
        judged = None if below is None else self.bench.judged(self._changed(below.value))
        return Limit(
            self.quantity, self.move, value, gives_way, words, below, above, curve, settings, passes_again, fails_beyond,
            slope, judged,
        )  # fmt: skip


def _same(a: Trial, b: Trial) -> bool:
    """Whether raising the value changed nothing: same top speed, same ringing, same torque."""
    pairs = (
        (a.top_speed_m_s, b.top_speed_m_s),
        (a.ringing_m or 0.0, b.ringing_m or 0.0),
        (a.torque_share or 0.0, b.torque_share or 0.0),
    )
    return all(abs(x - y) <= 1e-6 * max(abs(x), 1e-12) for x, y in pairs)


_WORDS = {
    "ringing": "it rings more than is allowed",
    "torque": "a motor has no torque to spare",
    "slack": "a belt goes slack",
    "lost steps": "a motor loses steps",
    "run": "the run does not end",
}


def _broken_words(broken: tuple[str, ...]) -> str:
    return " and ".join(_WORDS[name] for name in broken)


def _broken(trial: Trial) -> str:
    return _broken_words(trial.broken)
