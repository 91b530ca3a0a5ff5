"""A batch says what `run` says: every layout, both details, shaped and unshaped, patterns and programs, lost steps and slack."""

from __future__ import annotations

import signal
import threading
from concurrent.futures import CancelledError, ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import replace
from multiprocessing import get_context

import numpy as np
import pytest
from beltspring.sim.analyse.ringing import largest_peak
from beltspring.sim.chain import batch
from beltspring.sim.chain.batch import judge
from beltspring.sim.chain.chain import Outcome, prepare, simulate_prepared, simulate_scenario
from beltspring.sim.chain.stand import Criteria, bench_of
from beltspring.sim.chain.torque import torque_shares
from beltspring.sim.machine.layouts import LAYOUTS
from beltspring.sim.scenario.load import load_scenario, with_changes
from beltspring.sim.scenario.names import DETAILS
from beltspring.sim.simulate.feed import MOST_KEPT, MOST_MOTORS, run_over

from tests.support import SIMPLE, shipped, workshop

#: A batch and a run see the same steps; what is left is rounding in the order of sums, and this is a picometre.
SAME_M = 1e-12


def agree(trials, outcome: Outcome) -> None:
    """One trial at pace 1 against a run of its own."""
    (one,) = trials.samples
    told = largest_peak(outcome.trace, outcome.plan)
    assert told is not None
    assert np.nanmax(trials.peak_m) == pytest.approx(told, rel=0, abs=SAME_M)
    for axis, name in enumerate("xy"):
        ringing = outcome.analysis.ringing[name]
        if ringing is None:
            assert np.isnan(one.peak_m[axis])
        else:
            assert one.peak_m[axis] == pytest.approx(ringing.peak_m, rel=0, abs=SAME_M)
    assert trials.passages[0] == sum(s.passages for s in outcome.trace.slips)
    assert trials.lost_steps[0] == sum(s.lost_steps for s in outcome.trace.slips)
    assert [(s.motor, s.time_s, s.most_steps_off) for s in one.slips] == [
        (s.motor, s.time_s, s.most_steps_off) for s in outcome.trace.slips
    ]
    assert trials.slack_s[0] == pytest.approx(sum(outcome.trace.slack_s.values()), rel=1e-12)
    assert trials.move_s[0] == outcome.plan.move_s
    assert trials.whole[0] == (outcome.trace.stopped_at_s is None)


@pytest.mark.parametrize("detail", DETAILS)
@pytest.mark.parametrize("layout", sorted(LAYOUTS))
def test_a_layouts_batch_is_its_run(layout, detail):
    scenario = with_changes(workshop(layout), {"detail": detail})
    ready = prepare(scenario)
    agree(judge([ready])[0], simulate_prepared(ready))


@pytest.mark.parametrize(
    ("name", "changes"),
    [
        ("desk-corexy", {"move.pattern": "circle"}),
        ("desk-corexy", {"move.pattern": "step", "move.axis": "y", "move.repeats": 4}),
        ("desk-corexy", {"record.step_ms": 0.3}),
        ("desk-corexy", {"motors.part": "ideal"}),
        ("desk-corexy", {"motors.stepping": "steps"}),
        ("desk-corexy", {"motion.corner_tolerance_mm": 0.2}),
        ("four-shapers", {"motion.shaper.x.frequency_hz": "auto", "motion.shaper.x.kind": "zero-vibration"}),
        ("moving-bed-wheels", {"detail": "simple"}),
        ("key-tag", {"detail": "simple"}),
        ("spring-mass", {}),
    ],
)
def test_a_moves_batch_is_its_run(name, changes):
    ready = prepare(shipped(name, changes))
    agree(judge([ready])[0], simulate_prepared(ready))


def test_lost_steps_and_slack_are_those_of_the_run():
    hard = shipped("desk-corexy", {"detail": "simple", "motion.acceleration_mm_s2": 60000, "belts.pretension_n": 1})
    outcome = simulate_scenario(hard)
    assert sum(s.passages for s in outcome.trace.slips) > 0
    assert sum(outcome.trace.slack_s.values()) > 0
    agree(judge([prepare(hard)])[0], outcome)


def test_a_pace_is_a_speed():
    # 150 mm/s times 0.8 is 120 mm/s, whether the file says so or the batch; so is a program's F.
    ready = prepare(shipped("desk-corexy", {"detail": "simple"}))
    slow = simulate_scenario(shipped("desk-corexy", {"detail": "simple", "motion.speed_mm_s": 120.0}))
    (at,) = judge([ready], [0.8])
    told = largest_peak(slow.trace, slow.plan)
    assert told is not None
    assert np.nanmax(at.peak_m) == pytest.approx(told, rel=1e-9)


def test_a_pace_scales_the_words_of_a_program(tmp_path):
    lines = "G21\nG90\nG1 X40 F{0}\nG4 P0.3\nG1 Y40 F{1}\nG4 P0.3\n"
    where = {}
    for name, share in (("own", 1.0), ("slow", 0.8)):
        where[name] = tmp_path / f"{name}.gcode"
        where[name].write_text(lines.format(6000 * share, 4800 * share))
    peaks = {}
    for name, pace in (("own", 0.8), ("slow", 1.0)):
        changed = {"detail": "simple", "move.gcode": str(where[name]), "motion.speed_mm_s": 200}
        peaks[name] = judge([prepare(shipped("key-tag", changed))], [pace])[0].peak_m
    assert peaks["own"] == pytest.approx(peaks["slow"], rel=1e-6)


def test_designs_stay_apart_whoever_runs_them():
    """Several motors, belts, pulleys and speeds in one batch, in threads and in processes: each as if it were alone."""
    base = load_scenario("desk-corexy", ["detail=simple"])
    changes: list[dict[str, object]] = [
        {}, {"motors.part": "motor-17-48"}, {"belts.part": "belt-2mm-6-steel"}, {"motors.pulley_teeth": 16},
        {"motion.speed_mm_s": 100}, {"motion.acceleration_mm_s2": 9000}, {"motors.current_a": 0.7}, {"carriage.mass_g": 500},
        {"belts.ea_n": 9000}, {"title": "the same again"},
    ]  # fmt: skip
    ready = [prepare(with_changes(base, {"title": "one"} | c)) for c in changes]
    paces = [0.9, 1.0]
    alone = [[judge([one], [pace])[0].peak_m[0] for pace in paces] for one in ready]
    with ThreadPoolExecutor(3) as pool:
        threads = [t.peak_m for t in judge(ready, paces, pool)]
    assert np.array_equal(threads, alone)
    assert np.array_equal(threads[0], threads[-1])
    assert len({float(p[1].max()) for p in threads[:-1]}) == len(changes) - 1
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        assert np.array_equal([t.peak_m for t in judge(ready[:3], paces, pool)], alone[:3])


@pytest.mark.parametrize("move", ["x", "own"])
def test_a_trial_at_the_scenarios_own_values_gives_runs_numbers(move):
    """Also where "auto" is tuned in a corner of the reach, far from its middle."""
    auto = {
        f"motion.shaper.{a}.{k}": v for a in "xy" for k, v in (("kind", "zero-vibration"), ("frequency_hz", "auto"))
    }
    scenario = shipped("key-tag", {"detail": "simple", **auto})
    if move == "x":
        scenario = shipped("desk-corexy", {"detail": "simple", **auto})
    ready = prepare(scenario)
    outcome = simulate_prepared(ready)
    bench = bench_of(ready, Criteria())
    trial = bench.try_out(bench.limits, 1.0)
    told = largest_peak(outcome.trace, outcome.plan)
    assert trial.ringing_m == pytest.approx(told, rel=0, abs=SAME_M)
    assert trial.torque_share == pytest.approx(max(torque_shares(outcome.trace, outcome.system).values()), rel=1e-12)
    eased = replace(bench.limits, acceleration_m_s2=2.0)
    slower = simulate_scenario(with_changes(scenario, {"motion.acceleration_mm_s2": 2000}))
    assert bench.try_out(eased, 2.0).ringing_m == pytest.approx(
        largest_peak(slower.trace, slower.plan), rel=0, abs=SAME_M
    )


def test_whoever_gives_up_waits_for_no_run(monkeypatch):
    """Ctrl-C while threads work: none of them goes on with a run that nobody asks for any more."""
    told, one = [], threading.Event()

    def interrupted(*values):
        signal.pthread_kill(threading.main_thread().ident, signal.SIGINT)
        told.append(values[-1].wait(60.0))
        one.set()
        return run_over(*values)

    monkeypatch.setattr(batch, "run_over", interrupted)
    with pytest.raises(KeyboardInterrupt):
        judge([prepare(shipped("spring-mass"))], [0.9, 1.0, 1.1])
    # Struck while a thread is being started the interrupt goes on before that one has told.
    assert one.wait(60.0)
    assert all(told), "a thread went on until its own run was over"


def test_torque_limits_of_a_few_kinds_of_motors_are_kept():
    """128 drawn machines have 128 kinds of motors; kept for each, a motion's torque limits would fill the memory."""
    rig = batch.rig_of(prepare(shipped("desk-corexy", SIMPLE)))
    system, feed = rig.system, batch.Feeds().of(rig, 1.0).feed

    def torque(scale):
        motors = tuple(
            replace(m, spec=replace(m.spec, holding_torque_nm=scale * m.spec.holding_torque_nm)) for m in system.motors
        )
        return np.concatenate([c.limit for c in feed.chunks(replace(system, motors=motors))])

    first = torque(1.0)
    for scale in np.linspace(1.1, 2.0, 3 * MOST_MOTORS):
        assert torque(scale) == pytest.approx(scale * first, rel=1e-12)
    assert 2 <= len(feed._by_motors) <= MOST_MOTORS
    assert len(feed._by_motors) * feed.kept <= MOST_KEPT
    assert np.array_equal(torque(1.0), first)


def test_a_run_given_up_ends_before_its_next_stretch():
    rig = batch.rig_of(prepare(shipped("spring-mass")))
    feeds = batch.Feeds()
    ready = feeds.of(rig, 1.0)
    batch.sample(rig, ready, feeds.given_up)
    feeds.given_up.set()
    with pytest.raises(CancelledError):
        batch.sample(rig, ready, feeds.given_up)
