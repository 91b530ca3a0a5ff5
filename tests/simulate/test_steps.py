"""The grid of steps: ends on every breakpoint and every record time, and no step is too long."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
import pytest
from beltspring.sim.model.motor import most_drag
from beltspring.sim.simulate.commands import TABLE_TOP_RAD_S, mean_step
from beltspring.sim.simulate.reference import count_turns
from beltspring.sim.simulate.steps import corner_poses, grid, longest_step
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from tests.support import model_of, shipped
from tests.tries import examples


@dataclass
class Cut:
    t0: float
    t1: float
    breakpoints: np.ndarray


@given(
    st.floats(0, 5),
    st.floats(1e-4, 0.1),
    st.lists(st.floats(0, 1), max_size=8),
    st.sampled_from([1e-4, 1e-3, 0.01, 7e-4]),
    st.floats(2e-5, 5e-4),
)
@settings(max_examples=examples(100))
def test_grid(t0, length, shares, record_s, dt_s):
    t1 = t0 + length
    breakpoints = np.unique([t0 + s * length for s in shares if 0 < s < 1])
    assume(np.diff(np.concatenate([[t0], breakpoints, [t1]])).min() > 1e-8)
    edges, numbers = grid(Cut(t0, t1, breakpoints), dt_s, record_s)
    steps = np.diff(edges)
    assert (edges[0], edges[-1]) == (t0, t1)
    assert steps.min() > 0
    assert steps.max() <= dt_s * (1 + 1e-6)
    for mark in breakpoints:
        assert np.abs(edges - mark).min() <= 1e-9
    wanted = np.arange(np.ceil((t0 - 1e-9) / record_s), np.floor((t1 + 1e-9) / record_s) + 1)
    assert np.array_equal(numbers[numbers >= 0], wanted)
    kept = numbers >= 0
    assert np.abs(edges[kept] - numbers[kept] * record_s).max(initial=0.0) <= 2e-9
    # Between two marks the steps are equal: nothing is gained by one short step at the end.
    marks = np.unique(np.concatenate([[t0, t1], breakpoints, wanted * record_s]))
    for a, b in itertools.pairwise(marks):
        inside = steps[(edges[:-1] >= a - 1e-9) & (edges[1:] <= b + 1e-9)]
        if len(inside) > 1:
            assert np.ptp(inside) <= 4e-9


@example(number=250, offsets=[1e-9])
@example(number=250, offsets=[-1e-9])
@given(st.integers(1, 400), st.lists(st.floats(-3e-9, 3e-9), min_size=1, max_size=6))
@settings(max_examples=examples(100))
def test_no_record_is_lost_or_kept_twice_where_stretches_meet(number, offsets):
    # Stretches may be cut anywhere, and a cut may fall within nanoseconds of a record time. The end of a stretch is left to
    # the next one to record.
    record_s = 1e-3
    cuts = [0.0, *np.unique([(number + i) * record_s + offset for i, offset in enumerate(offsets)]), 0.5]
    seen: list[int] = []
    for t0, t1 in itertools.pairwise(cuts):
        edges, numbers = grid(Cut(t0, t1, np.zeros(0)), 3e-4, record_s)
        assert (edges[0], edges[-1]) == (t0, t1), "to the bit: what follows begins where this ends"
        kept = numbers if t1 == 0.5 else numbers[:-1]
        seen += kept[kept >= 0].tolist()
    assert seen == list(range(501))


@pytest.mark.parametrize(
    "changes", [{}, {"carriage.mass_g": 30}, {"motors.damping": 0.9}, {"carriage.presliding_um": 0.5}]
)
@pytest.mark.parametrize("detail", ["simple", "full"])
def test_the_step_is_that_of_all_eigenvalues(detail, changes):
    """The rule asks for them only where a bound does not tell. Here they are always worked out, from M, K and D unscaled."""
    s = model_of(shipped("desk-corexy", {"detail": detail} | changes))
    omega = lam = 0.0
    for q in corner_poses(s):
        k, d = s.linear_stiffness(q), s.linear_damping(q)
        for f in s.frictions:
            k += f.sigma0_n_m * np.outer(f.row, f.row)
            d += f.sigma1_n_s_m * np.outer(f.row, f.row)
        for m in s.motors:
            if m.row is not None and m.spec is not None:
                off = np.hypot(m.limit_nm, most_drag(m.spec, m.damping_nm_s, TABLE_TOP_RAD_S)) - m.limit_nm
                k += m.spec.rotor_teeth * (off + 4 * m.detent_nm) * np.outer(m.row, m.row)
        mk, md = np.linalg.solve(s.mass, k), np.linalg.solve(s.mass, d)
        omega = max(omega, float(np.sqrt(np.abs(np.linalg.eigvals(mk)).max())))
        whole = np.block([[np.zeros_like(mk), np.eye(s.n)], [-mk, -md]])
        lam = max(lam, float(np.abs(np.linalg.eigvals(whole)).max()))
    own = min(1e-3, 1e-3 / 6) if detail == "full" else min(1e-3, 1e-3 / 3, 0.6 / omega)
    assert longest_step(s, 1e-3) == pytest.approx(min(own, 2.5 / lam), rel=1e-9)


@pytest.mark.parametrize(("a", "b"), [(0.2, 0.4), (0.2, 0.9), (-1.3, 2.45), (7.6, 4.1), (0.5, 3.5), (2.3, 2.3)])
def test_a_command_in_whole_steps_keeps_its_mean(a, b):
    """Against the mean of the rounded command over a million points."""
    points = a + (b - a) * (np.arange(1_000_000) + 0.5) / 1_000_000
    assert mean_step(a, b) == pytest.approx(np.floor(points + 0.5).mean(), abs=1e-5)


def test_turns_are_counted_from_five_eighths_on_there_and_back():
    """By hand: out to the second turn, trembling about a half of one, then back to where it was."""
    turns = np.array([0.0, 0.0, 0.0, -1.0])
    for lag, t in ((0.6, 0.1), (0.625, 0.15), (0.63, 0.2), (0.45, 0.3), (0.4, 0.35), (1.7, 0.4), (0.3, 0.5)):
        count_turns(turns, lag, t)
    # 0.63: one turn; 0.45 and 0.4 lie within 5/8 of it; 1.7: two; 0.3: none. Passed 1 + 1 + 2, two at most, first at 0.2 s.
    assert turns.tolist() == [0.0, 2.0, 4.0, 0.2]
    count_turns(turns, -1.2, 0.6)
    assert turns.tolist() == [-1.0, 2.0, 5.0, 0.2]


def test_a_rotor_that_is_off_from_the_start_was_first_off_then():
    turns = np.array([0.0, 0.0, 0.0, -1.0])
    for lag, t in ((0.7, 0.0), (0.1, 0.2)):
        count_turns(turns, lag, t)
    assert turns.tolist() == [0.0, 1.0, 2.0, 0.0]
