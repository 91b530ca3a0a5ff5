"""A straight line cut into a thousand pieces is the same line: same duration, same ringing."""

from __future__ import annotations

import numpy as np
import pytest
from beltspring.sim.chain.chain import simulate_scenario

# From X0 Y0; along X, and askew with ends that are whole tenths of a millimetre.
ENDS = {"along X": (100.0, 0.0), "askew": (90.4, 61.7)}


def line(end: tuple[float, float], pieces: int, digits: int) -> str:
    points = [f"G1 X{end[0] * k / pieces:.{digits}f} Y{end[1] * k / pieces:.{digits}f}" for k in range(1, pieces + 1)]
    return "\n".join(["G21 G90 F7200", *points]) + "\n"


@pytest.mark.parametrize("digits", [3, 5])
@pytest.mark.parametrize("jerk", [0, 2_000_000])
@pytest.mark.parametrize("end", ENDS.values(), ids=ENDS)
def test_a_thousand_pieces_are_one_line(following, end, jerk, digits):
    one, many = (
        simulate_scenario(following(line(end, pieces, digits), motion__jerk_mm_s3=jerk)) for pieces in (1, 1000)
    )
    assert many.plan.duration_s == pytest.approx(one.plan.duration_s, abs=1e-7)
    assert len(many.trace.t_s) == len(one.trace.t_s)
    assert np.abs(many.trace.tool - one.trace.tool).max() < 1e-7
    for axis in "xy":
        a, b = one.analysis.ringing[axis], many.analysis.ringing[axis]
        assert b.peak_m == pytest.approx(a.peak_m, abs=1e-7)
        if a.frequency_hz is not None and a.peak_m > 1e-6:
            assert b.frequency_hz == pytest.approx(a.frequency_hz, rel=1e-3)
    # The pieces' rounding would ring if it were followed: the line itself rings visibly, so there is something to see.
    assert max(a.peak_m for a in one.analysis.ringing.values()) > 5e-6
