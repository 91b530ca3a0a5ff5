"""Jobs that would take days or fill the disk say so first; of many rows a thinned trace is kept whatever the move is."""

from __future__ import annotations

import json
import time

import numpy as np
import pytest
from beltspring.sim.chain import burden as burden_
from beltspring.sim.chain.chain import prepare, simulate_prepared
from beltspring.sim.errors import InputError
from beltspring.sim.simulate.run import MOST_STEPS, run
from beltspring.viz.cli import main

from tests.support import bare, model_of, plan_of, shipped

ENDLESS = {"move.repeats": 10_000, "move.settle_ms": 60_000, "record.step_ms": 0.01}
SETS = [f"--set={key}={value}" for key, value in ENDLESS.items()]


def test_a_job_of_hours_is_refused_before_it_begins(tmp_path, capsys):
    began = time.process_time()
    assert main(["run", "spring-mass", *SETS, "--out", str(tmp_path / "out"), "--quiet"]) == 2
    assert time.process_time() - began < 30
    said = capsys.readouterr().err
    assert "this move would take about" in said
    assert "hours" in said or "minutes" in said or "days" in said
    assert "run --long" in said
    assert "a trace.csv of" in said
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("command", ["check", "compare", "film"])
def test_no_other_door_lets_it_in(command, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main([command, "spring-mass", *SETS, "--quiet"]) == 2
    assert "run --long" in capsys.readouterr().err


@pytest.mark.parametrize("command", ["limits", "spread"])
def test_many_short_runs_are_a_long_job_too(command, tmp_path, capsys, monkeypatch):
    # One run of it is a matter of seconds; a hundred and more of them are not.
    sets = [f"--set={key}={value}" for key, value in {"move.repeats": 200, "move.settle_ms": 5000}.items()]
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(burden_, "MOST_S", 5.0)
    assert main([command, "spring-mass", *sets, "--out", "out", "--quiet"]) == 2
    said = capsys.readouterr().err
    assert f"`{command}` of this move would take about" in said
    assert f"beltspring {command} --long" in said
    assert list(tmp_path.iterdir()) == []


def test_as_many_runs_take_as_many_times_as_long():
    ready = prepare(shipped("desk-corexy"))
    once, often = ready.burden_of(1), ready.burden_of(40)
    assert often.steps == pytest.approx(40 * once.steps)
    assert often.seconds == pytest.approx(40 * once.seconds)
    assert often.memory_bytes == once.memory_bytes


def test_trace_csv_counts_by_its_size():
    # 21 columns of ten digits and a comma: the file of a shorter job, weighed, tells what the long one will be.
    ready = prepare(shipped("desk-corexy", {"record.step_ms": 0.1}))
    found = ready.burden(written=True)
    rows = ready.plan.duration_s / 1e-4
    assert found.disk_bytes == pytest.approx(rows * 18 * 13, rel=0.02)  # t, 9 places, 2 motors twice, 4 runs
    assert ready.burden(written=False).disk_bytes == 0
    with pytest.raises(InputError, match="12 GB"):
        burden_.Burden(1e9, 100.0, 0.0, 1.2e10).refuse()
    with pytest.raises(InputError, match="3 days"):
        burden_.Burden(1e12, 3 * 86400.0, 0.0, 0.0).refuse()
    burden_.Burden(1e9, 599.0, 1.9e9, 1.9e9).refuse()


@pytest.mark.parametrize(
    ("name", "detail"), [("desk-corexy", "simple"), ("desk-corexy", "full"), ("small-delta", "simple")]
)
def test_the_time_told_is_about_the_processor_time_taken(name, detail):
    # What a step of so many coordinates and arms takes, times the steps: the same at every call, whatever else the computer
    # does.
    ready = prepare(shipped(name, {"move.settle_ms": 6_000, "detail": detail}))
    told = ready.burden(written=False)
    assert told == ready.burden(written=False)
    run(ready.system, ready.plan, 1e-3)  # machine code and tables are there
    began = time.process_time()
    steps = run(ready.system, ready.plan, 1e-3).steps
    taken = time.process_time() - began
    assert told.steps == pytest.approx(steps, rel=0.02)
    assert told.seconds / 8 < taken < told.seconds * 8


def test_whoever_means_it_is_let_in(monkeypatch, capsys, tmp_path):
    monkeypatch.setattr(burden_, "MOST_S", 0.0)
    monkeypatch.setattr(burden_, "MOST_BYTES", 0.0)
    assert main(["run", "spring-mass"]) == 2
    capsys.readouterr()
    assert main(["run", "spring-mass", "--long", "--out", str(tmp_path / "out"), "--json"]) == 0
    said = capsys.readouterr()
    assert "note: this takes about" in said.err
    assert json.loads(said.out)["ended"] == "complete"


def test_no_stretch_is_longer_than_ctrl_c_may_wait():
    # Steps of a microsecond: a stretch of a second would be a million of them.
    system = model_of(scenario := bare("moving-bed", {"move.size_mm": 5, "move.settle_ms": 250}))
    stretches = []
    run(system, plan_of(scenario, system), step_s=1e-6, progress=lambda t, _: stretches.append(t))
    longest_s = np.diff([0.0, *stretches]).max()
    assert longest_s <= MOST_STEPS * 1e-6 + 1e-9
    assert MOST_STEPS < 200_000  # at a third of a million steps a second, the slowest seen, less than a second


def test_any_move_of_many_rows_keeps_a_thinned_trace():
    assert prepare(shipped("desk-corexy", {"move.repeats": 200})).thinned
    assert not prepare(shipped("desk-corexy")).thinned
    # A ladder and a sweep are read from all their rows.
    for pattern in ("acceleration-ladder", "chirp"):
        keys = {"move.pattern": pattern, "move.repeats": 40, "record.step_ms": 0.1}
        assert not prepare(shipped("desk-corexy", keys)).thinned


def test_a_thinned_pattern_is_judged_from_every_row():
    keys = {"move.repeats": 14, "record.step_ms": 0.05, "move.settle_ms": 200}
    whole = simulate_prepared(prepare(shipped("desk-corexy", keys | {"record.keep": "all"})))
    some = simulate_prepared(prepare(shipped("desk-corexy", keys | {"record.keep": "thinned"})))
    assert some.trace.rows == whole.trace.rows == len(whole.trace.t_s)
    assert len(some.trace.t_s) < len(whole.trace.t_s)
    a, b = whole.analysis, some.analysis
    assert b.path.across_max_m == pytest.approx(a.path.across_max_m, abs=1e-8)
    assert b.path.across_rms_m == pytest.approx(a.path.across_rms_m, rel=1e-3)
    assert b.path.along_rms_m == pytest.approx(a.path.along_rms_m, rel=1e-3)
    for axis in "xy":
        assert b.ringing[axis].peak_m == pytest.approx(a.ringing[axis].peak_m, rel=1e-6)
        assert b.ringing[axis].frequency_hz == pytest.approx(a.ringing[axis].frequency_hz, rel=1e-6)
