"""What a loop is fed, and what is made of what it leaves: without running one."""

from __future__ import annotations

from concurrent.futures import CancelledError
from threading import Event
from typing import Any, cast

import numpy as np
import pytest
from beltspring.sim.errors import RunError
from beltspring.sim.simulate import lanes as lanes_module
from beltspring.sim.simulate import run as run_module
from beltspring.sim.simulate.commands import Extremes, make_chunk, out_width, quantised, torque_table
from beltspring.sim.simulate.feed import Feed, _within, run_over
from beltspring.sim.simulate.generated import GeneratedLoop
from beltspring.sim.simulate.keep import KeepAll, rows_of
from beltspring.sim.simulate.lanes import LANES, Lane, run_over_lanes
from beltspring.sim.simulate.run import _Gather, at_rest, run, slips_of
from beltspring.sim.simulate.steps import grid, longest_step, steps_a_record, whole_part
from beltspring.sim.trace import Ending

from tests.support import ALL_LAYOUTS, bare, model_of, plan_of, workshop

SHORT: dict[str, Any] = {"move.size_mm": 5, "move.settle_ms": 5}


@pytest.mark.parametrize("layout", ALL_LAYOUTS)
def test_a_chunk_is_the_plan_at_the_edges_of_its_steps(layout):
    scenario = workshop(layout, SHORT)
    system = model_of(scenario)
    plan = plan_of(scenario, system)
    stretch = next(iter(plan.stretches(0.02)))
    edges, numbers = grid(stretch, 3e-4, 1e-3)
    for last in (False, True):
        chunk = make_chunk(system, stretch, edges, numbers, last, torque_table(system))
        places = stretch.commanded(edges)
        assert chunk.tool == pytest.approx(places, abs=1e-12)
        assert chunk.theta[:, 0] == pytest.approx(system.motor_command(places), abs=1e-9)
        assert chunk.theta[:-1, 2] == pytest.approx(chunk.theta[1:, 0], abs=1e-9)
        middle = system.motor_command(stretch.commanded(0.5 * (edges[:-1] + edges[1:])))
        assert chunk.theta[:-1, 1] == pytest.approx(middle, abs=1e-9)
        # Simpson's rule, exact where acceleration changes evenly within a step.
        mean = (chunk.omega[:, 0] + 4 * chunk.omega[:, 1] + chunk.omega[:, 2]) / 6
        assert (mean * chunk.lengths[:, None])[:-1] == pytest.approx(np.diff(chunk.theta[:, 0], axis=0), abs=1e-7)
        assert (chunk.times.tolist(), chunk.lengths[-1], chunk.lengths.sum()) == (
            edges.tolist(),
            0.0,
            pytest.approx(0.02),
        )
        # The end of a stretch is the next one's to record, but for the last.
        mine = numbers >= 0
        mine[-1] &= last
        assert chunk.rows == mine.sum()
        assert chunk.record[mine].tolist() == list(range(chunk.rows))
        assert np.all(chunk.record[~mine] == -1)


def test_a_command_in_microsteps_stands_on_one_wherever_it_is_slow():
    """1.8 degrees by 16: a commanded angle that moves less than that in a step is at a whole one, or between two as it passes."""
    scenario = workshop("corexy", SHORT | {"motors.stepping": "steps", "motors.microsteps": 16})
    system = model_of(scenario)
    stretch = next(iter(plan_of(scenario, system).stretches(0.02)))
    edges, numbers = grid(stretch, 3e-4, 1e-3)
    chunk = make_chunk(system, stretch, edges, numbers, False, torque_table(system))
    size = np.deg2rad(1.8) / 16
    asked = system.tool_travel.angles(stretch.commanded(edges))
    assert np.abs(chunk.theta[:, 0] - asked).max() < 0.75 * size
    whole = chunk.theta[:, 0] / size
    assert np.abs(whole - np.rint(whole)).max() > 0.01
    assert np.mean(np.abs(whole - np.rint(whole)) < 1e-9) > 0.3
    assert np.mean(np.abs(asked / size - np.rint(asked / size)) < 1e-9) < 0.1


def test_a_row_at_the_end_of_a_span_is_wanted_and_one_beside_it_is_not():
    spans = np.array([[0.1, 0.2], [0.5, 0.6]])
    t = np.array([0.0, 0.1, 0.2, 0.2 + 5e-10, 0.2 + 2e-9, 0.4, 0.5, 0.6, 0.7])
    assert _within(t, spans).tolist() == [False, True, True, True, False, False, True, True, False]
    assert _within(t, np.zeros((0, 2))).tolist() == [False] * 9


def test_other_motors_are_fed_the_same_commands_and_their_own_torque():
    scenario = workshop("corexy", SHORT)
    system = model_of(scenario)
    plan = plan_of(scenario, system)
    feed = Feed(plan, list(plan.stretches(0.05)), system, 3e-4, 1e-3, np.array([[0.0, 0.01]]))
    assert feed.t == pytest.approx(np.arange(11) * 1e-3, abs=2e-9)
    weak = model_of(workshop("corexy", SHORT | {"motors.current_a": 0.4}))
    for one, other in zip(feed.chunks(system), feed.chunks(weak), strict=True):
        assert one.theta is other.theta
        ratio = other.limit / one.limit
        assert ratio == pytest.approx(
            np.full_like(ratio, weak.motors[0].limit_nm / system.motors[0].limit_nm), rel=1e-3
        )
    assert feed.chunks(weak) is feed.chunks(weak)


def test_what_every_lane_leaves_is_put_together_stretch_by_stretch(monkeypatch):
    """With a kernel of our own, of which lane i, row k and column c leave 1000 k + 10 c + i."""
    scenario = workshop("corexy", SHORT)
    system = model_of(scenario)
    plan = plan_of(scenario, system)
    feed = Feed(plan, list(plan.stretches(0.01)), system, 3e-4, 1e-3, None)
    assert feed.count >= 3
    weak = model_of(workshop("corexy", SHORT | {"motors.current_a": 0.4}))
    wide, rows, chunks = out_width(system), [], [list(feed.chunks(one)) for one in (system, weak)]

    def kernel(stages, p, q, w, z, times, lengths, theta, omega, limit, tool, record, out, low, high, slack, turns):
        assert (stages, p.tolist()) == (4, [float(i // LANES) * 10 + i % LANES // 2 for i in range(3 * LANES)])
        wanted = [chunks[i // 2 % 2][len(rows)].limit for i in range(LANES)]
        assert np.array_equal(limit.reshape(len(times), 3, -1, LANES), np.stack(wanted, axis=-1))
        first = sum(rows)
        row, column, lane = np.ogrid[first : first + len(out), :wide, :LANES]
        out[:] = (1000.0 * row + 10 * column + lane).reshape(len(out), -1)
        rows.append(len(out))
        low[:], high[:] = len(rows), -float(len(rows))
        slack += np.arange(len(slack))
        turns[:, 0] = np.arange(len(turns))
        if len(rows) == 2:
            q.reshape(-1, LANES)[:, 2:4] = 1e9  # the second of four machines is gone

    monkeypatch.setattr(lanes_module, "load_kernel", lambda text: (kernel, []))
    start = at_rest(system, plan.start)[1]
    # Four machines, each twice: so that eight lanes are full.
    machines = [
        ([system, weak][i // 2 % 2], start, Lane("", np.array([0.0, 10.0, 20.0]) + i // 2)) for i in range(LANES)
    ]
    seen = list(run_over_lanes(feed, machines))
    assert sum(rows) == len(feed.t)
    for i, one in enumerate(seen):
        k, c = np.meshgrid(np.arange(len(feed.t)), np.arange(wide), indexing="ij")
        assert np.array_equal(one.out, 1000.0 * k + 10 * c + i)
        gone = i in (2, 3)
        assert one.stopped_s == (chunks[0][1].times[-1] if gone else None)
        # Of one that is gone no stretch is told from there on, though it goes along to the end.
        numbers = np.arange(1.0, feed.count + 1)
        for found, wanted, nothing in ((one.low, numbers, np.inf), (one.high, -numbers, -np.inf)):
            assert np.array_equal(
                found, np.where(gone & (numbers > 2), nothing, wanted)[:, None].repeat(found.shape[1], 1)
            )
        belts = len({run.belt for run in system.runs})
        assert one.slack == pytest.approx(len(rows) * (np.arange(belts) * LANES + i))
        assert np.array_equal(one.turns[:, 0], np.arange(len(system.motors)) * LANES + i)


def test_a_run_that_is_given_up_ends_before_its_first_stretch(monkeypatch):
    """One machine's and eight's: neither loop is asked for anything."""
    scenario = workshop("corexy", SHORT)
    system = model_of(scenario)
    plan = plan_of(scenario, system)
    feed, up = Feed(plan, list(plan.stretches(1.0)), system, 3e-4, 1e-3, None), Event()
    up.set()
    monkeypatch.setattr(lanes_module, "load_kernel", lambda text: (None, []))
    start = at_rest(system, plan.start)[1]
    with pytest.raises(CancelledError):
        run_over(feed, system, start, cast(Any, None), up)
    with pytest.raises(CancelledError):
        run_over_lanes(feed, [(system, start, Lane("", np.zeros(3)))], up)


def test_a_loop_tells_when_it_stands():
    system = model_of(bare("corexy", SHORT))
    plan = plan_of(bare("corexy", SHORT), system)
    loop, passed = object.__new__(GeneratedLoop), []
    loop.parameters, loop.notes, loop.kernel = np.zeros(3), [], lambda stages, *given: passed.append(stages)
    stretch = next(iter(plan.stretches(1.0)))
    edges, numbers = grid(stretch, 3e-4, 1e-3)
    chunk = make_chunk(system, stretch, edges, numbers, True, torque_table(system))
    state = run_module.State(np.zeros(2), np.zeros(2), np.zeros(0), 0.0)
    loop.advance(system, state, chunk, np.zeros((chunk.rows, out_width(system))), Extremes.fresh(system))
    assert state.t == stretch.t1
    assert passed == [4]  # stages of classical Runge-Kutta


@pytest.mark.parametrize("gone_in", [None, 1])
def test_a_run_is_put_together_stretch_by_stretch(gone_in):
    """With a loop of our own: row k and column c leave 1000 k + c; one that is gone ends it."""
    scenario = workshop("corexy", SHORT)
    system = model_of(scenario)
    plan = plan_of(scenario, system)
    feed = Feed(plan, list(plan.stretches(0.01)), system, 3e-4, 1e-3, None)
    rows: list[int] = []

    class Loop:
        def advance(self, system, state, chunk, out, seen):
            out[:] = 1000.0 * (sum(rows) + np.arange(len(out))[:, None]) + np.arange(out.shape[1])
            rows.append(len(out))
            seen.low[:], seen.high[:], seen.slack[:] = len(rows), -len(rows), seen.slack + 1.0
            seen.turns[0, 0] += 1.0
            state.t = float(chunk.times[-1])
            if len(rows) - 1 == gone_in:
                state.q[:] = 1e9

    seen = run_over(feed, system, at_rest(system, plan.start)[1], Loop())
    done = feed.count if gone_in is None else gone_in + 1
    assert (len(rows), seen.stopped_s) == (
        done,
        None if gone_in is None else list(feed.chunks(system))[gone_in].times[-1],
    )
    k, c = np.meshgrid(np.arange(sum(rows)), np.arange(out_width(system)), indexing="ij")
    assert np.array_equal(seen.out[: sum(rows)], 1000.0 * k + c)
    assert seen.low[:, 0].tolist() == [i + 1.0 if i < done else np.inf for i in range(feed.count)]
    assert seen.high[:, 0].tolist() == [-i - 1.0 if i < done else -np.inf for i in range(feed.count)]
    assert (seen.slack.tolist(), seen.turns[0, 0]) == ([float(done)] * len(seen.slack), float(done))
    assert (seen.t is feed.t, seen.commanded is feed.commanded) == (True, True)


@pytest.mark.parametrize("layout", ["moving-bed", "delta"])
def test_rows_tell_what_a_loop_recorded_by_its_columns(layout):
    system = model_of(workshop(layout))
    n, r, m = system.n, len(system.runs), len(system.motors)
    draw = np.random.default_rng(1)
    commanded = system.middle + draw.uniform(-0.01, 0.01, (4, 3))
    out = draw.normal(size=(4, out_width(system))) * 1e-3
    start = system.motor_command(system.middle)
    rows = rows_of(system, start, np.arange(4.0), commanded, commanded, out, None)
    q = out[:, :n]
    assert (rows.q.tolist(), rows.speeds.tolist()) == (q.tolist(), out[:, n : 2 * n].tolist())
    assert (rows.tension_n.tolist(), rows.motor_nm.tolist()) == (
        out[:, 2 * n : 2 * n + r].tolist(),
        out[:, -m:].tolist(),
    )
    theta = system.motor_command(commanded)
    for j, motor in enumerate(system.motors):
        assert rows.motor_rad[:, j] == pytest.approx(q @ motor.row - start[j], abs=1e-12)
        assert rows.motor_lag_rad[:, j] == pytest.approx(q @ motor.row - theta[:, j], abs=1e-12)
    assert rows.off_path.shape == (4, 0)  # nobody has worked it out
    for i in range(4):
        tool = system.tool_at(q[i])
        for axis in range(3):
            assert rows.tool[i, axis] == pytest.approx(
                (tool if system.tool_moves[axis] else commanded[i])[axis], abs=1e-12
            )


def test_an_ideal_motor_stands_where_it_is_told_to():
    system = model_of(bare("corexy"))
    commanded = system.middle + np.array([[0.0, 0.0, 0.0], [0.01, 0.0, 0.0]])
    start = system.motor_command(system.middle)
    rows = rows_of(system, start, np.arange(2.0), commanded, commanded, np.zeros((2, out_width(system))), None)
    assert rows.motor_rad == pytest.approx(system.motor_command(commanded) - start)
    assert not rows.motor_lag_rad.any()


def test_a_step_longer_than_the_rule_is_refused_and_the_rules_own_is_not():
    scenario = bare("corexy", SHORT)
    system = model_of(scenario)
    plan, rule = plan_of(scenario, system), longest_step(system, 1e-3)
    with pytest.raises(RunError, match=f"longer than this model allows \\({rule * 1e6:.1f} us\\)"):
        run(system, plan, step_s=1.001 * rule, loop="reference")
    trace = run(system, plan, step_s=rule, loop="reference")
    assert trace.ending is Ending.COMPLETE
    edges = [grid(stretch, rule, 1e-3)[0] for stretch in plan.stretches(1.0)]
    assert trace.steps == sum(len(e) - 1 for e in edges)
    assert trace.step_s == pytest.approx(max(np.diff(e).max() for e in edges), rel=1e-12)
    assert trace.rows == len(trace.t_s) == 1 + int(plan.duration_s / 1e-3 + 1e-6)


def test_a_run_without_a_row_has_channels_without_a_row():
    system = model_of(workshop("corexy"))
    plan = plan_of(workshop("corexy"), system)
    trace = _Gather(system, plan, 1e-3, KeepAll(), ()).trace(Ending.INTERRUPTED, 0.0, [], 0.0)
    assert (len(trace.t_s), trace.tool.shape, trace.asked.shape, trace.commanded.shape) == (0, (0, 3), (0, 3), (0, 3))
    assert (trace.q.shape, trace.motor_nm.shape, trace.tension_n.shape) == (
        (0, system.n),
        (0, 2),
        (0, len(system.runs)),
    )
    assert (trace.steps, trace.rows, trace.step_s) == (0, 0, 0.0)


def test_of_places_to_start_from_only_the_last_few_are_remembered(monkeypatch):
    asked = []
    monkeypatch.setattr(run_module, "equilibrium", lambda system, place: asked.append(place) or np.zeros(system.n))
    monkeypatch.setattr(run_module, "MOST_STARTS", 3)
    system = model_of(bare("corexy"))
    places = [system.middle + np.array([0.001 * i, 0.0, 0.0]) for i in range(4)]
    for place in (places[0], places[0], places[1], places[2], places[2]):
        at_rest(system, place)
    assert len(asked) == 3  # once each
    at_rest(system, places[3])
    assert len(system.once(run_module._starts)) <= 3
    at_rest(system, places[0])
    assert len(asked) == 5


@pytest.mark.parametrize("layout", ["moving-bed", "delta"])
def test_before_the_move_the_tool_stands_where_the_move_begins(layout):
    """However far the machine sags there under its own weight."""
    system = model_of(workshop(layout, {"detail": "full"}))
    place = system.middle + np.array([0.02, -0.01, 0.0])
    moved, start = at_rest(system, place)
    assert np.abs(system.tool_at(start) - place)[list(system.tool_moves)].max() > 1e-7
    assert moved.tool_at(start)[list(system.tool_moves)] == pytest.approx(place[list(system.tool_moves)], abs=1e-13)


def test_what_feeds_a_loop_is_made_before_the_clock_starts(monkeypatch):
    """By steps of no length at the plan's beginning, once in a process."""
    scenario = bare("corexy", SHORT)
    system = model_of(scenario)
    plan, spans, before = plan_of(scenario, system), [], run_module.make_chunk
    monkeypatch.setattr(run_module, "make_chunk", lambda *given: spans.append(np.ptp(given[2])) or before(*given))
    monkeypatch.setattr(run_module, "_fed", [])
    for _ in range(2):
        run(system, plan, loop="reference")
    assert spans[0] == 0.0
    assert min(spans[1:]) > 0.0


def test_what_went_wrong_with_the_cache_is_told_once(monkeypatch):
    monkeypatch.setattr(run_module, "trouble", lambda: "nothing can be kept")
    scenario = bare("corexy", SHORT)
    system = model_of(scenario)
    assert run(system, plan_of(scenario, system), loop="reference").notes == ["nothing can be kept"]


def test_slips_are_told_in_full_steps_and_with_their_place():
    """Four full steps an electrical turn (any text on hybrid steppers); what grew without bound is no count."""
    system = model_of(workshop("corexy"))
    turns = np.array([[-2.0, 3.0, 8.0, 0.25], [1.0, 1.0, 1.0, 1.5]])
    first, second = slips_of(system, turns, {0: (0.1, 0.2, 0.3)})
    assert (first.motor, first.time_s, first.lost_steps, first.most_steps_off) == (system.motors[0].name, 0.25, 8, 12)
    assert (first.passages, first.place_m, second.place_m, second.lost_steps) == (8, (0.1, 0.2, 0.3), None, 4)
    assert slips_of(system, np.array([[0.0, 0.0, 0.0, -1.0], [1.0, 1.0, 1e12, 0.5]]), {}) == []


@pytest.mark.parametrize(
    ("record_s", "longest_s", "steps"), [(1e-3, 1e-3 / 6, 6), (1e-3, 1.7e-4, 6), (3e-4, 1e-4, 3), (1e-4, 1.0, 1)]
)
def test_the_time_between_two_records_is_cut_into_whole_steps(record_s, longest_s, steps):
    assert steps_a_record(record_s, longest_s) == steps
    assert whole_part(record_s, longest_s) == pytest.approx(record_s / steps, rel=1e-12)
    assert whole_part(record_s, longest_s) <= longest_s


def test_each_sample_stands_for_its_share_of_the_step():
    """A sixth at either end, on the straight lines between samples, and the rest on one between those; against 6000 points."""
    theta = np.random.default_rng(4).uniform(-0.1, 0.1, (5, 3, 2))
    size = np.array([0.007, 0.0])
    found = theta.copy()
    quantised(found, size)
    assert np.array_equal(found[..., 1], theta[..., 1])  # a motor without steps goes smoothly
    share = (np.arange(6000) + 0.5) / 6000
    for row, mine in zip(theta[..., 0], found[..., 0], strict=True):
        along = np.interp(share, [0.0, 0.5, 1.0], row)
        whole = size[0] * np.floor(along / size[0] + 0.5)
        assert mine[[0, 2]] == pytest.approx([whole[:1000].mean(), whole[5000:].mean()], abs=2e-5)
        between = np.interp(share, [0.0, 1.0], np.interp([1 / 6, 5 / 6], [0.0, 0.5, 1.0], row))
        assert mine[1] == pytest.approx((size[0] * np.floor(between / size[0] + 0.5)).mean(), abs=2e-5)
