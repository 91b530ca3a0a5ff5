"""Facts that several rooms judge by, against where they are from."""

from __future__ import annotations

from beltspring.sim import practice
from scipy import constants


def test_a_kilogram_weighs_what_the_standard_says() -> None:
    assert constants.g == practice.STANDARD_GRAVITY


def test_what_is_seen_on_a_wall_lies_in_the_order_of_what_people_see() -> None:
    """Common practice, no source: 5 to 10 um begin to show, 20 um are certainly seen; a 0.4 mm nozzle lays lines an eighth
    wider than itself; a motor gives two thirds of its torque, and the last third is for what nobody thought of."""
    assert practice.INVISIBLE_M == 5e-6
    assert practice.SEEN_M == 20e-6
    assert round(practice.LINE_WIDTH_M / 0.4e-3, 9) == 9 / 8
    assert round(1 - practice.TORQUE_SHARE, 1) == 0.3
