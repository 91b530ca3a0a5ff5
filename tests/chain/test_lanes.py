"""Eight machines at once say what each says by itself, whoever goes with it."""

from __future__ import annotations

import threading
from concurrent.futures import CancelledError
from typing import Any

import numpy as np
import pytest
from beltspring.sim.chain.batch import Feeds, Rig, judge, rig_of
from beltspring.sim.chain.chain import prepare
from beltspring.sim.scenario.load import load_scenario, with_changes
from beltspring.sim.simulate.feed import run_over
from beltspring.sim.simulate.lanes import run_over_lanes

from tests.support import without_friction, workshop

SHORT: dict[str, Any] = {"move.size_mm": 15, "move.settle_ms": 60}


def rigs(layout: str, detail: str, changes: list[dict[str, Any]]) -> list[Rig]:
    base = with_changes(workshop(layout, SHORT), {"detail": detail})
    return [rig_of(prepare(with_changes(base, change) if change else base)) for change in changes]


SOFTER: list[dict[str, Any]] = [
    {"belts.ea_n": ea, "carriage.friction_n": 0.5 + ea / 20000} for ea in (9000, 15000, 24000)
]
CASES: dict[str, tuple[str, str, list[dict[str, Any]]]] = {
    "full": ("corexy", "full", SOFTER),
    "simple": ("corexy", "simple", SOFTER),
    "ideal motors": ("moving-bed", "simple", [one | {"motors.part": "ideal"} for one in SOFTER]),
    "a rigid frame and ideal motors": (
        "moving-bed", "simple", [one | {"motors.part": "ideal", "frame.part": "rigid"} for one in SOFTER],
    ),
    "slack belts": ("hframe", "simple", [one | {"belts.pretension_n": 2, "motors.detent_nm": 0} for one in SOFTER]),
    "no friction": ("corexy", "simple", [{**without_friction("corexy"), "belts.ea_n": ea} for ea in (9000, 24000)]),
    "motors that differ": ("corexy", "simple", [{"motors.current_a": a} for a in (0.7, 1.0, 1.3)]),
    "arms": ("delta", "simple", [{"belts.ea_n": ea} for ea in (9000, 24000)]),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_a_lane_says_what_the_machine_says_by_itself(case: str) -> None:
    # Bits may differ by the order of sums: nanometres may not.
    made = rigs(*CASES[case])
    feed = Feeds().of(made[0], 1.0).feed
    assert len({one.lane.text for one in made}) == 1
    together = list(run_over_lanes(feed, [(one.system, one.start, one.lane) for one in made]))
    for one, seen in zip(made, together, strict=True):
        alone = run_over(feed, one.system, one.start, one.loop)
        n = one.system.n
        assert seen.out.shape == alone.out.shape
        assert np.abs(seen.out[:, :n] - alone.out[:, :n]).max() < 1e-9
        assert np.abs(seen.low - alone.low).max() < 1e-6  # places in m, tensions in N, torques in N m
        assert np.abs(seen.high - alone.high).max() < 1e-6
        assert np.abs(seen.low[:, :6] - alone.low[:, :6]).max() < 1e-9
        assert seen.slack == pytest.approx(alone.slack, abs=2 * one.step_s)
        assert np.array_equal(seen.turns, alone.turns)
        assert seen.stopped_s is None
    if case == "slack belts":
        assert max(seen.slack.max() for seen in together) > 0
    # What differs between the machines differs between the lanes.
    assert np.abs(together[0].high - together[1].high).max() > 1e-6


def test_it_does_not_matter_who_goes_along() -> None:
    made = rigs("corexy", "simple", [{"belts.ea_n": 9000 + 1000 * i} for i in range(11)])
    whole = judge(made, [0.9, 1.1], lanes=True)
    alone = judge(made[9:10], [0.9, 1.1], lanes=True)
    turned = judge(made[::-1], [1.1, 0.9], lanes=True)[::-1]
    assert np.array_equal(whole[9].peak_m, alone[0].peak_m)
    for one, other in zip(whole, turned, strict=True):
        assert np.array_equal(one.peak_m, other.peak_m[::-1])
    single = judge(made, [0.9, 1.1])
    assert np.abs(np.array([t.peak_m for t in whole]) - np.array([t.peak_m for t in single])).max() < 1e-9


def test_machines_of_several_topologies_each_go_with_their_own() -> None:
    changes: list[dict[str, Any]] = [
        {},
        {"frame.part": "rigid"},
        {"belts.ea_n": 12000},
        {"frame.part": "rigid", "belts.ea_n": 9000},
    ]
    made = rigs("corexy", "simple", changes)
    together, single = judge(made, lanes=True), judge(made)
    for one, other in zip(together, single, strict=True):
        assert one.peak_m == pytest.approx(other.peak_m, abs=1e-9)


def test_lost_steps_are_counted_in_their_lane() -> None:
    weak = {"motors.current_a": 0.3, "motion.acceleration_mm_s2": 12000, "motion.speed_mm_s": 150}
    base = with_changes(workshop("corexy", SHORT), {k: v for k, v in weak.items() if k.startswith("motion")})
    made = [rig_of(prepare(with_changes(base, {"motors.current_a": a}))) for a in (0.3, 1.2)]
    lost, kept = judge(made, lanes=True)
    assert lost.passages[0] > 10
    assert kept.passages[0] == 0
    assert kept.peak_m == pytest.approx(judge(made[1:])[0].peak_m, abs=1e-9)


def test_a_lane_that_grows_without_bound_leaves_the_others_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    made = rigs("corexy", "simple", [{}, {"belts.ea_n": 12000}])
    feed = Feeds().of(made[0], 1.0).feed
    thrown = np.full_like(made[1].start, 1e9)
    good, bad = run_over_lanes(
        feed, [(made[0].system, made[0].start, made[0].lane), (made[1].system, thrown, made[1].lane)]
    )
    assert bad.stopped_s is not None
    assert good.stopped_s is None
    (alone,) = run_over_lanes(feed, [(made[0].system, made[0].start, made[0].lane)])
    assert np.array_equal(good.out, alone.out)
    assert np.array_equal(good.high, alone.high)


def test_machines_of_few_coordinates_go_too() -> None:
    base = load_scenario("spring-mass")
    made = [rig_of(prepare(with_changes(base, {"belts.ea_n": ea}))) for ea in (9000, 15000)]
    for one, other in zip(judge(made, lanes=True), judge(made), strict=True):
        assert one.peak_m == pytest.approx(other.peak_m, abs=1e-9)


def test_what_is_given_up_ends() -> None:
    (one,) = rigs("corexy", "simple", [{}])
    up = threading.Event()
    up.set()
    with pytest.raises(CancelledError):
        run_over_lanes(Feeds().of(one, 1.0).feed, [(one.system, one.start, one.lane)], up)
