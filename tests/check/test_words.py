"""What findings say, by hand: lists of ways on, X and Y told at once, and numbers in words and in advice."""

from __future__ import annotations

import itertools
import math
import re
from dataclasses import replace

import numpy as np
import pytest
from beltspring.sim.check.check import RULES, both_axes
from beltspring.sim.check.clearance import Nearest
from beltspring.sim.check.drives import resonant_speeds
from beltspring.sim.check.finding import Finding
from beltspring.sim.check.frame import joints_share, tipping_moment
from beltspring.sim.check.rubbing import RULES as RUBBING
from beltspring.sim.check.solids import Convex, box_points
from beltspring.sim.check.tension import shaft_pull
from beltspring.sim.check.ways import listed
from beltspring.sim.machine.routing import Arc

from tests.check.test_rules import SLOT


def judged(rule, subject):
    return next(r for r in RULES if r.name == rule).judge(subject)


def numbers(words):
    return [float(n) for n in re.findall(r"\d+(?:\.\d+)?", words)]


def test_ways_on_are_listed_as_one_says_them():
    assert listed(["a"]) == "a"
    assert listed(["a", "b"]) == "a or b"
    assert listed(["a", "b", "c"]) == "a, b or c"


def along(axis, change="do this", severity="warn", amount="3"):
    return Finding("r", severity, f"frame along {axis}", 3.0, 2.0, "um", "b", change, f"{amount} um along {axis}")


def test_what_is_said_of_x_and_of_y_alike_is_said_once():
    (one,) = both_axes([along("X"), along("Y")])
    assert (one.words, one.where, one.change) == ("3 um along X and along Y", "frame along X and Y", "do this")
    (other,) = both_axes([along("X", "this"), along("Y", "that")])
    assert other.change == "along X: this; along Y: that"
    for y in (along("Y", severity="stop"), along("Y", amount="4")):
        assert both_axes([along("X"), y]) == [along("X"), y]


def test_a_bed_on_one_drive_hangs_by_its_arms_and_its_guide_together(subject):
    (found,) = judged("bed-sag", subject({"bed.mass_g": 6000}))
    grams, whole, deep, arms, guide = numbers(found.words)
    assert (grams, deep) == (6000, 200)
    assert arms + guide == pytest.approx(whole, abs=1.5)
    (two,) = judged("bed-sag", subject({"bed.mass_g": 30000, "bed.z_drives": 2}))
    wide, grams, whole, arms, guide = numbers(two.words)
    assert (wide, grams) == (200, 30000)
    assert two.value == pytest.approx(whole, abs=0.5)
    assert arms + guide == pytest.approx(whole, abs=1.5)


def test_one_drive_lifts_a_bed_of_250_mm_and_a_stiff_larger_one_does_not_hang(subject):
    frame = {"frame.width_mm": 460, "frame.depth_mm": 460, "bed.arms": "slot-2040"}
    assert judged("z-drives", subject({**frame, "space.x_mm": 230, "space.y_mm": 230})) == []
    (found,) = judged("z-drives", subject({**frame, "space.x_mm": 260, "space.y_mm": 260}))
    assert found.severity == "warn"
    assert "hangs" not in found.words


def test_a_bed_may_weigh_less_where_its_motor_has_left_its_torque_behind(subject):
    """2 mm belt on 20 teeth: far above the supply's corner the motor pushes less, and what it may shake is less."""
    slow, fast = (
        judged("bed-mass", subject({"motion.speed_mm_s": v, "motors.supply_v": 12}, "moving-bed-wheels"))[0].limit
        for v in (50, 900)
    )
    assert fast < 0.7 * slow


def test_teeth_asked_for_more_than_they_carry_stop_a_design(subject):
    """Five teeth carry 0.8 of 26.4 N (a fifth less for each one missing): a motor that pulls more than that is too much."""
    heavy = {
        "motors.pulley_teeth": 10, "detail": "simple", "carriage.mass_g": 1500, "motion.acceleration_mm_s2": 20000,
        "belts.pretension_n": 60,
    }  # fmt: skip
    told = judged("teeth-in-mesh", subject(heavy))
    assert len(told) == 2
    for found in told:
        teeth, carries, asked = numbers(found.words)
        assert (teeth, carries) == (5, 21)
        assert asked > carries
        assert found.severity == "stop"
    (light, _) = judged("teeth-in-mesh", subject({"motors.pulley_teeth": 10, "detail": "simple"}))
    assert light.severity == "warn"


def test_full_steps_of_a_20_tooth_pulley_move_the_belt_by_a_fifth_of_a_millimetre(subject):
    made = subject()
    motor = made.machine.motors[0]
    for speed, hz in resonant_speeds(made, motor):
        assert speed == pytest.approx(hz * 40e-3 / 200)
    mm_s = round(1e3 * resonant_speeds(made, motor)[-1][0])
    found = judged("resonance-speed", subject({"motion.speed_mm_s": mm_s}))
    assert found
    for one in found:
        cruise, hz, _ = numbers(one.words)
        assert one.value == pytest.approx(cruise, abs=0.5)
        assert one.limit == pytest.approx(0.2 * hz, abs=0.11)
        assert abs(one.value / one.limit - 1) <= 0.1


def test_rotors_that_turn_alike_in_two_directions_have_one_speed_each(subject):
    """Three rotors about an upright axis of threefold symmetry: modes come in pairs, and each pair is told once."""
    made = subject({}, "small-delta")
    for motor in made.machine.motors:
        found = [hz for _, hz in resonant_speeds(made, motor)]
        assert len(found) >= 2
        assert all(abs(a / b - 1) > 1e-4 for a, b in itertools.combinations(found, 2))


def test_ideal_motors_have_all_the_torque_there_is(subject):
    made = subject({"motors.part": "ideal", "detail": "simple"})
    for rule in ("torque-margin", "supply-corner", "lost-steps", "resonance-speed", "shaft-load"):
        assert judged(rule, made) == []


def test_nothing_tips_a_machine_in_which_nothing_slides(subject):
    still = subject({}, "moving-bed-wheels")
    bodies = tuple(replace(b, slide=None) for b in still.machine.bodies)
    still.machine = replace(still.machine, bodies=bodies)
    assert tipping_moment(still, 0) == 0.0


def test_the_corners_share_of_the_sway_is_what_firm_corners_save(subject):
    """By what is told: the share a is 1 - k_soft / k_firm, between nothing and all; plates leave less of it."""
    soft, plates = (joints_share(subject({**SLOT, "frame.joints": joint}), 0) for joint in ("bracket", "plates"))
    assert 0 < plates < soft < 1


def near(gap_mm, subject):
    """A belt's span and a box that far above it."""
    belt = subject.machine.belts[0]
    span = Convex("belt a's span", "span", box_points(np.zeros(3), np.array([0.1, 0.001, 0.006])), belt.name)
    over = Convex("a box", "shape", box_points(np.zeros(3), np.array([0.1, 0.1, 0.006])))
    over = over.shifted(np.array([0.0, 0.0, 0.006 + 1e-3 * gap_mm]))
    return Nearest(
        span, over, 1e-3 * gap_mm if gap_mm > 0 else 0.0, 1e-3 * abs(min(gap_mm, 0.0)), np.zeros(3), np.zeros(3)
    )


@pytest.mark.parametrize(
    ("gaps", "severity", "value", "words"),
    [
        ((0.8,), "warn", 0.8, "passes a box at 0.80 mm"),
        ((0.2,), "stop", 0.2, "passes a box at 0.20 mm"),
        ((0.0,), "stop", 0.0, "just touches a box"),
        ((-0.5,), "stop", -0.5, "rubs on a box: they overlap by 0.50 mm"),
        ((0.8, 0.9), "warn", 0.8, "so does 1 more of its spans"),
        ((0.8, 0.9, 0.9), "warn", 0.8, "so do 2 more of its spans"),
    ],
)
def test_belts_that_come_near_are_told_by_how_near(subject, gaps, severity, value, words):
    made = subject()
    made.__dict__["nearest"] = [near(gap, made) for gap in gaps]
    (found,) = RUBBING[0].judge(made)
    assert (found.severity, found.value) == (severity, pytest.approx(value))
    assert words in found.words
    assert math.copysign(1, found.value) == (1 if value >= 0 else -1), "no zero below nothing"
    # 1 mm is wanted, in halves of a millimetre: the belts have to rise so much from 16 mm above the guide.
    missing = math.ceil(2 * (1 - value)) / 2
    assert found.change == f"lift the belts by {missing:g} mm: carriage.belt_above_guide_mm = {16 + missing:g}"


def test_a_belt_near_another_belts_wheel_is_told_to_cross_it_higher(subject):
    made = subject()
    close = near(0.8, made)
    wheel = next(w.wheel for w in made.machine.belts[1].wraps)
    made.__dict__["nearest"] = [replace(close, second=replace(close.second, kind="wheel", name=wheel))]
    (found,) = RUBBING[0].judge(made)
    gap_mm = 1e3 * made.design.level_gap_m
    up = math.ceil(2 * (gap_mm + 0.2)) / 2
    assert found.change == f"set the idlers' levels further apart: belts.level_gap_mm = {up:g} (now {gap_mm:g})"


def test_a_guide_that_no_motor_can_move_is_told_however_weak_the_motor(subject):
    """0.01 N m at 1.7 A rated: 50 mA push the tool with less than a newton, and any guide rubs with more."""
    weak = {"motors.current_a": 0.05, "motors.holding_torque_nm": 0.01, "detail": "simple"}
    found = judged("guide-preload", subject(weak))
    assert found
    assert all(f.value > 1 for f in found)


def test_crossed_belts_are_set_apart_from_where_they_are(report):
    found = next(
        f for f in report({"belts.level_gap_mm": 1, "belts.carriage_raise_mm": 8}).findings if f.rule == "belt-rub"
    )
    # 0.55 mm deep with 1 mm between the levels, and 1 mm wanted: 2.55 mm, in halves 3.
    assert "belts.level_gap_mm = 3 (now 1)" in found.change
    assert "belts.carriage_raise_mm = 0 (now 8)" in found.change


def test_a_belt_pulls_on_a_wheel_by_what_it_turns_there(subject):
    """Statics: two strands of tension T that enclose a wrap w pull with 2 T sin(w / 2)."""
    made = subject()
    for belt in made.machine.belts:
        arcs = [piece for piece in made.path(belt).pieces if isinstance(piece, Arc)]
        for arc in arcs:
            expected = 2 * belt.spec.pretension_n * math.sin(abs(arc.sweep_rad) / 2)
            assert shaft_pull(made, belt, arc.wheel) == pytest.approx(expected)


def test_tension_is_asked_for_by_what_the_move_takes_off(report):
    """Taut all the time: a fifth more than the largest fall, to the next newton; slack for less than the move lasts."""
    hard = {"motion.acceleration_mm_s2": 20000}
    taut = next(f for f in report(hard).findings if f.rule == "pretension-slack" and f.severity == "warn")
    rest, low = numbers(taut.words)
    assert taut.limit == pytest.approx(1.2 * (rest - low), abs=0.07)
    assert f"belts.pretension_n = {math.ceil(taut.limit)} or more" in taut.change
    slack = next(f for f in report({"belts.pretension_n": 2}).findings if f.rule == "pretension-slack")
    rest, ms = numbers(slack.words)
    assert rest == 2
    assert 1 < ms < 5000


def test_a_spans_note_is_a_strings(report):
    """f = sqrt(T / m) / 2 l with what is told: 7.2 g/m for a 6 mm belt (handbook value, from memory)."""
    told = [f for f in report().findings if f.rule == "belt-tune"]
    assert len(told) > 6
    for one in told:
        length, hz, newton = numbers(one.words)
        assert newton == 15
        assert length > 60
        assert hz == pytest.approx(math.sqrt(newton / 7.2e-3) / (2e-3 * length), rel=0.01)
        assert numbers(one.change) == [hz]


def test_a_shafts_load_is_told_with_the_place_it_is_rated_at(report):
    found = next(f for f in report({"belts.pretension_n": 25}).findings if f.rule == "shaft-load")
    assert found.basis.endswith("28 N at 20 mm from the face, the same moment elsewhere")


def test_rails_are_to_be_shimmed_to_what_a_catalogue_allows(report):
    """289.46 mm apart: 0.00015 of it preloaded, 0.00025 without."""
    measured = next(
        f for f in report({"gantry.guide": "rail-9", "gantry.mismatch_um": 60}).findings if f.rule == "rail-parallel"
    )
    assert numbers(measured.change) == [43, 72]
    assert numbers(measured.words) == [289, 43, 60]
    unmeasured = next(f for f in report({"gantry.guide": "rail-9"}).findings if f.rule == "rail-parallel")
    assert numbers(unmeasured.change) == [43, 72]
    assert unmeasured.limit == pytest.approx(0.15 * 289.4647908947033)


def test_teeth_on_the_back_are_told_of_each_wheel(subject):
    turned = subject()
    flip = {"left": "right", "right": "left"}
    belts = tuple(replace(b, teeth_on=flip[b.teeth_on]) for b in turned.machine.belts)
    turned.machine = replace(turned.machine, belts=belts)
    found = judged("teeth-on-back", turned)
    assert {f.severity for f in found} == {"stop", "warn"}
    for one in found:
        pulley = "motor" in one.where
        assert one.severity == ("stop" if pulley else "warn")
        assert ("a pulley cannot drive it there" in one.words) == pulley
