"""What is told about a run is worked out once: the terminal, the JSON and the pictures only write it down."""

from __future__ import annotations

import io
from dataclasses import replace
from unittest.mock import Mock

import numpy as np
import pytest
from beltspring.sim import Ending, load, run
from beltspring.viz.charts.shown import Shown
from beltspring.viz.files.summary import summary
from beltspring.viz.terminal.run import run_summary
from rich.console import Console

from tests.support import textbook

SHORT = {"move.repeats": 1, "move.settle_ms": 300, "detail": "simple"}


@pytest.fixture(scope="module")
def report():
    return run(textbook("desk-corexy", SHORT))


def printed(report) -> str:
    page = Console(file=io.StringIO(), width=400)
    page.print(run_summary(report, None))
    return page.file.getvalue()


def test_terminal_and_json_tell_the_same(report):
    said, judged = printed(report), summary(report)
    assert judged["reading"] == list(report.sentences)
    for sentence in report.sentences:
        assert sentence in said
    for note in report.motion_notes:
        assert note in said
        assert note in judged["notes"]
    assert [f["rule"] for f in judged["findings"]] == [f.rule for f in report.findings.findings]
    for belt in report.belts:
        assert judged["belts"][belt.name]["max_tension_n"] == belt.most_n
        assert f"{belt.order_length_m * 1e3:.0f}" in said
    for mode in report.main_modes:
        assert mode.mode.words in said
    assert Shown(report).result.analysis is report.analysis


def test_each_thing_is_worked_out_once(report, monkeypatch):
    import beltspring.sim.study.borne as borne
    import beltspring.sim.study.report as module

    # What thirteen more runs say is known already; asking for it is counted all the same.
    known = {"judge_outcome": lambda _outcome: report.judged}
    for name in (
        "judge_outcome", "judged_words", "buzz_words", "shaping_notes", "seen", "check", "answers",
        "run_facts", "mixing", "left_out",
    ):  # fmt: skip
        home = borne if name == "run_facts" else module
        counted = Mock(side_effect=known.get(name, getattr(home, name)))
        monkeypatch.setattr(home, name, counted)
        fresh = module.Report(report.outcome, () if name == "judge_outcome" else (report.judged,))
        printed(fresh)
        summary(fresh)
        shown = Shown(fresh)
        assert len(shown.asked_m) > 1
        assert len(shown.feet_m)
        assert counted.call_count == 1, name
        monkeypatch.undo()


def test_a_verdict_among_others_is_the_one_told(report):
    other = replace(report.judged, judged_m=0.123e-3)
    told = report.judged_as(other)
    assert told.outcome is report.outcome
    assert summary(told)["judged"]["judged_um"] == pytest.approx(123)
    assert "judged 123 µm" in " ".join(told.sentences)
    assert report.judged_as(None).judged is None


def test_numbers_of_motors_and_belts_are_those_of_the_trace(report):
    trace = report.trace
    for j, motor in enumerate(report.motors):
        assert motor.name == trace.motors[j]
        assert motor.peak_torque_nm >= np.abs(trace.motor_nm[:, j]).max() - 1e-12
        assert motor.peak_torque_nm == pytest.approx(np.abs(trace.motor_nm[:, j]).max(), rel=0.05)
        assert (motor.lost_steps, motor.first_loss_s) == (0, None)
    for belt in report.belts:
        mine = [k for k, (name, _) in enumerate(trace.runs) if name == belt.name]
        assert belt.least_n <= trace.tension_n[:, mine].min() + 1e-9
        assert belt.most_n >= trace.tension_n[:, mine].max() - 1e-9


def test_of_a_run_that_was_stopped_at_once_nothing_is_made_up():
    def at_once(_now: float, _whole: float) -> None:
        raise KeyboardInterrupt

    report = run(load("desk-corexy", ["move.repeats=20", "detail=simple"]), at_once)
    assert report.trace.ending is Ending.INTERRUPTED
    assert report.simulated_s == report.trace.stopped_at_s
    assert report.trace.planned_s == report.plan.duration_s
    assert report.trace.ended in report.sentences[0]
    assert summary(report)["ended"] == report.trace.ended
