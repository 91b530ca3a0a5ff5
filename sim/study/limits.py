"""How fast a machine may go: the highest acceleration and speed at which a move still keeps what is asked of it.

Found by real simulations. Ringing does not grow evenly with speed or acceleration: after a ramp that lasts a whole number
of periods hardly any is left. So every value is walked, from low to high in steps smaller than the lobes of the ringing:
what is safe is where nothing below fails, beyond it stretches may pass again, and from some value on all fail. Edges are
bisected, and two more runs make sure: what is answered holds at 99 % and fails at 105 %. Speeds are walked at the
scenario's own acceleration, and accelerations at its own speed.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass, replace

from ..chain.chain import Prepared, prepare
from ..chain.judged import Judged
from ..chain.stand import Criteria, Trial, bench_of
from ..model.facts import arm_travel
from ..model.left_out import left_out_words
from ..scenario.motion import MoveSpec, move_spec
from ..scenario.schema import Scenario
from ..scenario.units import to_si
from .limit_words import Words, named
from .walk import FAILS_AT, HOLDS_AT, NEAR_SHARES, Move, Quantity, Spans, Walk

MOVES: tuple[Move, ...] = ("x", "y", "own")
QUANTITIES: tuple[Quantity, ...] = ("acceleration", "speed")
STEP_SHARE = 0.8  # of the reach, for a single axis's move
TRIALS = 100  # about so many runs answer one limit


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
    passes_again: Spans = ()
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
    long: bool = False,
) -> Limits:
    """The limits of a scenario. moves: of MOVES.  told: called with what is being looked for.

    long: whether a job of more than ten minutes or two gigabytes is meant. Raises InputError for what cannot be run.
    """
    ready = prepare(scenario)
    wanted = criteria if criteria is not None else Criteria()
    found = []
    for move in (m for m in MOVES if m in moves):
        bench = bench_of(ready, wanted, _move(scenario, ready, move))
        if not long:
            its = replace(ready, motion=bench.motion, plan=bench.motion.plan())
            its.burden_of(TRIALS * len(quantities)).refuse("limits")
        for quantity in quantities:
            if told is not None:
                told(f"{quantity}, {named(move)}")
            found.append(answer(Walk(bench, quantity, move)))
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


def answer(walk: Walk) -> Limit:
    """Walk, find every edge, make sure, and put it in words."""
    walk.walk()
    words = Words(walk)
    trials = walk.trials
    failing = [t for t in trials if not t.holds]
    if not failing:
        return _limit(walk, None, "", words.why_none(trials[-1]))
    if not any(t.holds for t in trials):
        return _limit(walk, None, failing[0].broken[0], words.why_all(failing[0]))
    value = None if not trials[0].holds else walk.safe(failing[0])
    # The edge may lie below where the walk first saw it: narrow lobes were met on the way.
    spans = walk.passing(value)
    beyond = None
    if not walk.tried[max(walk.tried)].holds:
        beyond = spans[-1][1] if spans else value
    if value is None:
        told = words.answer(None, failing[0], spans, beyond)
        return _limit(walk, None, failing[0].broken[0], told, passes_again=spans, fails_beyond=beyond)
    for share in NEAR_SHARES:
        walk.at(share * value)
    below, above = walk.at(HOLDS_AT * value), walk.at(FAILS_AT * value)
    first = walk.at(walk.failing_above(value))
    told = words.answer(value, first, spans, beyond)
    slope = walk.slope(below, first)
    if slope is not None:
        told += words.slope(slope, first.broken[0])
    return _limit(walk, value, first.broken[0], told, below, above, spans, beyond, slope)


def _limit(
    walk: Walk,
    value: float | None,
    gives_way: str,
    words: str,
    below: Trial | None = None,
    above: Trial | None = None,
    passes_again: Spans = (),
    fails_beyond: float | None = None,
    slope: float | None = None,
) -> Limit:
    settings: dict[str, object] = {}
    if walk.quantity == "speed":
        settings["motion.acceleration_mm_s2"] = float(f"{walk.bench.limits.acceleration_m_s2 * 1e3:.6g}")
    if walk.move != "own":
        size_mm = float(f"{walk.bench.motion.move.size_m * 1e3:.6g}")
        settings |= {"move.pattern": "step", "move.axis": walk.move, "move.size_mm": size_mm, "move.repeats": 1}
    judged = None if below is None else walk.bench.judged(walk.changed(below.value))
    return Limit(
        walk.quantity, walk.move, value, gives_way, words, below, above, tuple(walk.trials), settings, passes_again, fails_beyond,
        slope, judged,
    )  # fmt: skip
