"""Single rules by hand, each asked alone: what is told is what was written, or what one formula gives."""

from __future__ import annotations

import math
import re

import pytest

from tests.check.test_rules import FAILING, SLOT
from tests.check.test_words import judged, numbers


@pytest.mark.parametrize("mm", [12.0, 15.0])
def test_smooth_idlers_are_told_by_their_own_diameter(subject, mm):
    found = judged("smooth-under-teeth", subject({"idlers.at_teeth": "smooth", "idlers.smooth_diameter_mm": mm}))
    assert found
    for one in found:
        assert one.value == pytest.approx(mm)
        assert one.limit == pytest.approx(40 * 2 / math.pi)  # of forty teeth of 2 mm


def test_belts_without_tension_have_no_note(subject):
    found = judged("belt-tune", subject({"belts.pretension_n": 0.5}))
    assert {(f.severity, f.where, f.value, f.limit) for f in found} == {
        ("warn", "belt a", 0.5, 1.0), ("warn", "belt b", 0.5, 1.0),
    }  # fmt: skip


def test_corners_that_give_more_than_half_are_told(subject):
    found = judged("joint-weak", subject(SLOT))
    assert found
    for one in found:
        assert one.limit == 0.5
        assert 0.5 < one.value < 1
        assert numbers(one.words)[0] == pytest.approx(100 * one.value, abs=0.5)


def test_a_mode_below_20_hz_is_told_to_the_hertz(subject):
    (found,) = judged("lowest-mode", subject({"frame.stiffness_x_n_per_mm": 5}))
    assert (found.severity, found.limit) == ("warn", 20.0)
    assert found.value < 20


def test_skew_is_told_in_micrometres_everywhere(subject):
    for one in judged("skew", subject({"belts.carriage_raise_mm": 1})):
        assert one.limit == pytest.approx(10.0)
        assert numbers(one.words)[0] == pytest.approx(one.value, abs=0.5)


def test_a_carriage_pitches_by_its_lever(subject):
    """320 g at 5 m/s2 pulled 55 mm above its mass centre, on a guide of 5 N m/rad, the nozzle 45 mm below."""
    changes, *_ = FAILING["carriage-pitch"]
    (found,) = judged("carriage-pitch", subject(changes))
    assert found.value == pytest.approx(0.320 * 5 * 0.055 / 5 * 45e3)
    assert numbers(found.words)[0] == 55
    assert numbers(found.words)[1] == pytest.approx(1e6 * 0.320 * 5 * 0.055 / 5, abs=0.5)
    assert numbers(found.words)[2] == pytest.approx(found.value, abs=0.5)


def test_a_print_tips_a_bed_by_its_weight(subject):
    """In proportion: springs and beams are linear."""
    light, heavy = (judged("bed-tilt", subject({"bed.print_g": grams}))[0] for grams in (2000, 4000))
    assert heavy.value == pytest.approx(2 * light.value, rel=1e-6)
    for one, grams in ((light, 2000), (heavy, 4000)):
        assert numbers(one.words) == [grams, pytest.approx(one.value, abs=0.5)]
        assert one.limit == pytest.approx(50)


def test_only_a_bed_on_mains_is_told(subject):
    assert judged("bed-heater", subject()) == []
    (found,) = judged("bed-heater", subject({"bed.heater": "mains"}))
    assert "licensed" in found.change


def test_the_softest_way_of_a_tool_on_arms_is_told_in_newtons_per_millimetre(subject):
    (found,) = judged("arm-stiffness", subject({}, "small-delta"))
    assert found.limit == pytest.approx(10.0)
    told = re.search(r"has ([\d.]+) N/mm", found.words)
    assert told
    assert float(told[1]) == pytest.approx(found.value, abs=0.05)


def test_play_is_told_by_the_standards_own_number(subject):
    """8 mm shafts of h9 are up to 36 um under size (ISO 286-2, published); h7 leaves 15."""
    (found,) = judged("shaft-fit", subject({"bed.shaft": "h9"}))
    assert (found.value, found.limit) == (pytest.approx(36), pytest.approx(15))
    assert numbers(found.words)[:5] == [9, 8, 36, 27, 36]


def test_a_pulley_is_to_bend_the_cord_by_so_many_teeth(subject):
    for teeth, least in ((10, 12), (14, 16)):
        found = [f for f in judged("pulley-diameter", subject({"motors.pulley_teeth": teeth})) if "motor" in f.where]
        assert found
        for one in found:
            assert one.value == pytest.approx(2 * teeth / math.pi)
            assert one.limit == pytest.approx(2 * least / math.pi)
            assert f"take {least} teeth or more" in one.change


def test_a_frame_sways_by_force_over_stiffness(subject):
    (found,) = judged("frame-sway", subject({"frame.stiffness_x_n_per_mm": 50}))
    force, stiffness, micrometres = numbers(found.words)
    assert stiffness == pytest.approx(50, rel=0.1)
    assert found.value == pytest.approx(1e3 * force / stiffness, rel=0.05)
    assert found.value == pytest.approx(micrometres, abs=0.5)
    assert found.limit == pytest.approx(20.0)
