"""Long jobs: what a thinned trace leaves out changes nothing of what is said about the run."""

from __future__ import annotations

import threading
import tracemalloc
from dataclasses import replace

import numpy as np
import pytest
from beltspring.sim.analyse import analyse, ripples
from beltspring.sim.analyse.path.meter import PathMeter
from beltspring.sim.analyse.ripples import RippleBins
from beltspring.sim.chain.chain import prepare, simulate_prepared
from beltspring.sim.chain.torque import rotor_speed, torque_shares
from beltspring.sim.simulate import keep as keeping
from beltspring.sim.simulate.commands import extreme_names
from beltspring.sim.simulate.interrupt import Interruptible
from beltspring.sim.simulate.keep import KeepAll, KeepThinned
from beltspring.sim.simulate.run import run
from beltspring.sim.trace import Ending

from tests.programs.conftest import rings
from tests.support import SIMPLE


@pytest.fixture
def pair(following, monkeypatch):
    """The same job kept whole and kept thinned, as (trace, analysis) each. Small limits, so that there is much to drop."""
    monkeypatch.setattr(keeping, "MOST_WAITING", 3000)
    # Without detent: it shakes the rotors faster than rows of every millisecond can show.
    ready = prepare(following(rings(600, 14), **SIMPLE, motors__detent_nm=0))
    out = []
    for keeper in (KeepAll(), KeepThinned(ready.system, extreme_names(ready.system), most_rows=2000)):
        bins = RippleBins(1e-3)
        meter = PathMeter(ready.plan, keeper, (bins,))
        trace = run(ready.system, ready.plan, keep=meter)
        out.append((trace, analyse(trace, ready.plan, meter.error(trace.off_path), bins.map())))
    return out


def test_a_thinned_trace_says_the_same(pair):
    (whole, full), (thin, said) = pair
    assert thin.thinned
    assert thin.rows == whole.rows == len(whole.t_s)
    assert len(thin.t_s) < 0.6 * len(whole.t_s)
    assert said.sentences == full.sentences
    for axis in "xy":
        a, b = full.ringing[axis], said.ringing[axis]
        assert a is not None
        assert b == replace(a)
        assert said.spectra[axis].amplitude_m == pytest.approx(full.spectra[axis].amplitude_m, abs=1e-15)
    for name in ("across_max_m", "across_rms_m", "along_max_m", "along_rms_m", "worst_s"):
        assert getattr(said.path, name) == getattr(full.path, name)
    assert said.ripples.places == full.ripples.places
    assert np.array_equal(said.ripples.error_m, full.ripples.error_m)
    assert (thin.slips, thin.slack_s, thin.steps) == (whole.slips, whole.slack_s, whole.steps)


def test_rotor_speeds_of_a_thinned_trace_are_those_of_the_whole_one(pair, following):
    (whole, _), (thin, _) = pair
    ready = prepare(following(rings(60, 14), **SIMPLE, motors__detent_nm=0))
    system = ready.system
    fine = run(system, ready.plan, 1e-4)
    for j, name in enumerate(whole.motors):
        # The rotor's angle, differentiated over rows fine enough for its own swing of 250 Hz (numpy).
        from_rows = np.gradient(fine.motor_rad[:, j], fine.t_s)
        assert np.sqrt(np.mean((rotor_speed(fine, system, j) - from_rows) ** 2)) < 0.01 * np.abs(from_rows).max(), name
        exact = rotor_speed(whole, system, j)
        assert np.array_equal(rotor_speed(thin, system, j), exact[np.searchsorted(whole.t_s, thin.t_s)])
        assert np.abs(rotor_speed(thin, system, j)).max() > 0.97 * np.abs(from_rows).max()
    assert torque_shares(thin, system) == pytest.approx(torque_shares(whole, system), rel=0.1)


def test_extremes_are_those_of_every_step(pair):
    (whole, _), (thin, _) = pair
    for pick, name in ((np.min, "low"), (np.max, "high")):
        both = [pick([getattr(w, name) for w in trace.stretches], axis=0) for trace in (whole, thin)]
        assert np.array_equal(*both)
    assert len(thin.stretches) < len(whole.stretches)
    assert [w.t1 for w in thin.stretches[:-1]] == [w.t0 for w in thin.stretches[1:]]
    assert (thin.stretches[0].t0, thin.stretches[-1].t1) == (whole.stretches[0].t0, whole.stretches[-1].t1)


def test_rows_of_a_thinned_trace_are_rows_of_the_whole_one(pair):
    (whole, _), (thin, _) = pair
    at = np.searchsorted(whole.t_s, thin.t_s)
    assert np.all(np.diff(at) > 0)
    for name in ("t_s", "tool", "asked", "motor_nm", "tension_n", "q", "depositing", "source_line"):
        assert np.array_equal(getattr(whole, name)[at], getattr(thin, name))
    # Evenly spread rows all along, so that pictures lack nothing.
    assert np.diff(thin.t_s).max() < 0.1


def test_a_watcher_sees_every_row(following):
    seen = []
    outcome = simulate_prepared(
        prepare(following(rings(300, 2), record__keep="thinned")), watchers=(lambda rows: seen.append(rows.t_s),)
    )
    times = np.concatenate(seen)
    assert len(times) == outcome.trace.rows
    assert times == pytest.approx(np.arange(len(times)) * 1e-3, abs=2e-9)


def test_memory_does_not_grow_with_the_job(following, monkeypatch):
    monkeypatch.setattr(keeping, "MOST_WAITING", 5000)
    monkeypatch.setattr(keeping, "MOST_ROWS", 5000)
    for name, most in (("MOST_BINS", 4096), ("MOST_WAITING", 4096)):
        monkeypatch.setattr(ripples, name, most)

    def peak(levels: int) -> int:
        ready = prepare(following(rings(600, levels), record__keep="thinned"))
        simulate_prepared(ready)  # compiled and loaded
        tracemalloc.start()
        simulate_prepared(ready)
        most = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return most

    assert peak(24) < 1.3 * peak(8)


def test_auto_thins_long_programs_only(following):
    short = prepare(following(rings(100, 1)))
    assert not short.thinned
    long_program = "G90 F60\nG1 X150\nG1 X0\n" * 5
    assert prepare(following(long_program)).thinned
    assert not prepare(following(long_program, record__keep="all")).thinned
    assert prepare(following(rings(100, 1), record__keep="thinned")).thinned


def test_ctrl_c_waits_for_the_stretch_once():
    import signal

    before = signal.getsignal(signal.SIGINT)
    with Interruptible() as wish:
        assert not wish.stop
        signal.raise_signal(signal.SIGINT)
        assert wish.stop
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(signal.SIGINT)
    assert signal.getsignal(signal.SIGINT) is before


def test_other_threads_leave_ctrl_c_alone():
    import signal

    before = signal.getsignal(signal.SIGINT)
    seen = []

    def inside() -> None:
        with Interruptible():
            seen.append(signal.getsignal(signal.SIGINT))

    thread = threading.Thread(target=inside)
    thread.start()
    thread.join()
    assert seen == [before]


def test_an_interrupted_run_is_whole_up_to_there(following):
    ready = prepare(following(rings(400, 6)))

    def impatient(done_s: float, whole_s: float) -> None:
        if done_s > 3.0:
            raise KeyboardInterrupt

    outcome = simulate_prepared(ready, impatient)
    trace = outcome.trace
    assert trace.stopped_at_s is not None
    assert trace.ending is Ending.INTERRUPTED
    assert trace.ended.startswith("interrupted at t = ")
    assert 3.0 < trace.stopped_at_s < ready.plan.duration_s
    assert trace.t_s == pytest.approx(np.arange(len(trace.t_s)) * 1e-3, abs=2e-9)
    assert trace.t_s[-1] == pytest.approx(trace.stopped_at_s, abs=2e-3)
    assert len(outcome.analysis.path.across_m) == len(trace.t_s)
    assert "interrupted" in outcome.analysis.sentences[0]
    whole = simulate_prepared(ready).trace
    assert np.array_equal(trace.tool, whole.tool[: len(trace.t_s)])
