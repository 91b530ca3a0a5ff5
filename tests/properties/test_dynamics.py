"""What must hold of any run: energy, the order of the steps, mirror images, the same bits, two loops that are one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from beltspring.sim.errors import RunError
from beltspring.sim.machine.layouts import LAYOUTS
from beltspring.sim.machine.machine import GuidePlace, Machine
from beltspring.sim.model.build import build_model
from beltspring.sim.model.system import System
from beltspring.sim.plan.plan import PlanStretch
from beltspring.sim.simulate import reference
from beltspring.sim.simulate import run as run_module
from beltspring.sim.simulate.commands import Chunk, Extremes, State, out_width
from beltspring.sim.simulate.generated import GeneratedLoop
from beltspring.sim.simulate.run import run
from beltspring.sim.simulate.steps import longest_step
from beltspring.sim.trace import Trace
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import eigh

from tests.equations import Equations
from tests.properties.machines import scenarios
from tests.support import (
    ALL_LAYOUTS,
    machine_of,
    model_of,
    plan_of,
    square_points,
    trapezoids,
    without_detent,
    without_friction,
    workshop,
)
from tests.tries import examples


def standing(system: System, dt: float, steps: int) -> Chunk:
    """A chunk in which the motors are told to stand still at mid-reach, every step recorded."""
    m = len(system.motors)
    still = np.zeros((steps + 1, 3, m))
    limit = np.broadcast_to(np.array([motor.limit_nm for motor in system.motors]), (steps + 1, 3, m)).copy()
    lengths = np.append(np.full(steps, dt), 0.0)
    return Chunk(
        times=np.concatenate([[0.0], np.cumsum(lengths[:-1])]),
        lengths=lengths,
        theta=still,
        omega=still,
        limit=limit,
        tool=np.broadcast_to(system.middle, (steps + 1, 3)).copy(),
        record=np.arange(steps + 1),
        rows=steps + 1,
    )


def energy(system: System, q: np.ndarray, w: np.ndarray) -> np.ndarray:
    """Kinetic and stored energy of each row, J: bodies, frame, belts (slack ones store nothing), magnetic springs, detents."""
    total = 0.5 * np.einsum("ki,ij,kj->k", w, system.mass, w) + 0.5 * np.einsum("ki,ij,kj->k", q, system.stiffness, q)
    for r in system.runs:
        length = r.length_m + q @ r.length_row
        strain = np.maximum(q @ r.row / length + r.pretension_n / r.ea_n, 0.0)
        total += 0.5 * r.ea_n * strain**2 * length
        # What the pretension alone would store at this length is no energy of motion: its sum over a belt is constant.
        total -= 0.5 * r.pretension_n**2 / r.ea_n * length
    for motor in system.motors:
        if motor.row is not None and motor.spec is not None:
            turned = motor.spec.rotor_teeth * (q @ motor.row)
            # -A sin N theta and -T_d sin 4 N theta, integrated.
            total += motor.limit_nm / motor.spec.rotor_teeth * (1 - np.cos(turned))
            total += motor.detent_nm / (4 * motor.spec.rotor_teeth) * (1 - np.cos(4 * turned))
    for arm in system.arms:
        stretched = np.linalg.norm(arm.start + q @ arm.row.T, axis=1) - arm.length_m
        total += 0.5 * arm.stiffness_n_m * stretched**2
    if system.arms:
        total -= q @ system.gravity  # a full model's tests are elsewhere
    return np.asarray(total)


@given(scenarios(friction=False), st.integers(0, 2**32 - 1), st.sampled_from([1e-5, 1e-4, 5e-4]))
@settings(max_examples=examples(25))
def test_damped_and_undriven_energy_never_grows(scenario, seed, size_m):
    system = model_of(scenario)
    draw = np.random.default_rng(seed)
    # A throw of the given size in every coordinate, rotors by the same distance at the belt: belts may go slack.
    scale = np.array([size_m / 6e-3 if name.startswith("rotor") else size_m for name in system.dof_names])
    state = State(scale * draw.uniform(-1, 1, system.n), np.zeros(system.n), np.zeros(0), 0.0)
    chunk = standing(system, 0.5 * longest_step(system, 1e-3), 300)
    out = np.empty((chunk.rows, out_width(system)))
    reference.advance(system, state, chunk, out, Extremes.fresh(system))
    e = energy(system, out[:, : system.n], out[:, system.n : 2 * system.n])
    assert e[0] > 0
    assert np.diff(e).max() <= 1e-6 * e[0]  # slack belts have kinks, which a step crosses with an error of second order
    assert e[-1] < e[0]


@pytest.mark.parametrize("layout", ALL_LAYOUTS)
def test_undamped_energy_stays(layout):
    # Without damping nothing may be lost. RK4 itself loses (w h)^6 / 72 of a mode's energy a step: 4e-11 at w h = 0.6 / 16,
    # 5e-8 in 1200 steps.
    off: dict[str, Any] = {"belts.damping": 0, "frame.damping": 0, "motors.damping": 0, "belts.pretension_n": 100}
    if layout == "moving-bed":
        off["motors.y.damping"] = 0  # the file gives this motor a part of its own
    if LAYOUTS[layout].on_arms:
        off["delta.arm_damping"] = 0
    system = model_of(workshop(layout, without_friction(layout) | off))
    q = 50e-6 * np.array([1 / 6e-3 if name.startswith("rotor") else 1.0 for name in system.dof_names])
    chunk = standing(system, longest_step(system, 1e-3) / 16, 1200)
    out = np.empty((chunk.rows, out_width(system)))
    reference.advance(system, State(q, np.zeros(system.n), np.zeros(0), 0.0), chunk, out, Extremes.fresh(system))
    e = energy(system, out[:, : system.n], out[:, system.n : 2 * system.n])
    assert e / e[0] == pytest.approx(np.ones(len(e)), abs=1e-7)


def errors_by_step(scenario_changes: dict[str, Any], layout: str) -> np.ndarray:
    """Largest tool error, m, at steps of 250, 125 and 62.5 us, against scipy's DOP853 at 1e-11."""
    # A detent of four times the rotor's teeth is fast motion: an order in h is seen only where a step resolves it.
    scenario = workshop(layout, without_detent(layout) | scenario_changes)
    system = model_of(scenario)
    # Ramps of 50 ms, cruises of 250 ms: every breakpoint lies on the grid of all three steps.
    motion = trapezoids(square_points(system.middle, 0.030), 0.100, 2.0, 0.1)
    plan = plan_of(scenario, system)
    assert plan.duration_s == pytest.approx(motion[-1].t1, abs=1e-9)
    equations = Equations(system)
    steps = (250e-6, 125e-6, 62.5e-6)
    traces = [run(system, plan, step_s=h) for h in steps]
    tool = equations.tool(equations.solve(motion, traces[0].t_s, rtol=1e-12))
    return np.array([np.abs(t.tool - tool)[:, :2].max() for t in traces])


SLOW: dict[str, Any] = {
    "motion.speed_mm_s": 100,
    "motion.acceleration_mm_s2": 2000,
    "motion.corner_speed_step_mm_s": 0,
    "move.size_mm": 30,
    "move.settle_ms": 100,
    # Heavy rotors, so that the rule allows 250 us everywhere.
    "motors.rotor_inertia_g_cm2": 100,
}


@pytest.mark.parametrize("layout", ["corexy", "moving-bed"])
def test_halving_the_step_cuts_the_error_sixteenfold(layout):
    # Friction off, belts taut, steps on breakpoints: classical Runge-Kutta of fourth order, 2^4 (any numerical text).
    errors = errors_by_step(SLOW | without_friction(layout), layout)
    assert errors[0] > 1e-10
    assert errors[:-1] / errors[1:] == pytest.approx([16, 16], rel=0.15)


@pytest.mark.parametrize("layout", ["corexy", "moving-bed"])
def test_guide_friction_is_of_second_order(layout):
    # Where a bristle turns round |v| has a kink, so no more than second order may be hoped for: about 2^2 a halving.
    errors = errors_by_step(SLOW, layout)
    order = np.log2(errors[0] / errors[2]) / 2
    assert 1.5 < order < 3
    assert errors[0] < 0.1e-6


def mirrored(machine: Machine) -> Machine:
    """The machine seen in a mirror that stands across X: every point, sense and toothed side turned round."""
    middle = machine.middle[0]

    def flip(p: tuple[float, float, float]) -> tuple[float, float, float]:
        return (2 * middle - p[0], p[1], p[2])

    def along(v: tuple[float, float, float], sign: float = 1.0) -> tuple[float, float, float]:
        return (-sign * v[0], sign * v[1], sign * v[2])

    def held(place: GuidePlace | None) -> GuidePlace | None:
        if place is None or place.sideways is None:
            return place
        return replace(place, point=flip(place.point), sideways=along(place.sideways))

    return replace(
        machine,
        wheels={n: replace(w, centre=flip(w.centre)) for n, w in machine.wheels.items()},
        belts=tuple(
            replace(
                b,
                start=replace(b.start, point=flip(b.start.point)),
                end=replace(b.end, point=flip(b.end.point)),
                wraps=tuple(replace(w, sense=-w.sense) for w in b.wraps),
                teeth_on="left" if b.teeth_on == "right" else "right",
                plane=(along(b.plane[0], -1.0), along(b.plane[1])),
            )
            for b in machine.belts
        ),
        bodies=tuple(
            replace(b, centre=flip(b.centre), place=held(b.place), turned_rad=-b.turned_rad) for b in machine.bodies
        ),
        arms=tuple(replace(a, ends=tuple((body, flip(p)) for body, p in a.ends)) for a in machine.arms),
        motors=tuple(replace(m, centre=flip(m.centre)) for m in machine.motors),
    )


class MirroredStretch:
    """A stretch of a plan with X turned round."""

    def __init__(self, stretch: PlanStretch, middle: float) -> None:
        self.own, self.middle = stretch, middle
        self.t0, self.t1, self.breakpoints, self.resting = stretch.t0, stretch.t1, stretch.breakpoints, stretch.resting

    def _flip(self, place: np.ndarray) -> np.ndarray:
        out = place.copy()
        out[..., 0] = 2 * self.middle - out[..., 0]
        return out

    def command(self, t_from: np.ndarray, t_to: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        place, speed = self.own.command(t_from, t_to)
        speed = speed.copy()
        speed[..., 0] *= -1
        return self._flip(place), speed

    def asked(self, t: np.ndarray) -> np.ndarray:
        return self._flip(self.own.asked(t))

    def commanded(self, t: np.ndarray) -> np.ndarray:
        return self._flip(self.own.commanded(t))

    def corners(self) -> tuple[np.ndarray, np.ndarray]:
        times, places = self.own.corners()
        return times, self._flip(places)

    def depositing(self, t: np.ndarray) -> np.ndarray:
        return self.own.depositing(t)


class MirroredPlan:
    """A plan with X turned round."""

    def __init__(self, plan: Any, middle: float) -> None:
        self.own, self.middle = plan, middle
        self.move_s, self.duration_s, self.legs = plan.move_s, plan.duration_s, plan.legs
        self.description, self.shaper_delay_s = plan.description, plan.shaper_delay_s
        self.start = plan.start * [-1, 1, 1] + [2 * middle, 0, 0]

    def stretches(self, longest_s: float = 1.0) -> Iterator[MirroredStretch]:
        for stretch in self.own.stretches(longest_s):
            yield MirroredStretch(stretch, self.middle)


SHORT: dict[str, Any] = {"move.size_mm": 15, "move.settle_ms": 60}


@pytest.mark.parametrize(("layout", "detail"), [*((layout, "simple") for layout in ALL_LAYOUTS), ("delta", "full")])
def test_the_mirrored_machine_leaves_the_mirrored_trace(layout, detail):
    scenario = workshop(layout, SHORT | {"detail": detail})
    machine = machine_of(scenario)
    system, other = build_model(machine), build_model(mirrored(machine))
    middle = float(machine.middle[0])
    plan = plan_of(scenario, system)
    loop = "reference" if detail == "simple" else "generated"
    a = run(system, plan, loop=loop)
    b = run(other, MirroredPlan(plan, middle), loop=loop)
    assert np.ptp(a.tool[:, 0]) > 0.010
    assert b.tool[:, 0] == pytest.approx(2 * middle - a.tool[:, 0], abs=1e-12)
    assert b.tool[:, 1] == pytest.approx(a.tool[:, 1], abs=1e-12)
    assert b.tension_n == pytest.approx(a.tension_n, abs=1e-6)
    assert b.motor_rad == pytest.approx(-a.motor_rad, abs=1e-9)


#: What a run may meet: dry guides, slack belts, lost steps, motors without rotors, belts that differ, a rigid frame.
#: The lost steps are few on purpose: each pass over an unstable point lets the last digits grow a hundredfold.
CASES: dict[str, dict[str, Any]] = {
    "as shipped": {},
    "slack": {"belts.pretension_n": 1, "motion.acceleration_mm_s2": 6000},
    "lost steps": {
        **{"motors.current_a": 0.3, "motion.acceleration_mm_s2": 12000, "motion.speed_mm_s": 150},
        "motors.detent_nm": 0,  # with it: `test_after_lost_steps_the_loops_part_only_as_rounding_does`
    },
    "ideal motors": {"motors.part": "ideal"},
    "ideal motors, rigid frame": {"motors.part": "ideal", "frame.part": "rigid"},
    "unequal belts": {"second.ea_n": 9000},
    "plain dry friction": {"carriage.friction_n": 3, "carriage.friction_static_n": 3},
    "no damping, no friction": {"belts.damping": 0, "motors.damping": 0, "frame.damping": 0, "off": True},
    "circle": {"move.pattern": "circle"},
}
#: Every layout as shipped, slack and round a circle; the rest on the two that need the most different code.
WHERE = [
    *[(layout, case) for layout in ALL_LAYOUTS for case in ("as shipped", "slack", "circle")],
    *[(layout, case) for layout in ("corexy", "moving-bed") for case in ("lost steps", "unequal belts")],
    ("corexy", "ideal motors"),
    ("moving-bed", "ideal motors, rigid frame"),
    ("moving-bed", "plain dry friction"),
    ("corexy", "no damping, no friction"),
]


def both(layout: str, changes: dict[str, Any]) -> tuple[Trace, Trace]:
    """The same run by the generated and by the readable loop."""
    given_ = dict(changes)
    if given_.pop("off", False):
        given_ |= without_friction(layout)
    if "second.ea_n" in given_:
        second = LAYOUTS[layout].drives[1]
        given_[f"belts.{second}.ea_n"] = given_.pop("second.ea_n")
    scenario = workshop(layout, SHORT | given_)
    system = model_of(scenario)
    plan = plan_of(scenario, system)
    return run(system, plan), run(system, plan, loop="reference")


def assert_same(a: Trace, b: Trace) -> None:
    assert np.abs(a.tool - b.tool).max() < 1e-9
    assert np.abs(a.q - b.q).max() < 1e-7  # rotors in rad: 1e-9 m at the belt and more
    assert a.tension_n == pytest.approx(b.tension_n, abs=1e-4)
    assert a.motor_nm == pytest.approx(b.motor_nm, abs=1e-6)
    assert a.motor_lag_rad == pytest.approx(b.motor_lag_rad, abs=1e-7)
    assert a.slack_s == pytest.approx(b.slack_s, abs=2 * a.step_s)
    assert [(s.motor, s.lost_steps) for s in a.slips] == [(s.motor, s.lost_steps) for s in b.slips]
    assert [s.time_s for s in a.slips] == pytest.approx([s.time_s for s in b.slips], abs=a.step_s)
    assert (a.steps, a.ended, a.extreme_names) == (b.steps, b.ended, b.extreme_names)
    for mine, other in zip(a.stretches, b.stretches, strict=True):
        scale = np.maximum(1.0, np.abs(other.high))
        assert np.abs(mine.low - other.low).max() < 1e-6 * scale.max()
        assert np.abs(mine.high - other.high).max() < 1e-6 * scale.max()


@pytest.mark.parametrize(("layout", "case"), WHERE)
def test_both_loops_are_one(layout, case):
    a, b = both(layout, CASES[case])
    if case == "slack":
        assert min(a.slack_s.values()) > 0
    if case == "lost steps":
        assert a.slips
    assert_same(a, b)


#: The "lost steps" with detent, whose places of rest, four a turn, are as many more that a passing rotor hangs over.
PASSING = {name: value for name, value in CASES["lost steps"].items() if name != "motors.detent_nm"}


def test_after_lost_steps_the_loops_part_only_as_rounding_does(monkeypatch):
    # Rotors pass 13 turns here, and the loops end 0.5 nm apart. No term of theirs differs: the smallest disturbance grows
    # just as they part, and more by the same factor all the way, over seven decades; until the first passage both are alike to
    # the last digits.
    scenario = workshop("corexy", SHORT | PASSING)
    system = model_of(scenario)
    plan = plan_of(scenario, system)
    a, b = run(system, plan), run(system, plan, loop="reference")
    nudge = 1e-13  # m and rad
    stand = run_module.at_rest

    def nudged(model: System, place: np.ndarray) -> tuple[System, np.ndarray]:
        still, start = stand(model, place)
        return still, start + nudge * np.random.default_rng(1).uniform(-1, 1, len(start))

    monkeypatch.setattr(run_module, "at_rest", nudged)
    c = run(system, plan)
    parted, grown = (np.abs(other.tool - a.tool).max(axis=1) for other in (b, c))
    first = min(s.time_s for s in a.slips)
    assert sum(s.passages for s in a.slips) > 10
    assert parted[a.t_s < first].max() < 1e-15
    assert parted.max() > 1e-11
    assert grown.max() > 1e7 * nudge
    assert np.all(parted <= 1e-15 + 0.02 * np.maximum.accumulate(grown))
    assert [(s.motor, s.lost_steps, s.passages) for s in a.slips] == [
        (s.motor, s.lost_steps, s.passages) for s in b.slips
    ]


def test_from_any_state_of_lost_steps_both_loops_go_the_same_way(monkeypatch):
    # Eight steps at a time from the same state, wherever the passing rotors have brought it: series for sine and exponential
    # are good to 1e-13, and nothing else differs.
    scenario = workshop("corexy", SHORT | PASSING)
    system = model_of(scenario)
    printed, readable = GeneratedLoop(system), reference.advance
    worst = []

    def side_by_side(model: System, state: State, chunk: Chunk, out: np.ndarray, seen: Extremes) -> None:
        for i in range(0, len(chunk.lengths), 8):
            own = slice(i, i + 8)
            piece = Chunk(
                chunk.times[own], chunk.lengths[own], chunk.theta[own], chunk.omega[own], chunk.limit[own],
                chunk.tool[own], np.full(len(chunk.lengths[own]), -1, dtype=np.int64), 0,
            )  # fmt: skip
            other = State(state.q.copy(), state.w.copy(), state.z.copy(), state.t)
            printed.advance(model, other, piece, np.empty((0, out_width(model))), Extremes.fresh(model))
            readable(model, state, piece, np.empty((0, out_width(model))), seen)
            worst.append(
                [np.abs(mine - its).max() for mine, its in ((state.q, other.q), (state.w, other.w), (state.z, other.z))]
            )

    monkeypatch.setattr(run_module.reference, "advance", side_by_side)
    trace = run(system, plan_of(scenario, system), loop="reference")
    assert sum(s.passages for s in trace.slips) > 10
    assert np.all(np.max(worst, axis=0) < [1e-12, 1e-9, 1e-12])  # m and rad, m/s and rad/s, m


def test_the_same_input_gives_the_same_bits(tmp_path, monkeypatch):
    # Once more with the same machine code, and once with code compiled afresh in an empty cache folder.
    from beltspring.sim.simulate import kernel_cache

    scenario = workshop("corexy", SHORT)
    system = model_of(scenario)
    first, again = (run(system, plan_of(scenario, system)) for _ in range(2))
    monkeypatch.setattr(kernel_cache, "_loaded", {})
    monkeypatch.setenv("BELTSPRING_CACHE", str(tmp_path / "empty"))
    rebuilt = model_of(workshop("corexy", SHORT))
    afresh = run(rebuilt, plan_of(scenario, rebuilt))
    assert list((tmp_path / "empty").glob("loop_*.code"))
    for other in (again, afresh):
        for name in ("t_s", "tool", "commanded", "q", "motor_nm", "motor_lag_rad", "tension_n"):
            assert np.array_equal(getattr(first, name), getattr(other, name)), name
        for mine, theirs in zip(first.stretches, other.stretches, strict=True):
            assert np.array_equal(mine.low, theirs.low)
            assert np.array_equal(mine.high, theirs.high)


@pytest.mark.parametrize("layout", ALL_LAYOUTS)
def test_a_longer_step_than_the_rule_is_refused(layout):
    scenario = workshop(layout, SHORT)
    system = model_of(scenario)
    plan = plan_of(scenario, system)
    rule = longest_step(system, 1e-3)
    assert run(system, plan).step_s <= rule * (1 + 1e-9)
    assert run(system, plan, step_s=0.7 * rule).step_s <= 0.7 * rule * (1 + 1e-9)
    with pytest.raises(RunError, match=r"longer than this model allows"):
        run(system, plan, step_s=1.01 * rule)


@pytest.mark.parametrize("layout", ALL_LAYOUTS)
def test_the_step_is_that_of_the_stiffest_place(layout):
    # 0.6 / omega_max over the middle and the corners of the reach, bristles counted as springs: omega from scipy's eigh.
    # The motors have neither detent nor drag here, whose slopes out of step the rule adds.
    quiet = without_detent(layout) | {"motors.damping": 0}
    if layout == "moving-bed":
        quiet["motors.y.damping"] = 0  # the file gives this motor a part of its own
    system = model_of(workshop(layout, quiet))
    (x0, x1), (y0, y1), _ = system.machine.reach
    bristles = sum(f.sigma0_n_m * np.outer(f.row, f.row) for f in system.frictions)
    fastest = max(
        eigh(system.linear_stiffness(system.rest(np.array([x, y, system.middle[2]]))) + bristles, system.mass)[0][-1]
        for x in (x0, (x0 + x1) / 2, x1)
        for y in (y0, (y0 + y1) / 2, y1)
    )
    if system.arms:  # as the full model's: six to a millisecond, well inside RK4's region
        assert longest_step(system, 1e-3) == 1e-3 / 6 < 2.5 / np.sqrt(fastest)
        return
    assert longest_step(system, 1e-3) == pytest.approx(0.6 / np.sqrt(fastest), rel=0.01)
    assert longest_step(system, 1e-4) == 1e-4  # never longer than a record


def test_a_kernel_serves_every_machine_of_its_topology():
    # The printed text holds no number of the machine: another size, another belt, the same machine code.
    from beltspring.sim.simulate.generated import source

    one, other = workshop("corexy"), workshop("corexy", {"space.x_mm": 150, "belts.part": "belt-2mm-9-steel"})
    assert source(model_of(one))[0] == source(model_of(other))[0]
    assert source(model_of(one))[0] != source(model_of(workshop("corexy", {"frame.part": "rigid"})))[0]
    assert GeneratedLoop(model_of(one)).kernel is GeneratedLoop(model_of(other)).kernel
