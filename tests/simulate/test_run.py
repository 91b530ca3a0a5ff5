"""A run: what is recorded, how it ends, what is kept from every step."""

from __future__ import annotations

import itertools
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from beltspring.sim.analyse.ringing import ringdown_at
from beltspring.sim.chain.chain import simulate_scenario
from beltspring.sim.simulate import run as run_module
from beltspring.sim.simulate.run import run
from beltspring.sim.trace import Ending, Trace

from tests.support import ALL_LAYOUTS, model_of, plan_of, shipped, workshop

SHORT: dict[str, Any] = {"move.size_mm": 20, "move.settle_ms": 80}


def shaken(layout: str, changes: dict[str, Any] | None = None, **options: Any) -> tuple[Trace, Any]:
    scenario = workshop(layout, SHORT | (changes or {}))
    system = model_of(scenario)
    plan = plan_of(scenario, system)
    return run(system, plan, **options), plan


@pytest.mark.parametrize("layout", ALL_LAYOUTS)
@pytest.mark.parametrize("record_s", [1e-3, 2.5e-4])
def test_rows_stand_at_even_times_from_start_to_end(layout, record_s):
    trace, plan = shaken(layout, record_s=record_s)
    assert trace.ended == "complete"
    assert trace.stopped_at_s is None
    assert trace.t_s == pytest.approx(np.arange(len(trace.t_s)) * record_s, abs=2e-9)
    assert trace.t_s[-1] > plan.duration_s - record_s - 1e-9
    for name in (
        "asked",
        "commanded",
        "tool",
        "motor_rad",
        "motor_nm",
        "motor_lag_rad",
        "tension_n",
        "q",
        "depositing",
    ):
        assert len(getattr(trace, name)) == len(trace.t_s), name
    assert trace.tool[0] == pytest.approx(plan.start, abs=1e-12)  # at rest, at the first point
    assert trace.step_s <= record_s * (1 + 1e-9)
    assert trace.steps >= plan.duration_s / trace.step_s - 1


@pytest.mark.parametrize("layout", ALL_LAYOUTS)
def test_extremes_come_from_every_step(layout):
    # Against the same run recorded at every step: not one peak is lost to the recording rate.
    coarse, _ = shaken(layout, record_s=1e-3, step_s=1e-4)
    fine, _ = shaken(layout, record_s=1e-4, step_s=1e-4)
    columns = {name: i for i, name in enumerate(coarse.extreme_names)}
    low = np.min([w.low for w in coarse.stretches], axis=0)
    high = np.max([w.high for w in coarse.stretches], axis=0)
    channels = {f"tool_{a}": fine.tool[:, i] for i, a in enumerate("xyz")}
    channels |= {f"off_{a}": (fine.tool - fine.commanded)[:, i] for i, a in enumerate("xyz")}
    channels |= {f"tension_{b}_{r}": fine.tension_n[:, i] for i, (b, r) in enumerate(fine.runs)}
    channels |= {f"torque_{m}": fine.motor_nm[:, i] for i, m in enumerate(fine.motors)}
    channels |= {f"lag_{m}": fine.motor_lag_rad[:, i] for i, m in enumerate(fine.motors)}
    assert set(channels) == set(columns)
    for name, values in channels.items():
        scale = np.ptp(values) + 1e-12
        assert low[columns[name]] == pytest.approx(values.min(), abs=2e-3 * scale), name
        assert high[columns[name]] == pytest.approx(values.max(), abs=2e-3 * scale), name


def test_extremes_hold_what_was_recorded():
    trace, _ = shaken("corexy")
    for stretch in trace.stretches:
        inside = (trace.t_s >= stretch.t0 - 1e-12) & (trace.t_s <= stretch.t1 + 1e-12)
        for axis in range(3):
            assert stretch.low[axis] <= trace.tool[inside, axis].min() + 1e-15
            assert stretch.high[axis] >= trace.tool[inside, axis].max() - 1e-15


def test_stretches_follow_each_other_and_say_what_rests():
    trace, plan = shaken("moving-bed")
    assert trace.stretches[0].t0 == 0
    assert trace.stretches[-1].t1 == pytest.approx(plan.duration_s)
    for a, b in itertools.pairwise(trace.stretches):
        assert a.t1 == b.t0
    for stretch in trace.stretches:
        inside = (trace.t_s >= stretch.t0) & (trace.t_s <= stretch.t1)
        for axis in (0, 1):
            if stretch.resting[axis] and inside.any():
                assert np.ptp(trace.commanded[inside, axis]) < 1e-12


def test_progress_counts_up_to_the_end():
    seen: list[tuple[float, float]] = []
    _, plan = shaken("corexy", {"move.repeats": 8}, progress=lambda t, whole: seen.append((t, whole)))
    times = [t for t, _ in seen]
    assert len(times) >= 2
    assert times == sorted(times)
    assert times[-1] == pytest.approx(plan.duration_s)
    assert {whole for _, whole in seen} == {plan.duration_s}


def test_interrupted_with_what_there_is():
    def stop(t: float, whole: float) -> None:
        raise KeyboardInterrupt

    trace, plan = shaken("corexy", {"move.repeats": 20}, progress=stop)
    assert trace.ending is Ending.INTERRUPTED
    assert trace.ended.startswith("interrupted at t = ")
    assert trace.ended.endswith(trace.ending.next_step)
    assert trace.stopped_at_s is not None
    assert 0 < trace.stopped_at_s < plan.duration_s
    assert trace.t_s[-1] <= trace.stopped_at_s + 1e-9
    assert len(trace.tool) == len(trace.t_s) == len(trace.q) > 0
    whole, _ = shaken("corexy", {"move.repeats": 20})
    assert np.array_equal(trace.tool, whole.tool[: len(trace.tool)])


def test_a_motion_that_grows_without_bound_is_told():
    # A spring that pushes: nothing a file can ask for, so the model is bent by hand.
    scenario = workshop("corexy", SHORT)
    system = model_of(scenario)
    broken = replace(system, stiffness=-20 * system.stiffness)
    trace = run(broken, plan_of(scenario, system))
    assert trace.ending is Ending.RUNAWAY
    assert trace.ended.startswith("stopped at t = ")
    assert "lower motion.acceleration_mm_s2" in trace.ending.next_step
    assert "grew without bound" in trace.ended
    assert trace.stopped_at_s is not None


def test_slack_time_is_counted_by_belt():
    # Only belt y is loose: belt x stays taut through the same move.
    loose = {"belts.x.pretension_n": 60, "belts.y.pretension_n": 1, "motion.acceleration_mm_s2": 5000}
    trace, _ = shaken("moving-bed", loose, record_s=1e-4, step_s=1e-4)
    assert trace.slack_s["x"] == 0
    y = [i for i, (belt, _) in enumerate(trace.runs) if belt == "y"]
    # Recorded at every step: the share of rows in which either run carries nothing.
    counted = 1e-4 * np.any(trace.tension_n[:, y] <= 0, axis=1).sum()
    assert trace.slack_s["y"] > 0.005
    assert trace.slack_s["y"] == pytest.approx(counted, rel=0.05)


def test_motor_angles_start_at_zero_and_follow_the_command():
    trace, plan = shaken("corexy")
    system = model_of(workshop("corexy", SHORT))
    asked = system.motor_command(trace.commanded) - system.motor_command(plan.start)
    assert trace.motor_rad[0] == pytest.approx([0, 0], abs=1e-15)
    assert trace.motor_rad - trace.motor_lag_rad == pytest.approx(asked, abs=1e-12)
    assert np.abs(trace.motor_lag_rad).max() < np.pi / 50


def test_the_tool_rests_where_it_should_after_the_move():
    # Friction may hold it off by what the belts cannot overcome: coulomb force over belt stiffness, some micrometres.
    trace, _ = shaken("corexy", {"carriage.friction_n": 0, "gantry.friction_n": 0, "move.settle_ms": 2000})
    assert trace.tool[-1, :2] == pytest.approx(trace.commanded[-1, :2], abs=1e-7)


def test_where_nobody_says_otherwise_rows_stand_a_millisecond_apart_to_the_very_end():
    trace, plan = shaken("corexy", {"move.settle_ms": 100})
    assert np.diff(trace.t_s)[:-1] == pytest.approx(np.full(len(trace.t_s) - 2, 1e-3), abs=2e-9)
    # A plan that lasts whole milliseconds has its end recorded.
    settle_ms = 100 + float(np.ceil(1e3 * plan.move_s) - 1e3 * plan.move_s)
    whole, plan = shaken("corexy", {"move.settle_ms": settle_ms})
    assert 1e3 * plan.duration_s == pytest.approx(round(1e3 * plan.duration_s), abs=1e-7)
    assert whole.t_s[-1] == pytest.approx(plan.duration_s, abs=1e-9)
    assert whole.steps >= plan.duration_s / whole.step_s - 1


def test_machine_code_is_made_before_the_clock_starts_and_what_it_says_is_told(monkeypatch):
    """By one step of no length that records nothing."""
    calls = []

    class Loop(run_module.GeneratedLoop):
        def __init__(self, system):
            super().__init__(system)
            self.notes = [*self.notes, "compiled without a cache"]

        def advance(self, system, state, chunk, out, seen):
            calls.append((chunk.times.copy(), chunk.lengths.copy(), chunk.record.copy(), chunk.rows, out.shape))
            super().advance(system, state, chunk, out, seen)

    monkeypatch.setattr(run_module, "GeneratedLoop", Loop)
    trace, _ = shaken("corexy")
    assert trace.notes.count("compiled without a cache") == 1
    times, lengths, record, rows, shape = calls[0]
    assert (times.tolist(), lengths.tolist(), record.tolist(), rows, shape[0]) == ([0.0], [0.0], [-1], 0, 0)
    assert calls[1][1].sum() > 0


def test_a_motor_that_slips_is_told_with_its_steps_and_the_place_where_it_first_did():
    """Four full steps an electrical turn (any text on hybrid steppers). Commanded there at that time, by the plan itself."""
    weak = {"motors.current_a": 0.25, "motion.acceleration_mm_s2": 30_000, "move.size_mm": 60, "move.repeats": 3}
    trace, plan = shaken("corexy", weak | {"move.pattern": "square"})
    assert trace.slips
    assert plan.duration_s > 2.0
    for slip in trace.slips:
        stretch = next(w for w in plan.stretches() if w.t0 <= slip.time_s <= w.t1)
        assert slip.place_m == pytest.approx(stretch.commanded(np.array([slip.time_s]))[0], abs=1e-9)
        j = trace.motors.index(slip.motor)
        lag = trace.motor_lag_rad[:, j] * 50 / (2 * np.pi)  # electrical turns, of 50 teeth
        assert slip.lost_steps == 4 * abs(round(lag[-1]))
        assert slip.most_steps_off >= 4 * round(np.abs(lag).max()) - 4
        assert slip.most_steps_off % 4 == 0
        first = np.flatnonzero(np.abs(lag) > 0.625)[0]
        assert slip.time_s == pytest.approx(trace.t_s[first], abs=1.1e-3)


def test_a_run_that_breaks_down_keeps_only_what_is_a_number():
    # A carriage thrown beyond the frame: behind the breakdown there are no places, and nothing told of the run may hold any.
    thrown = {"belts.ea_n": 3000, "belts.pretension_n": 1, "carriage.mass_g": 2000, "gantry.mass_g": 4000}
    thrown |= {"motion.acceleration_mm_s2": 30000, "motion.speed_mm_s": 600}
    outcome = simulate_scenario(shipped("desk-corexy", thrown))
    trace = outcome.trace
    assert trace.ending is Ending.RUNAWAY
    assert len(trace.t_s) > 100
    for rows in (trace.tool, trace.q, trace.tension_n, trace.motor_rad):
        assert len(rows) == len(trace.t_s)
        assert np.isfinite(rows).all()
    assert not any(outcome.analysis.ringing.values())
    legs = outcome.plan.legs
    assert legs
    assert not any(ringdown_at(trace, outcome.plan, axis, leg.name, leg.end_s) for axis in "xy" for leg in legs)
    assert "e+" not in outcome.analysis.reading
    for found in outcome.analysis.spectra.values():
        assert np.isfinite(found.amplitude_m).all()
