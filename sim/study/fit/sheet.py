"""What to measure on a machine, and what each measurement would leave: from the model's own slopes, before anything is done.

Every measurement a person could make is taken as made, with the answer that the model gives and the usual care of the tool;
what is then known of the numbers is the same posterior that a fit would tell.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...parts.design import BAND_SIGMA
from ...practice import STANDARD_GRAVITY
from ...scenario.motion import default_size_mm
from ...scenario.schema import Scenario
from .bench import Built, Move, build, felt, give_m, pitch_hz, ripple_spacing_m
from .columns import Columns
from .knobs import free_numbers, written
from .measured import (
    PITCH_SHARE,
    PUSH_SHARE,
    RIPPLE_MM,
    WEIGHED_SHARE,
    Measured,
    Pitch,
    Push,
    Recording,
    Ripples,
    Set,
    Weighed,
)
from .offers import WEIGHED, offers
from .posterior import LEARNED, Posterior, spread_of
from .problem import Problem

Array = NDArray[np.float64]

#: The sensor that is reckoned with: what cheap ones have.
RATE_HZ, NOISE_M_S2, STEP_G, RESTS_S = 1600.0, 0.06, 0.004, 0.3
AT_M = (0.0, 0.02, 0.035)
SETTLE_MS = 600.0
CHECK_PACE, CHECK_SIZE = 0.8, 0.66
#: Largest force of a push, N; a strand keeps so much of its pretension, a rotor stays so near its command, rad electrical.
MOST_PUSH_N, KEPT, LAG = 20.0, 0.4, 0.3
SHOWN = 5


@dataclass(frozen=True)
class Leaves:
    """One number and how far it may be off, two sigma as a share of it: before, and after the measurement."""

    key: str
    before: float
    after: float


@dataclass(frozen=True)
class Item:
    """One measurement. kind: of the measured file.  name: of this one.  tool, how: what it takes and how it is done.

    minutes: about how long.  leaves: the numbers it tells of, most first.  entry: its table for the measured file, values open.
    """

    kind: str
    name: str
    tool: str
    how: str
    minutes: int
    leaves: tuple[Leaves, ...]
    entry: str


@dataclass(frozen=True)
class TestMove:
    """A move to record on the real machine. name: of its program and its record.  set: what a [[record]] says of it.

    points: (k, 2) m, from the first to the last.  checks: to be held out.  on: the body that carries the sensor.
    """

    name: str
    set: Set
    points: Array
    speed_m_s: float
    acceleration_m_s2: float
    jerk_m_s3: float
    corner_speed_step_m_s: float
    height_m: float
    checks: bool
    on: str = "tool"


@dataclass(frozen=True)
class Sheet:
    """What to measure on one machine, cheapest first. all_of_it: what everything together leaves.  moves: to record."""

    title: str
    layout: str
    detail: str
    items: tuple[Item, ...]
    all_of_it: tuple[Leaves, ...]
    moves: tuple[TestMove, ...]


def measuring_sheet(scenario: Scenario) -> Sheet:
    """What to measure on a machine, and how. Raises InputError for one that cannot be built."""
    free = free_numbers(scenario, Measured("measured.toml"))
    built = build(free.scenario, written(free.knobs, [0.0] * len(free.knobs)))
    moves = test_moves(free.scenario, built)
    measured = _as_measured(free.scenario, built, moves, {k for knob in free.knobs for k in knob.number.keys})
    problem = Problem(scenario, measured)
    x = np.zeros(problem.size)
    x[: len(problem.knobs)] = problem.first[: len(problem.knobs)]
    said = problem.say(x)
    problem.widen(problem.left(said, x))
    left = problem.left(said, x)
    slopes = problem.slopes(x, said, left, np.ones(len(problem.knobs), np.bool_), False, lambda: None)
    items = [
        Item(*made, leaves=_leaves(problem, spread_of(problem, _only(problem, slopes, rows))), entry=entry)
        for made, entry, rows in offers(problem, measured)
    ]
    whole = _leaves(problem, spread_of(problem, slopes))
    items.sort(key=lambda item: item.minutes)
    file = free.scenario.file
    return Sheet(file.title, file.layout, file.detail, tuple(items), whole, tuple(moves))


def test_moves(scenario: Scenario, built: Built) -> list[TestMove]:
    """Steps along X and Y, and a square to hold out, with the scenario's own limits."""
    motion = scenario.file.motion
    size = scenario.file.move.size_mm or default_size_mm(scenario)
    limits = {
        "motion.speed_mm_s": motion.speed_mm_s,
        "motion.acceleration_mm_s2": motion.acceleration_mm_s2,
        "motion.jerk_mm_s3": motion.jerk_mm_s3,
        "motion.corner_speed_step_mm_s": motion.corner_speed_step_mm_s,
    }
    out = []
    for name, own in (
        ("step-x", {"move.pattern": "step", "move.axis": "x", "move.size_mm": size}),
        ("step-y", {"move.pattern": "step", "move.axis": "y", "move.size_mm": size}),
        (
            "square",
            {
                "move.pattern": "square",
                "move.size_mm": float(round(CHECK_SIZE * size)),
                "motion.speed_mm_s": float(round(CHECK_PACE * motion.speed_mm_s)),
            },
        ),
    ):
        changes: Set = {**limits, "move.settle_ms": SETTLE_MS, "move.repeats": 1, **own}
        move = Move(scenario, built, changes, name)
        legs = move.plan.legs
        points = np.array([legs[0].start, *(leg.end for leg in legs)])
        asked = move.motion.limits
        out.append(
            TestMove(
                name, changes, points[:, :2], asked.speed_m_s, asked.acceleration_m_s2, asked.jerk_m_s3,
                asked.corner_speed_step_m_s, float(points[0, 2]), name == "square", _carrier(move, built),
            )
        )  # fmt: skip
    return out


def _carrier(move: Move, built: Built) -> str:
    """The body that this move shakes most: on a bed that travels, a sensor on the tool would feel little of it."""
    sizes = {}
    for on in ("tool", "bed"):
        empty = Columns(np.zeros(0), np.zeros((0, 3)), np.zeros(0, np.bool_))
        model = felt(move, built, Recording("", empty, on, (0.0, 0.0, 0.0), {}))
        a = model.at(model.t_s)
        sizes[on] = float(((a - a[0]) ** 2).mean())
    return "bed" if sizes["bed"] > 4 * sizes["tool"] else "tool"


def _as_measured(scenario: Scenario, built: Built, moves: Sequence[TestMove], free: set[str]) -> Measured:
    """Everything taken as measured, with the model's own answers."""
    speed = scenario.file.motion.speed_mm_s
    ripples = []
    for axis in (0, 1):
        changes = {"move.pattern": "square", "motion.speed_mm_s": speed}
        one = Ripples(axis, speed / 1e3, 1.0, RIPPLE_MM / 1e3, changes)
        spacing = ripple_spacing_m(Move(scenario, built, changes, "ripples"), built, one, None)[0]
        if np.isfinite(spacing):
            ripples.append(Ripples(axis, speed / 1e3, spacing, RIPPLE_MM / 1e3, changes))
    pitches = []
    for belt in dict.fromkeys(r.belt for r in built.system.runs):
        run = max((r for r in built.system.runs if r.belt == belt), key=lambda r: r.length_m)
        strand = Pitch(belt, run.name, float(np.floor(20 * min(run.length_m, 0.3)) / 20), 1.0, 1.0)
        heavy = any(b.name == belt and b.spec.mass_kg_m > 0 for b in built.machine.belts)
        hertz = pitch_hz(built, strand) if heavy and run.pretension_n > 0 else 0.0
        if hertz > 0:
            pitches.append(Pitch(belt, run.name, strand.free_m, hertz, PITCH_SHARE * hertz))
    pushes = []
    for on in ("tool", "frame") if built.machine.frame_stiffness is not None else ("tool",):
        for axis in (0, 1):
            force = push_force(built, axis) if on == "tool" else MOST_PUSH_N
            gives = give_m(built, Push(axis, force, 1.0, 1.0, on))
            if gives > 1e-6:
                pushes.append(Push(axis, force, gives, PUSH_SHARE * gives, on))
    values = {o.key: o.value for o in built.machine.design.origins if isinstance(o.value, int | float)}
    weighed = [Weighed(k, float(values[k]), WEIGHED_SHARE * float(values[k])) for k in WEIGHED if k in free]
    rng = np.random.default_rng(1)
    records = [_record(scenario, built, move, rng) for move in moves if not move.checks]
    return Measured("measured.toml", tuple(ripples), tuple(pitches), tuple(pushes), tuple(weighed), tuple(records))


def push_force(built: Built, axis: int) -> float:
    """A force along an axis that leaves every strand taut and every motor near its command, N, to whole newtons."""
    system = built.system
    q = system.rest(system.middle)
    pushed = built.kinematics.at(built.machine.tool_body, built.machine.tool_point)[axis, : system.n]
    try:
        moved = np.linalg.solve(system.linear_stiffness(q), pushed)  # of one newton
    except np.linalg.LinAlgError:
        return MOST_PUSH_N
    most = MOST_PUSH_N
    for run in system.runs:
        pull = abs(run.stiffness(q) * float(run.row @ moved))
        if pull > 1e-9:
            most = min(most, (1 - KEPT) * run.pretension_n / pull)
    for motor in system.motors:
        if motor.row is not None and motor.spec is not None:
            lag = abs(motor.spec.rotor_teeth * float(motor.row @ moved))
            most = min(most, LAG / lag) if lag > 1e-12 else most
    return float(max(math.floor(most), 1.0))


def _record(scenario: Scenario, built: Built, move: TestMove, rng: np.random.Generator) -> Recording:
    """What the sensor reckoned with would read, its axes along the machine's."""
    at = Recording(
        f"{move.name}.csv", Columns(np.zeros(0), np.zeros((0, 3)), np.zeros(0, np.bool_)), move.on, AT_M, move.set
    )
    model = felt(Move(scenario, built, move.set, move.name), built, at)
    t = np.arange(0.0, RESTS_S + float(model.t_s[-1]) + 0.1, 1 / RATE_HZ)
    a = model.at(t - RESTS_S) + rng.normal(0.0, NOISE_M_S2, (len(t), 3))
    step = STEP_G * STANDARD_GRAVITY
    columns = Columns(t, np.round(a / step) * step, np.zeros(len(t), np.bool_))
    return Recording(at.name, columns, move.on, AT_M, move.set)


def _only(problem: Problem, slopes: Array, rows: Sequence[int]) -> Array:
    """Slopes with all measurements but those of some rows struck out; priors stay."""
    out = slopes.copy()
    data = len(slopes) - len(problem.knobs)
    struck = np.ones(len(slopes), np.bool_)
    struck[data:] = False
    struck[list(rows)] = False
    out[struck] = 0.0
    return out


def _leaves(problem: Problem, posterior: Posterior) -> tuple[Leaves, ...]:
    """What is left unknown of the numbers that were told of, the most told first."""
    out = []
    for knob, sigma, prior in zip(problem.knobs, posterior.sigma, posterior.prior, strict=True):
        if sigma < LEARNED * prior and not knob.linear:
            before, after = (BAND_SIGMA * float(s) * knob.width for s in (prior, sigma))
            out.append((float(sigma / prior), Leaves(knob.key, before, after)))
    return tuple(one for _, one in sorted(out, key=lambda pair: pair[0]))
