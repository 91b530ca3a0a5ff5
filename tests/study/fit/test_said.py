"""What is said of a fit, by hand: records, how lopsided a number is, what the sensor's pose costs, what a measurement leaves."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from beltspring.sim.study.fit.found import Learned
from beltspring.sim.study.fit.sensor import CONSTANT_SIGMA, GAIN_SIGMA, Pose
from beltspring.sim.study.fit.sheet import Leaves
from beltspring.sim.study.fit.sheet_words import leaves_words
from beltspring.sim.study.fit.words import record_words


def record(**more: Any) -> Any:
    known = {"file": "step.csv", "use": "fit", "curves": SimpleNamespace(axis="X"), "unexplained": 0.0234}
    known |= {"unexplained_before": 0.41, "clock": 1.0123, "gain": 0.9876, "left_out": 0.0, "mirrored": False}
    return SimpleNamespace(**(known | more))


def test_what_is_left_of_a_record_is_said_in_one_sentence() -> None:
    assert record_words(record()) == (
        "step.csv (X): 2.3 % of it unexplained, 41 % before; its clock runs 1.23 % slow, its gain is 0.988."
    )
    assert "its clock runs 0.50 % fast" in record_words(record(clock=0.995))
    assert record_words(record(use="check")).startswith("step.csv (held out, X): ")
    assert record_words(record(left_out=0.034)).endswith(", 3.4 % of its samples are clipped and left out.")
    assert record_words(record(mirrored=True)).endswith(
        "; its axes are left-handed: two are swapped, or one has the wrong sign."
    )


@pytest.mark.parametrize(
    ("low", "high", "lopsided"),
    [(50.0, 200.0, False), (50.0, 280.0, False), (50.0, 290.0, True), (34.0, 200.0, True), (0.0, 200.0, False)],
)
def test_a_number_is_lopsided_from_half_as_much_again_on_as_factors(low: float, high: float, lopsided: bool) -> None:
    """About 100: 50 and 283 lie a factor of 2 and 2 ^ 1.5 away. Whatever reaches down to nothing has no factor."""
    one = Learned("k", ("k",), "N", 90.0, 100.0, low, high, 10.0, 1000.0, True)
    assert one.lopsided is lopsided
    assert one.give_or_take == pytest.approx(0.5 * (high - low))


def test_an_unlikely_pose_is_the_sum_of_squares_in_sigmas() -> None:
    pose = Pose(np.eye(3), 1 + 2 * GAIN_SIGMA, CONSTANT_SIGMA * np.array([1.0, -3.0, 0.5]))
    assert pose.unlikely == pytest.approx(4.0 + 1.0 + 9.0 + 0.25)
    assert Pose(np.eye(3), 1 - 3 * GAIN_SIGMA, np.zeros(3)).unlikely == pytest.approx(9.0)


def test_what_a_measurement_leaves_is_said_of_the_first_few() -> None:
    leaves = [Leaves(f"key_{k}", 0.3 / (k + 1), 0.04) for k in range(5)]
    assert leaves_words(leaves, 2) == "key_0 ± 30 → 4 %, key_1 ± 15 → 4 %, and 3 more"
    assert leaves_words(leaves[:2], 2) == "key_0 ± 30 → 4 %, key_1 ± 15 → 4 %"
    assert leaves_words([], 2) == "tells nothing that is not known as well"
    assert leaves_words([Leaves("a", 0.0987, 0.0312)], 2) == "a ± 9.9 → 3.1 %"
