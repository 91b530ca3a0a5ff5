"""Shapers set to "auto", from the scenario to the ringing: tuned to the model's own modes in the middle of the move."""

from __future__ import annotations

import math

import numpy as np
import pytest
from beltspring.sim.chain.chain import Outcome, prepare, simulate_scenario
from beltspring.sim.errors import ScenarioError
from beltspring.sim.model.modes import modes
from beltspring.sim.plan.build import MotionPlan
from beltspring.sim.plan.rounding import shaping_notes
from beltspring.sim.scenario.load import load_scenario, with_changes
from beltspring.sim.scenario.schema import Scenario


def shaped(
    name: str, kind: str = "zero-vibration", hertz: tuple[object, object] = ("auto", "auto"), **more: object
) -> Scenario:
    keys: dict[str, object] = {k.replace("__", "."): v for k, v in more.items()}
    for axis, frequency_hz in zip("xy", hertz, strict=True):
        keys |= {f"motion.shaper.{axis}.kind": kind, f"motion.shaper.{axis}.frequency_hz": frequency_hz}
    return with_changes(load_scenario(name), keys)


def made(outcome: Outcome) -> MotionPlan:
    assert isinstance(outcome.plan, MotionPlan)
    return outcome.plan


@pytest.mark.parametrize("name", ["desk-corexy", "moving-bed-wheels", "key-tag", "desk-corexy-slot"])
def test_auto_takes_a_mode_of_the_place_where_the_move_is(name: str) -> None:
    """The mode's own frequency and damping, and the one that moves the tool along that axis."""
    ready = prepare(shaped(name))
    assert isinstance(ready.plan, MotionPlan)
    points = np.array([p for leg in ready.plan.legs for p in (leg.start, leg.end)])
    middle = 0.5 * (points.min(axis=0) + points.max(axis=0))
    known = modes(ready.system, middle)
    for shaper, column in zip(ready.plan.shaping.made, (0, 1), strict=True):
        assert shaper.auto
        (mode,) = [m for m in known if m.frequency_hz == pytest.approx(shaper.frequency_hz, rel=1e-9)]
        assert mode.damping_ratio == pytest.approx(shaper.damping, rel=1e-9)
        # In a corner of the reach the two belts are unlike, which couples X and Y.
        assert abs(mode.tool_share[column]) > 4 * abs(mode.tool_share[1 - column])


def test_auto_follows_the_move_across_the_reach() -> None:
    """A program in the corner by X0 Y0 is shaped for the modes there, not for those of mid-reach: shorter belts, higher."""
    here = {s.axis: s for s in made_for("key-tag")}
    middle = {s.axis: s for s in made_for("desk-corexy")}
    assert here["y"].frequency_hz > 1.02 * middle["y"].frequency_hz


def made_for(name: str):
    plan = prepare(shaped(name)).plan
    assert isinstance(plan, MotionPlan)
    return plan.shaping.made


def test_auto_is_the_same_as_writing_the_numbers() -> None:
    auto = simulate_scenario(shaped("desk-corexy"))
    x, y = made(auto).shaping.made
    numbers = {"motion__shaper__x__damping": x.damping, "motion__shaper__y__damping": y.damping}
    written = simulate_scenario(shaped("desk-corexy", hertz=(x.frequency_hz, y.frequency_hz), **numbers))
    assert np.array_equal(auto.trace.tool, written.trace.tool)
    assert "Shaped for the model's own modes" in shaping_notes(made(auto))[0]
    assert f"Y (zero-vibration) for {y.frequency_hz:.1f} Hz" in shaping_notes(made(auto))[0]
    assert not any("own modes" in note for note in shaping_notes(made(written)))


@pytest.mark.parametrize("kind", ["zero-vibration", "zero-slope", "zero-curvature", "one-hump", "two-hump"])
def test_the_spring_and_mass_keeps_what_the_curve_leaves(kind: str) -> None:
    """Tuned in the middle to 79.58 Hz, the step ends where k = 108499 N/m makes it 78.15 Hz: see spring-mass.toml.

    Undamped residuals at that ratio r = 0.982 (Singer & Seering 1990; Singhose et al. 1994, from memory): ZV cos(pi r/2),
    ZVD its square, ZVDD its cube; EI and two-hump EI at most 5 %. Damping leaves a little less.
    """
    plain = simulate_scenario(load_scenario("spring-mass")).analysis.ringing["x"]
    left = simulate_scenario(shaped("spring-mass", kind)).analysis.ringing["x"]
    assert plain is not None
    assert left is not None
    zv = math.cos(0.5 * math.pi * 78.15 / 79.58)
    most = {"zero-vibration": zv, "zero-slope": zv**2, "zero-curvature": zv**3}.get(kind, 0.05)
    assert left.peak_m <= 1.05 * most * plain.peak_m + 1e-9
    if kind == "zero-vibration":
        assert left.peak_m > 0.5 * most * plain.peak_m


@pytest.mark.parametrize(
    ("name", "detail", "share"),
    [
        # The desk machine's X rings in two modes of one size, its frame's and its carriage's; one is shaped for.
        ("desk-corexy", "simple", 0.5),
        ("moving-bed-wheels", "simple", 0.25),
        ("key-tag", "simple", 0.25),
        ("desk-corexy-slot", "full", 0.2),
    ],
)
def test_a_workshop_machine_rings_much_less(name: str, detail: str, share: float) -> None:
    """Friction and further modes keep a shaper from its textbook value; it still takes most of the ringing away.

    Detent is off: it shakes the tool at every full step, whatever the command's shape.
    """
    changes = {"detail": detail, "motors.detent_nm": 0}
    designs = (load_scenario(name), shaped(name))
    plain, left = (simulate_scenario(with_changes(s, changes)).analysis.ringing for s in designs)
    for axis in "xy":
        assert plain[axis] is not None
        assert left[axis] is not None
        assert left[axis].peak_m < share * plain[axis].peak_m  # type: ignore[union-attr]
    assert left["y"].peak_m < 0.25 * plain["y"].peak_m  # type: ignore[union-attr]


def test_a_mode_too_damped_for_a_kind_says_which_to_take() -> None:
    with pytest.raises(ScenarioError, match=r"damping = 0.6.*kind one-hump .EI. .*use zero-vibration"):
        prepare(shaped("spring-mass", "one-hump", belts__damping=0.6))
    assert prepare(shaped("spring-mass", "zero-vibration", belts__damping=0.6)).plan.move_s > 0.0


def test_four_shapers_tell_what_each_leaves_and_costs() -> None:
    """The shipped comparison: off by 15 % zero-vibration leaves more, the others hardly mind but lag twice as long."""
    from beltspring.sim.study.choosing import variants_of
    from beltspring.sim.study.compare import compare
    from beltspring.sim.study.report import Report

    designs = variants_of(load_scenario("four-shapers"))
    outcomes = [simulate_scenario(d.scenario) for d in designs]
    told = compare([d.label for d in designs], [Report(o) for o in outcomes])
    peak = {
        label: max(r.peak_m for r in o.analysis.ringing.values() if r is not None)
        for label, o in zip(told.labels, outcomes, strict=True)
    }
    plain = peak["as written"]
    assert (
        max(peak[k] for k in ("zero-vibration", "zero-slope", "one-hump", "zero-slope, 15 % off", "one-hump, 15 % off"))
        < 0.1 * plain
    )
    # |cos(pi r / 2)| at r = 1 / 1.15 is 20 %; the square's belts change length on the way, so a little either side.
    assert peak["zero-vibration, 15 % off"] / plain == pytest.approx(math.cos(0.5 * math.pi / 1.15), abs=0.05)
    lag = {label: made(o).shaping.delay_s for label, o in zip(told.labels, outcomes, strict=True)}
    assert lag["zero-slope"] == pytest.approx(2 * lag["zero-vibration"], rel=0.01)
    said = " ".join(told.sentences)
    assert "Only motion.shaper differs" in said
    assert "What the shapers cost in lag and in round corners: zero-vibration: 4.5 ms and" in said
    assert "as written." in said
    assert "with as written" not in said
