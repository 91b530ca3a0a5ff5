"""A motor out of step: what it may pull with, what is counted, and the old drag without limit that drove a stalled one on.

Two windings integrated, with a chopper and with fixed voltage, show no torque that pulls a stalled rotor to its command;
so tau = -A sin x - b w max(0, cos x) / (1 + (w N_r L / R)^2) - T_d sin(4 N_r theta), w the speed off the command. Its
largest value follows by hand: -A sin x and the drag's cos x add as a phasor, w / (1 + (w N_r L / R)^2) is at most
R / (2 N_r L), and the detent adds T_d.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from beltspring.sim.analyse.path import path_error
from beltspring.sim.analyse.reading import read
from beltspring.sim.check import drives
from beltspring.sim.model.forces import Forces
from beltspring.sim.model.system import System
from beltspring.sim.simulate import run as run_module
from beltspring.sim.simulate.run import run
from beltspring.sim.trace import Trace
from hypothesis import given
from hypothesis import strategies as st

from tests.equations import Equations
from tests.outside.test_motor import TOOTH, overload
from tests.support import (
    bare,
    model_of,
    plan_of,
    square_points,
    trapezoids,
    without_detent,
    without_friction,
    workshop,
)

REAL: dict[str, Any] = {"motors.part": "motor-17-40"}


def torque(system: System, angle: float, lag: float, speed: float, off: float) -> float:
    """Torque of motor x at an angle, `lag` rad off its command, turning at `speed`, `off` rad/s off the commanded one."""
    forces, m = Forces(system), len(system.motors)
    row, none = system.motors[0].row, np.zeros(len(system.frictions))
    unit = row / (row @ row)
    theta, omega = np.zeros(m), np.zeros(m)
    theta[0], omega[0] = angle - lag, speed - off
    limit = np.array([x.limit_nm for x in system.motors])
    return float(forces(angle * unit, speed * unit, theta, omega, limit, none, none)[3][0])


FREE = model_of(bare("moving-bed", REAL))


@given(st.floats(-1, 1), st.floats(-2, 2), st.floats(-300, 300), st.floats(-500, 500))
def test_no_torque_beyond_the_phasor(angle, lag, speed, off):
    # K_t I = T_h I / (sqrt 2 I_rated) and b = 2 zeta sqrt(N_r A J), from the part's own numbers.
    spec = FREE.motors[0].spec
    assert spec is not None
    pull = spec.holding_torque_nm * spec.current_a / (np.sqrt(2) * spec.rated_current_a)
    b = 2 * spec.rotor_damping_ratio * np.sqrt(50 * pull * spec.rotor_inertia_kg_m2)
    most = np.hypot(pull, b * spec.resistance_ohm / (2 * 50 * spec.inductance_h)) + spec.detent_nm
    assert abs(torque(FREE, angle, lag, speed, off)) <= most * (1 + 1e-12)


@given(st.floats(-2, 2), st.floats(-500, 500))
def test_the_drag_never_feeds_and_is_nothing_out_of_step(lag, off):
    held = torque(FREE, 0.0, lag, 0.0, 0.0)
    drag = torque(FREE, 0.0, lag, off, off) - held
    assert drag * off <= 1e-12
    if np.cos(50 * lag) <= 0:
        assert drag == pytest.approx(0.0, abs=1e-15)
    elif abs(off) < 1e-2:
        b = FREE.motors[0].damping_nm_s
        assert drag == pytest.approx(-b * off * np.cos(50 * lag), rel=1e-4, abs=1e-15)


def stalled() -> tuple[System, Any]:
    """600 mm asked of a carriage with 1 N of friction by a field that jumps to 400 mm/s."""
    scenario = bare(
        "moving-bed",
        REAL
        | {
            "space.x_mm": 800, "carriage.mass_g": 450, "carriage.guide": "rail-12", "carriage.friction_n": 1.0,
            "carriage.friction_static_n": 1.0, "belts.damping": 0.03, "motors.detent_nm": 0, "motion.speed_mm_s": 400,
            "motion.acceleration_mm_s2": 1_000_000, "move.size_mm": 600, "move.settle_ms": 300,
        },
    )  # fmt: skip
    return model_of(scenario), scenario


def test_a_stalled_rotor_stays_where_it_stalled():
    system, scenario = stalled()
    plan = plan_of(scenario, system)
    trace = run(system, plan)
    assert 1e3 * np.ptp(trace.tool[:, 0]) < 5  # mm of the 600 asked
    (slip,) = trace.slips
    off = (trace.tool[-1, 0] - trace.commanded[-1, 0]) / (TOOTH * system.motors[0].radius_m)
    assert slip.lost_steps == 4 * round(abs(off)) > 2900
    # Where it stops is a whole number of electrical turns, 0.8 mm each, and which one hangs on how the carriage hangs on the
    # rotor: the same torque integrated by hand (DOP853, 450 g, 1 N) gives 4.8 mm with the carriage fixed to the rotor, 2.4 mm
    # with 2 N, 1.6 mm on a belt of 100 N/mm and 0.8 mm on one of 60; here, with the belt's two runs, two turns.
    motion = trapezoids([plan.start, plan.start + np.array([0.6, 0, 0])], 0.4, 1000.0, 0.3)
    end = np.array([motion[-1].t1])
    equations = Equations(system)
    stalls = equations.tool(equations.solve(motion, end, rtol=1e-5))[0, 0] - plan.start[0]
    assert trace.tool[-1, 0] - plan.start[0] == pytest.approx(stalls, abs=2e-8)
    assert stalls == pytest.approx(2 * TOOTH * system.motors[0].radius_m, abs=1e-8)
    # The drag in proportion to the speed off the command, without limit, by DOP853: it carries the same carriage there.
    equations = Equations(system, linear_drag=True)
    driven = equations.tool(equations.solve(motion, end, rtol=1e-6))[0, 0] - plan.start[0]
    assert driven == pytest.approx(0.6, abs=0.02)


def counted(trace: Trace) -> tuple[int, int, int]:
    """(full steps off at the end, most, turns passed) of motor x, counted again from its lag at every row."""
    now = most = passed = 0
    for lag in trace.motor_lag_rad[:, 0] / TOOTH:
        if abs(lag - now) > 0.625:
            turn = round(lag)
            passed += abs(turn - now)
            now, most = turn, max(most, abs(turn))
    return 4 * abs(now), 4 * most, passed


@pytest.mark.parametrize("acceleration", [11000, 13000, 14000, 16000])
def test_passages_are_counted_at_every_step(acceleration):
    _, trace = overload(acceleration, 200)
    (slip,) = trace.slips
    assert (slip.lost_steps, slip.most_steps_off, slip.passages) == counted(trace)
    assert slip.passages >= 1


def test_steps_that_are_given_back_are_told_all_the_same():
    # The start leaves the rotor a whole turn behind and the brake gives it back: nothing is off in the end.
    system, trace = overload(13000, 200)
    (slip,) = trace.slips
    assert (slip.lost_steps, slip.most_steps_off, slip.passages) == (0, 4, 2)
    plan = plan_of(bare("moving-bed", {"motion.speed_mm_s": 200, "motion.acceleration_mm_s2": 13000}), system)
    words = " ".join(read(trace, {"x": None, "y": None}, path_error(trace, plan), None, None))
    assert "Motor x falls out of step at 0.0" in words
    assert "4 full steps off at most" in words

    class Subject:
        machine = system.machine

        def motor(self, name: str) -> Any:
            return next(m for m in system.machine.motors if m.name == name)

    subject: Any = Subject()
    subject.trace = trace
    (finding,) = drives._lost_steps(subject)
    assert (finding.severity, finding.value) == ("stop", 4.0)


@pytest.mark.parametrize("loop", ["generated", "reference"])
def test_the_count_goes_on_from_stretch_to_stretch(monkeypatch, loop):
    # Stretches of 7 ms: the rotor goes off in one and comes back, or comes to rest, in another.
    slips = []
    for stretch_s in (1.0, 0.007):
        monkeypatch.setattr(run_module, "STRETCH_S", stretch_s)
        scenario = bare(
            "moving-bed",
            REAL
            | {
                "motors.current_a": 0.3, "carriage.mass_g": 2000, "motion.acceleration_mm_s2": 6000,
                "motion.speed_mm_s": 200, "move.size_mm": 30, "move.settle_ms": 30,
            },
        )  # fmt: skip
        system = model_of(scenario)
        slips.append(run(system, plan_of(scenario, system), loop=loop).slips)
    assert slips[0]
    assert [(s.lost_steps, s.most_steps_off, s.passages) for s in slips[0]] == [
        (s.lost_steps, s.most_steps_off, s.passages) for s in slips[1]
    ]
    assert slips[0][0].time_s == pytest.approx(slips[1][0].time_s, abs=1e-3)


STOPS: dict[str, Any] = {"motion.corner_speed_step_mm_s": 0, "move.settle_ms": 60, "move.size_mm": 20}


@pytest.mark.parametrize("layout", ["corexy", "moving-bed"])
def test_in_step_the_drag_is_what_it_was(layout):
    # Against the drag in proportion to the speed off the command, by DOP853: within 1 um over the whole move. Without
    # detent: where it shakes a rotor the speed off the command is no longer small, and the two drags do differ.
    scenario = workshop(layout, without_friction(layout) | without_detent(layout) | STOPS)
    system = model_of(scenario)
    trace = run(system, plan_of(scenario, system))
    file = scenario.file
    motion = trapezoids(
        square_points(system.middle, 0.020), file.motion.speed_mm_s / 1e3, file.motion.acceleration_mm_s2 / 1e3, 0.060
    )
    equations = Equations(system, linear_drag=True)
    tool = equations.tool(equations.solve(motion, trace.t_s))
    assert trace.slips == []
    assert np.abs(trace.tool - tool)[:, :2].max() < 1e-6


def test_ideal_motors_count_nothing():
    scenario = bare("moving-bed", {"motion.acceleration_mm_s2": 50000, "motion.speed_mm_s": 400})
    system = model_of(scenario)
    assert run(system, plan_of(scenario, system)).slips == []
