"""Orders that judged ringing must keep whatever the speed, the detail and a tenth of size are; and what is left at best."""

from __future__ import annotations

import numpy as np
import pytest
from beltspring.sim.chain.batch import judge
from beltspring.sim.chain.chain import prepare
from beltspring.sim.chain.judged import Judged, judge_ringing
from beltspring.sim.model.system import System
from beltspring.sim.scenario.load import load_scenario, with_changes, with_variant
from beltspring.sim.scenario.schema import Scenario

BELTS = ("belt-2mm-6-steel", "belt-2mm-9-glass", "belt-2mm-6-glass")


def judged(scenarios: list[Scenario]) -> list[float]:
    found: list[Judged | None] = judge_ringing([prepare(s) for s in scenarios])
    assert all(j is not None and j.judged_m is not None for j in found)
    return [1e6 * j.judged_m for j in found]  # type: ignore[union-attr, operator, misc]


# A sample of forty: asked speeds from 100 to 200 mm/s by tenths of the way, both accelerations, both details. All forty
# kept the order when they were last counted by hand.
@pytest.mark.parametrize("acceleration", [5000, 10000])
@pytest.mark.parametrize(
    ("detail", "speed"),
    [("simple", 100), ("simple", 133.3), ("simple", 155.6), ("simple", 200), ("full", 122.2), ("full", 177.8)],
)
def test_belts_keep_their_order_at_every_speed(detail: str, speed: float, acceleration: int) -> None:
    """Stiffness by the catalogue: steel cord of 6 mm above glass of 9 mm above glass of 6 mm; what is stiffer rings less."""
    here = load_scenario(
        "desk-corexy", [f"detail={detail}", f"motion.speed_mm_s={speed}", f"motion.acceleration_mm_s2={acceleration}"]
    )
    steel, wide, narrow = judged([with_changes(here, {"belts.part": part}) for part in BELTS])
    assert steel < wide < narrow


@pytest.mark.parametrize("share", [0.95, 1.0, 1.05])
def test_profiles_keep_their_order_at_every_size(share: float) -> None:
    """A tenth of size: I of 2020, 2040 and 4040 rises in this order along either axis, and with it the frame's stiffness."""
    here = load_scenario(
        "desk-corexy-slot", [f"frame.{side}_mm={400 * share:.0f}" for side in ("width", "depth", "height")]
    )
    thin, flat, thick = judged([with_changes(here, {"frame.part": p}) for p in ("slot-2020", "slot-2040", "slot-4040")])
    assert thin > flat > thick


def test_what_is_damped_rings_less() -> None:
    here = load_scenario("spring-mass")
    damped, free = judged([here, with_variant(here, "no damping")])
    assert damped < 0.7 * free


KINDS = ("zero-vibration", "zero-slope", "zero-curvature")


def shaped(kind: str, x: object, y: object, **changes: object) -> Scenario:
    settings = {
        f"motion.shaper.{axis}.{key}": value
        for axis, hertz in (("x", x), ("y", y))
        for key, value in (("kind", kind), ("frequency_hz", hertz))
    }
    return (
        load_scenario("four-shapers") if not kind else with_changes(load_scenario("four-shapers"), settings | changes)
    )


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("axis", ["x", "y"])
def test_a_tuned_shaper_beats_one_15_percent_too_high(kind: str, axis: str) -> None:
    """On one axis, where nothing but what rings is left: all that a shaper is made for."""
    step = {"move.pattern": "step", "move.axis": axis}
    tuned, off = judged([shaped(kind, "auto", "auto", **step), shaped(kind, 85.4, 62.8, **step)])
    assert tuned < 0.4 * off


@pytest.mark.parametrize("kind", KINDS[:2])
def test_it_does_on_a_square_too(kind: str) -> None:
    tuned, off = judged([shaped(kind, "auto", "auto"), shaped(kind, 85.4, 62.8)])
    assert tuned < off


def test_what_a_good_shaper_leaves_on_a_square_does_not_ring() -> None:
    """Off its middle a CoreXY's belts are unlike in length: while Y speeds up, X is pulled aside, and no shaper takes that away.

    By statics of the model, without the loop: r_x K^-1 (M t_y) a, K and M at the corner where X rests, t_y the way of all
    bodies per way of the tool in Y. It is what zero-curvature shapers, the tuned and the detuned ones, leave most of.
    """
    # Acceleration that sets in over 50 ms, to sqrt(v j) = 3 m/s2 in the end: by statics, but for a tenth that the mean of
    # the stand-still sees of it. One that sets in at once swings past that, and no push more than twice as far (any text on
    # vibrations).
    for changes, acceleration, least, most in (({"motion.jerk_mm_s3": 60_000}, 3.0, 0.87, 1.13), ({}, 5.0, 0.87, 2.0)):
        ready = prepare(shaped("zero-curvature", "auto", "auto", **changes))
        (trials,) = judge([ready])
        found = trials.samples[0]
        resting = [(s.leg.end, peak) for s, peak in zip(found.spots, found.peaks_m, strict=True) if s.axis == 0]
        assert len(resting) == 2
        for (x, _, _), peak in resting:
            # While X rests there Y goes from one end of its side to the other, and speeds up or slows down at both.
            give = max(abs(give_m(ready.system, (x, y), acceleration)) for y in (0.08, 0.14))
            assert give > 1.5e-6
            assert least * give < peak < most * give


def give_m(system: System, at: tuple[float, float], acceleration: float) -> float:
    """How far X is pulled aside by an acceleration along Y, m."""
    stiffness = system.linear_stiffness(system.rest(np.array([*at, 0.1])))
    pushed = system.mass @ (system.travel[:, 1] + system.command_inertia @ system.motor_travel[:, 1])
    return float(system.tool_rows[0] @ np.linalg.solve(stiffness, pushed)) * acceleration


def test_auto_takes_a_machine_without_damping() -> None:
    """The damping of an undamped mode comes out as dust on either side of zero."""
    ready = prepare(shaped("zero-curvature", "auto", "auto", **{"belts.damping": 0, "motors.damping": 0}))
    assert all(spec.damping == pytest.approx(0, abs=1e-9) for spec in ready.motion.shapers.values())
