"""Whole runs against integrators we did not write: scipy's DOP853 (rtol 1e-10) and its matrix exponential.

The equations are written a second time in tests/equations.py from the model's arrays; the move is the textbook's trapezoid,
with a full stop at each corner. At most 0.1 um of the tool may differ, over the whole move (0.15 where belts hang loose).
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from beltspring.sim.model.system import System
from beltspring.sim.scenario.schema import Scenario
from beltspring.sim.simulate.run import run
from beltspring.sim.trace import Trace
from scipy.linalg import expm

from tests.equations import Equations
from tests.support import (
    LINEAR_LAYOUTS,
    EvenMotion,
    linear,
    model_of,
    plan_of,
    square_points,
    trapezoids,
    without_detent,
    without_friction,
    workshop,
)

STOPS: dict[str, Any] = {"motion.corner_speed_step_mm_s": 0, "move.settle_ms": 60, "move.size_mm": 20}


def textbook(scenario: Scenario, system: System) -> list[EvenMotion]:
    """The scenario's square as trapezoids, without the plan room."""
    file = scenario.file
    assert file.move.pattern == "square"
    return trapezoids(
        square_points(system.middle, (file.move.size_mm or 60) / 1e3),
        file.motion.speed_mm_s / 1e3,
        file.motion.acceleration_mm_s2 / 1e3,
        file.move.settle_ms / 1e3,
    )


def errors_m(scenario: Scenario, steps_s: tuple[float | None, ...], rtol: float = 1e-10) -> tuple[list[float], Trace]:
    """Largest difference of the tool between runs of these longest steps (None: the rule's) and DOP853, m; the first run."""
    system = model_of(scenario)
    plan = plan_of(scenario, system)
    traces = [run(system, plan, step_s=step) for step in steps_s]
    equations = Equations(system)
    tool = equations.tool(equations.solve(textbook(scenario, system), traces[0].t_s, rtol))
    assert np.abs(traces[0].tool - traces[0].commanded).max() > 20e-6  # it does ring
    return [float(np.abs(trace.tool - tool)[:, :2].max()) for trace in traces], traces[0]


def error_m(scenario: Scenario, rtol: float = 1e-10) -> tuple[float, Trace]:
    """Largest difference of the tool between a run and DOP853, m."""
    (error,), trace = errors_m(scenario, (None,), rtol)
    return error, trace


# Machines on arms run against DOP853 in test_delta_runs.
@pytest.mark.parametrize("layout", LINEAR_LAYOUTS)
def test_taut_belts_without_friction(layout):
    error, trace = error_m(workshop(layout, without_friction(layout) | without_detent(layout) | STOPS))
    assert sum(trace.slack_s.values()) == 0
    assert error < 0.02e-6  # measured 2 nm: well inside the 0.1 um that is promised


@pytest.mark.parametrize("layout", LINEAR_LAYOUTS)
def test_ideal_motors(layout):
    scenario = workshop(layout, without_friction(layout) | STOPS | {"motors.part": "ideal"})
    error, _ = error_m(scenario)
    assert error < 0.02e-6


@pytest.mark.parametrize("layout", LINEAR_LAYOUTS)
def test_belts_that_go_slack(layout):
    # Without detent, so that the kinks are all there is; with it `test_guide_friction` and `test_the_full_model` run.
    changes = without_detent(layout) | {"belts.pretension_n": 2, "motion.acceleration_mm_s2": 6000}
    (error, fine), trace = errors_m(workshop(layout, without_friction(layout) | STOPS | changes), (None, 80e-6))
    assert min(trace.slack_s.values()) > 0.02  # every belt hangs loose for a while
    # T has a kink where a belt slackens or tightens, and its error goes by where in a step that falls: with a pretension of
    # 1.8 to 2.2 N the same CoreXY is 22 to 114 nm off. A finer step takes it away.
    assert error < 0.15e-6
    assert fine < 0.02e-6


@pytest.mark.parametrize("layout", LINEAR_LAYOUTS)
def test_guide_friction(layout):
    # LuGre bristles are stiff and their |v| has a kink: DOP853 at 1e-9 here, some hundred thousand evaluations.
    error, _ = error_m(workshop(layout, STOPS), rtol=1e-9)
    assert error < 0.05e-6


@pytest.mark.parametrize("layout", LINEAR_LAYOUTS)
def test_the_full_model(layout):
    # Rods, feet, frame, weight, friction of the catalogue, detent and the motor's whole law: DOP853 on the equations of
    # tests/equations.py. A short square, and 26 coordinates up to 3 kHz: some hundred thousand evaluations.
    short = {"move.size_mm": 4, "move.settle_ms": 20, "frame.width_mm": 480, "frame.depth_mm": 460}
    scenario = workshop(layout, STOPS | short | {"detail": "full"})
    system = model_of(scenario)
    assert system.joints
    assert all(m.detent_nm > 0 and m.damping_nm_s > 0 for m in system.motors)
    error, _ = error_m(scenario, rtol=1e-9)
    assert error < 0.05e-6


def exact_linear(system: System, motion: list[EvenMotion], times: np.ndarray) -> np.ndarray:
    """Tool (k, 2), m, of a linear model under stretches of even acceleration: one matrix exponential a step.

    State: q, w, command position and velocity (3 each), and the command's acceleration, constant in a stretch.
    """
    s, n = system, system.n
    rows = np.array([r.row for r in s.runs])
    feeds = np.array([r.command_row for r in s.runs])
    k = np.array([r.ea_n / r.length_m for r in s.runs])
    c = k * np.array([r.lag_s for r in s.runs])
    magnet = np.array([0.0 if m.spec is None else m.spec.rotor_teeth * m.limit_nm for m in s.motors])
    drag = np.array([m.damping_nm_s for m in s.motors])
    turns = np.array([np.zeros(n) if m.row is None else m.row for m in s.motors])
    stiffness = s.stiffness + rows.T @ (k[:, None] * rows) + turns.T @ (magnet[:, None] * turns)
    damping = s.damping + rows.T @ (c[:, None] * rows) + turns.T @ (drag[:, None] * turns)
    by_angle = turns.T * magnet - rows.T @ (k[:, None] * feeds)
    by_speed = turns.T * drag - rows.T @ (c[:, None] * feeds)
    inverse, travel = np.linalg.inv(s.mass), s.motor_travel
    coupling = s.command_inertia @ travel  # q' = w - coupling v

    a = np.zeros((2 * n + 9, 2 * n + 9))
    at_w, at_p, at_v, at_a = n, 2 * n, 2 * n + 3, 2 * n + 6
    a[:n, at_w:at_p] = np.eye(n)
    a[:n, at_v:at_a] = -coupling
    a[at_w:at_p, :n] = -inverse @ stiffness
    a[at_w:at_p, at_w:at_p] = -inverse @ damping
    a[at_w:at_p, at_p:at_v] = inverse @ by_angle @ travel
    a[at_w:at_p, at_v:at_a] = inverse @ (by_speed @ travel + damping @ coupling)
    a[at_p:at_v, at_v:at_a] = a[at_v:at_a, at_a:] = np.eye(3)

    known: dict[float, np.ndarray] = {}

    def forward(y: np.ndarray, h: float) -> np.ndarray:
        key = round(h, 15)
        if key not in known:
            known[key] = expm(a * h)
        return known[key] @ y

    out = np.empty((len(times), 2))
    y = np.zeros(2 * n + 9)
    y[:n] = s.rest(motion[0].p)
    row = 0
    for move in motion:
        t = move.t0
        y[at_p:at_v], y[at_v:at_a], y[at_a:] = move.p - s.middle, move.v, move.a
        while row < len(times) and times[row] <= move.t1 + 1e-12:
            y = forward(y, times[row] - t)
            t = times[row]
            out[row] = s.middle[:2] + s.tool_rows[:2] @ y[:n]
            row += 1
        y = forward(y, move.t1 - t)
    assert row == len(times)
    return out


@pytest.mark.parametrize("layout", LINEAR_LAYOUTS)
@pytest.mark.parametrize("motors", ["stepper", "ideal"])
def test_linear_machine_against_the_matrix_exponential(layout, motors):
    # Exact up to rounding for a linear machine under even accelerations (scipy.linalg.expm).
    scenario = workshop(
        layout, without_friction(layout) | STOPS | ({"motors.part": "ideal"} if motors == "ideal" else {})
    )
    system = linear(model_of(scenario))
    trace = run(system, plan_of(scenario, system))
    exact = exact_linear(system, textbook(scenario, system), trace.t_s)
    assert np.abs(trace.tool - trace.commanded).max() > 20e-6
    assert np.abs(trace.tool[:, :2] - exact).max() < 0.02e-6


def test_the_checking_equations_agree_with_the_matrix_exponential():
    # The two oracles against each other: what stands in tests/equations.py is itself held to something.
    scenario = workshop("corexy", without_friction("corexy") | STOPS)
    system = linear(model_of(scenario))
    motion = textbook(scenario, system)
    times = np.arange(0.0, motion[-1].t1, 1e-3)
    equations = Equations(system)
    tool = equations.tool(equations.solve(motion, times))[:, :2]
    assert np.abs(tool - exact_linear(system, motion, times)).max() < 1e-9
