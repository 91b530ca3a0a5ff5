"""How fast a machine may go: the highest acceleration and speed at which a move still keeps what is asked of it.

Found by real simulations. Ringing does not grow evenly with speed or acceleration: after a ramp that lasts a whole number
of periods hardly any is left. So the search climbs from low values in small steps to the first one that fails, bisects
there, and then makes sure by two more runs: what it answers holds at 99 % and fails at 105 %. Speeds are looked for from
the scenario's own upward, at its own acceleration or at the highest one found, whichever is lower; slower ones, down to a
third, are tried afterwards, and those that fail are named beside the answer.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection
from dataclasses import dataclass, replace
from typing import Literal

from ..chain.chain import Prepared, prepare
from ..chain.judged import Judged
from ..chain.stand import Bench, Criteria, Trial, bench_of
from ..model.left_out import left_out_words
from ..scenario.motion import MotionLimits, MoveSpec, move_spec
from ..scenario.schema import Scenario

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
START_SHARE: dict[Quantity, float] = {
    "acceleration": 0.15,
    "speed": 1.0,
}  # of the scenario's own: where the climb begins
SLOWEST_SHARE = 1 / 3  # of the answer: from there up slower speeds are tried as well
NEAR_SHARES = (0.96, 0.97, 0.98, 1.0, 1.01, 1.02, 1.03)  # of the answer: more points of the curve about it
BEYOND = 1.6  # how far the curve is drawn past the limit
STEP_SHARE = 0.8  # of the reach, for a single axis's move
MOST_TRIALS = 400
THIN = "\u202f"  # between thousands, as in the pictures


@dataclass(frozen=True)
class Limit:
    """One answer.

    quantity, move: what was raised in which move.  value: SI, None where nothing gave way; `words` says why.
    gives_way: what is broken first beyond it: "ringing" | "torque" | "slack" | "lost steps" | "run", or "".
    below, above: the trials at 99 % and 105 % of it.  judged: ringing at speeds around it, at 99 % of it.
    curve: every trial, by value.  settings: dotted keys, in file units,
    that repeat the move with `run`, the limit itself left out.
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
    judged: Judged | None = None


@dataclass(frozen=True)
class Limits:
    """Every answer for one scenario. title: of the machine.  left_out: what its model leaves out, a sentence or ""."""

    title: str
    criteria: Criteria
    limits: tuple[Limit, ...]
    left_out: str = ""


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
            search = _Search(bench, quantity, move)
            found.append(search.answer())
            highest = found[-1].value
            if quantity == "acceleration" and highest is not None and highest < bench.limits.acceleration_m_s2:
                # A speed can only be asked for at an acceleration that the move stands.
                eased = float(f"{HOLDS_AT * highest:.4g}")
                bench = bench.under(replace(bench.limits, acceleration_m_s2=eased))
    return Limits(ready.machine.title, wanted, tuple(found), left_out_words(ready.machine))


def _named(move: Move) -> str:
    return "the scenario's own move" if move == "own" else f"a step along {move.upper()}"


def _move(scenario: Scenario, ready: Prepared, move: Move) -> MoveSpec:
    """A single step along an axis over most of its reach, or the scenario's own move."""
    own = move_spec(scenario)
    if move == "own":
        return own
    low, high = ready.machine.reach["xy".index(move)]
    size = STEP_SHARE * (high - low)
    return replace(own, pattern="step", program=None, size_m=float(f"{size:.6g}"), repeats=1, axis=move)


class _Search:
    """One limit. Trials are kept by value, so that no value is simulated twice."""

    def __init__(self, bench: Bench, quantity: Quantity, move: Move) -> None:
        self.bench, self.quantity, self.move = bench, quantity, move
        self.tried: dict[float, Trial] = {}

    def at(self, value: float) -> Trial:
        """The trial at a value, rounded to six figures so that it can be written into a file."""
        value = float(f"{value:.6g}")
        found = self.tried.get(value)
        if found is None:
            found = self.tried[value] = self.bench.try_out(self._changed(value), value)
        return found

    def _changed(self, value: float) -> MotionLimits:
        """The limits with the one looked for at a value."""
        changed = {"acceleration_m_s2": value} if self.quantity == "acceleration" else {"speed_m_s": value}
        return replace(self.bench.limits, **changed)

    def answer(self) -> Limit:
        """Climb, bisect, make sure, and draw a little further."""
        low, high = self._climb()
        if low is None:
            reason = self._why_from_the_start(high) if high is not None else "nothing was tried"
            return self._limit(None, high.broken[0] if high and high.broken else "", reason, None, None)
        if high is None:
            return self._limit(None, "", self._why_none(low), None, None)
        for _ in range(8):
            value = self._edge(low, high)
            below, above = self.at(HOLDS_AT * value), self.at(FAILS_AT * value)
            if below.holds and not above.holds:
                self._draw_on(value)
                first = self.at(self._failing_above(value)).broken
                words = f"{_named(self.move)}: up to {self._shown(value)}, then {_broken_words(first)}"
                words += self._lower_ones(value, first)
                return self._limit(value, first[0], words, below, above)
            if not below.holds:
                # A narrow lobe between two steps of the climb: the limit lies below it.
                high = below
                holding = [t for v, t in self.tried.items() if v < below.value and t.holds]
                if not holding:
                    break
                low = max(holding, key=lambda t: t.value)
        return self._limit(None, "", f"{_named(self.move)}: no clear limit, what is kept comes and goes", None, None)

    def _climb(self) -> tuple[Trial | None, Trial | None]:
        """(highest value before the first failure, the first that fails); either may be missing."""
        bottom, top = RANGE[self.quantity]
        own = getattr(self.bench.limits, "acceleration_m_s2" if self.quantity == "acceleration" else "speed_m_s")
        value = max(bottom, START_SHARE[self.quantity] * own)
        while value > bottom and not self.at(value).holds:
            value = max(bottom, value / 3)
        last: Trial | None = None
        before: Trial | None = None
        idle = 0
        for _ in range(MOST_TRIALS):
            trial = self.at(value)
            if before is not None and last is not None and last.used > max(before.used, trial.used, NEARLY):
                crest = self._crest(before, last, trial)
                if crest is not None:
                    return before, crest
            if not trial.holds:
                return last, trial
            # Beyond some value the travel is too short to reach a higher speed, and nothing changes any more.
            idle = idle + 1 if last is not None and _same(last, trial) else 0
            before, last = last, trial
            if idle >= 8 or value >= top:
                return last, None
            value = min(top, value * CLIMB)
        return last, None

    def _crest(self, before: Trial, top: Trial, after: Trial) -> Trial | None:
        """The first of a few trials about a crest that fails, None if it holds all over."""
        for a, b in ((before, top), (top, after)):
            for share in (1 / 3, 2 / 3):
                trial = self.at(a.value ** (1 - share) * b.value**share)
                if not trial.holds:
                    return trial
        return None

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
        return float(f"{high.value / FAILS_AT:.6g}")

    def _failing_above(self, value: float) -> float:
        return min(v for v, t in self.tried.items() if v > value and not t.holds)

    def _lower_ones(self, value: float, broken: tuple[str, ...]) -> str:
        """Values below the answer that fail all the same, in words; "" if none does. broken: what fails beyond it."""
        if self.quantity == "speed":
            slower = max(RANGE["speed"][0], SLOWEST_SHARE * value)
            first = min(self.tried)
            while slower < min(first, HOLDS_AT * value):
                self.at(slower)
                slower *= CLIMB
        failing = [t for v, t in sorted(self.tried.items()) if v < value and not t.holds]
        if not failing:
            return ""
        spans: list[list[Trial]] = []
        for trial in failing:
            if spans and not any(t.holds for v, t in self.tried.items() if spans[-1][-1].value < v < trial.value):
                spans[-1].append(trial)
            else:
                spans.append([trial])
        said = [" to ".join(f"{v * 1e3:.3g}" for v in dict.fromkeys((x[0].value, x[-1].value))) for x in spans]
        listed = f"{', '.join(said[:-1])} and {said[-1]}" if len(said) > 1 else said[0]
        unit = self._shown(value).partition(" ")[2]
        own = tuple(dict.fromkeys(name for trial in failing for name in trial.broken))
        why = "" if own == broken else f": {_broken_words(own)}"
        return f"; lower ones fail too, at about {listed} {unit}{why}"

    def _draw_on(self, value: float) -> None:
        """A few more trials, for the curve: close together about the answer, then beyond it."""
        for share in NEAR_SHARES:
            self.at(share * value)
        further = value * CLIMB
        while further < min(BEYOND * value, RANGE[self.quantity][1]):
            self.at(further)
            further *= CLIMB

    def _why_from_the_start(self, first: Trial) -> str:
        words = f"{_named(self.move)}: already at {self._shown(first.value)} {_broken(first)}"
        if first.broken[0] == "ringing" and self.quantity == "acceleration" and self.move == "own":
            words += "; what is left comes from the jumps of speed at corners, motion.corner_speed_step_mm_s"
        return words

    def _why_none(self, last: Trial) -> str:
        top = RANGE[self.quantity][1]
        if self.quantity == "speed" and last.top_speed_m_s < 0.999 * last.value:
            return (
                f"{_named(self.move)}: no limit, the travel is too short to go faster than "
                f"{last.top_speed_m_s * 1e3:.0f} mm/s at this acceleration"
            )
        if last.value < top:
            return f"{_named(self.move)}: no limit, above {self._shown(last.value)} the move does not change any more"
        return f"{_named(self.move)}: no limit up to {self._shown(top)}, the highest that was tried"

    def _shown(self, value: float) -> str:
        unit = "mm/s²" if self.quantity == "acceleration" else "mm/s"
        figures = f"{value * 1e3:.4g}" if value < 1 else f"{value * 1e3:,.0f}".replace(",", THIN)
        return f"{figures} {unit}"

    def _limit(
        self, value: float | None, gives_way: str, words: str, below: Trial | None, above: Trial | None
    ) -> Limit:
        curve = tuple(self.tried[v] for v in sorted(self.tried))
        settings: dict[str, object] = {}
        if self.quantity == "speed":
            settings["motion.acceleration_mm_s2"] = float(f"{self.bench.limits.acceleration_m_s2 * 1e3:.6g}")
        if self.move != "own":
            size_mm = float(f"{self.bench.motion.move.size_m * 1e3:.6g}")
            settings |= {"move.pattern": "step", "move.axis": self.move, "move.size_mm": size_mm, "move.repeats": 1}
        judged = None if below is None else self.bench.judged(self._changed(below.value))
        return Limit(self.quantity, self.move, value, gives_way, words, below, above, curve, settings, judged)


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
