"""What people are told of a corner: one name in table, sentence, window and film; files keep the leg's."""

from __future__ import annotations

import pytest
from beltspring.sim.analyse.terms import after_corner, corner_name


@pytest.mark.parametrize(
    ("leg", "last", "name"),
    [
        ("leg 2", "leg 4", "corner 2"),
        ("leg 4", "leg 4", "end"),
        ("leg 1", "leg 1", "end"),
        ("level 2 (120 mm/s), leg 3", "level 5 (300 mm/s), leg 4", "level 2 (120 mm/s), corner 3"),
        ("line 12", "line 90", "line 12"),
        ("line 90", "line 90", "line 90"),
    ],
)
def test_a_leg_ends_at_a_corner(leg, last, name):
    assert corner_name(leg, last) == name


def test_after_a_corner_in_a_sentence():
    assert after_corner("leg 2", "leg 4") == " after corner 2"
    assert after_corner("leg 4", "leg 4") == " at the end"
    assert after_corner(None, "leg 4") == ""
