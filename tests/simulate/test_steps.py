"""The grid of steps: ends on every breakpoint and every record time, and no step is too long."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from beltspring.sim.simulate.steps import grid
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st


@dataclass
class Stretch:
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
@settings(max_examples=100, deadline=None)
def test_grid(t0, length, shares, record_s, dt_s):
    t1 = t0 + length
    breakpoints = np.unique([t0 + s * length for s in shares if 0 < s < 1])
    assume(np.diff(np.concatenate([[t0], breakpoints, [t1]])).min() > 1e-8)
    edges, numbers = grid(Stretch(t0, t1, breakpoints), dt_s, record_s)
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
@settings(max_examples=100, deadline=None)
def test_no_record_is_lost_or_kept_twice_where_windows_meet(number, offsets):
    # Windows may be cut anywhere, and a cut may fall within nanoseconds of a record time. The end of a window is left to
    # the next one to record.
    record_s = 1e-3
    cuts = [0.0, *np.unique([(number + i) * record_s + offset for i, offset in enumerate(offsets)]), 0.5]
    seen: list[int] = []
    for t0, t1 in itertools.pairwise(cuts):
        _, numbers = grid(Stretch(t0, t1, np.zeros(0)), 3e-4, record_s)
        kept = numbers if t1 == 0.5 else numbers[:-1]
        seen += kept[kept >= 0].tolist()
    assert seen == list(range(501))
