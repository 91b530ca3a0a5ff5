"""What a trace tells of itself: extremes over every step, how it ended in words, and weights of rows at rest."""

from __future__ import annotations

import numpy as np
import pytest
from beltspring.sim.practice import LINE_WIDTH_M
from beltspring.sim.trace import Ending, StretchExtremes, Trace, rest_weights
from scipy.signal.windows import hann


def trace(stretches: list[StretchExtremes], ending: Ending = Ending.COMPLETE, stopped: float | None = None) -> Trace:
    """Three rows, the middle one laid."""
    none = np.zeros((3, 0))
    return Trace(
        t_s=np.array([0.0, 0.1, 0.2]), asked=np.zeros((3, 3)), commanded=np.zeros((3, 3)), tool=np.zeros((3, 3)),
        motor_rad=none, motor_nm=none, motor_lag_rad=none, tension_n=none, q=none, speeds=none,
        depositing=np.array([False, True, False]), motors=(), runs=(), dof_names=(), extreme_names=("off_x", "off_y"),
        stretches=stretches, slack_s={}, slips=[], ending=ending, stopped_at_s=stopped, planned_s=0.4, steps=2,
        step_s=0.1, wall_s=0.0,
    )  # fmt: skip


def extremes(low: list[float], high: list[float]) -> StretchExtremes:
    return StretchExtremes(0.0, 0.1, (False, False, True), np.array(low), np.array(high))


def test_extremes_are_of_all_stretches_and_of_channels_there_are() -> None:
    made = trace([extremes([-1.0, -9.0], [2.0, 3.0]), extremes([-4.0, -2.0], [1.0, 5.0])])
    assert made.extreme("off_x") == (-4.0, 2.0)
    assert made.extreme("off_y") == (-9.0, 5.0)
    assert made.largest("off_x") == 4.0
    assert made.largest("off_y") == 9.0
    assert trace([extremes([-1.0, 0.0], [2.0, 3.0])]).largest("off_x") == 2.0
    assert made.extreme("off_z") is None
    assert made.largest("off_z") is None
    assert trace([]).extreme("off_x") is None


def test_the_printed_line_is_there_where_it_is_laid() -> None:
    assert list(trace([]).printed_width_m) == [0.0, LINE_WIDTH_M, 0.0]


def test_what_nobody_gave_is_empty_and_whole() -> None:
    made = trace([])
    assert (len(made.source_line), made.off_path.shape, made.rows, made.thinned, made.notes) == (
        0,
        (0, 0),
        0,
        False,
        [],
    )


def test_how_it_ended_is_said_with_when_and_what_to_try() -> None:
    assert trace([]).ended == "complete"
    stopped = trace([], Ending.RUNAWAY, 0.1234).ended
    assert stopped.startswith("stopped at t = 0.123 s: the motion grew without bound; lower motion.acceleration_mm_s2")
    cut = trace([], Ending.INTERRUPTED, 0.25).ended
    assert cut == "interrupted at t = 0.250 s of 0.400 s; everything up to there is whole"
    assert trace([], Ending.INTERRUPTED).ended.startswith("interrupted at t = 0.000 s")


def test_rows_at_rest_weigh_by_a_hann_window_and_by_the_time_about_them() -> None:
    """Against scipy's window; of rows twice as far apart each stands for twice the time."""
    t = np.linspace(3.1, 5.1, 41)
    found = rest_weights(t, 3.1, 5.1)
    assert found == pytest.approx(hann(41) * 0.05, abs=1e-12)
    sparse = rest_weights(t[::2], 3.1, 5.1)
    assert sparse == pytest.approx(hann(21) * 0.1, abs=1e-12)
    assert rest_weights(t[:2], 3.0, 5.0) is None
    three = rest_weights(np.array([3.0, 4.0, 5.0]), 3.0, 5.0)
    assert three == pytest.approx([0.0, 1.0, 0.0], abs=1e-12)
