"""Which speeds a design is judged at and what is said of it, what is behind a peak: on records made by hand."""

from __future__ import annotations

from types import SimpleNamespace as Made
from typing import Any

import numpy as np
import pytest
from beltspring.sim.analyse.response import ResponsePeak
from beltspring.sim.chain import heard as hearing
from beltspring.sim.chain import judged as judging
from beltspring.sim.chain.heard import answers, seen
from beltspring.sim.chain.judged import (
    Judged,
    judge_outcome,
    judge_outcomes,
    judged_words,
    loudest_hz,
    not_faded,
    paces_of,
    verdict,
)


def leg(name: str = "leg 1", end: tuple[float, ...] = (0.1, 0.0, 0.0), speed: float = 0.1, **more: Any) -> Made:
    usual = {"sweep_hz": None, "start_s": 0.0, "end_s": 1.0}
    return Made(name=name, start=(0.0, 0.0, 0.0), end=end, cruise_speed_m_s=speed, **usual | more)


def ready(legs: list[Made], slow: list[Made] | None = None, program: object = None) -> Any:
    """A design whose move has these legs; slow: those of the same move at three tenths of its speed."""
    limits = Made(speed_m_s=0.1, acceleration_m_s2=3.0)
    motion = Made(move=Made(program=program), limits=limits, plan=lambda pace=1.0: Made(legs=slow or []))
    return Made(plan=Made(legs=legs, move_s=1.0), motion=motion, system=None, machine=None)


@pytest.fixture
def two_modes(monkeypatch: pytest.MonkeyPatch) -> None:
    """One at 10 Hz that swings along Y, and one at 50 Hz that swings along X, less."""
    swings = {10.0: (0.0, 5e-6), 50.0: (2e-6, 0.0)}
    monkeypatch.setattr(judging, "middle_of", lambda plan, machine: None)
    monkeypatch.setattr(judging, "bare_modes", lambda system, place: [Made(frequency_hz=hz) for hz in swings])
    monkeypatch.setattr(judging, "swing", lambda system, mode, axis: swings[mode.frequency_hz][axis])


@pytest.mark.usefixtures("two_modes")
def test_the_loudest_mode_is_that_of_an_axis_the_move_moves():
    assert loudest_hz(ready([leg(end=(0.1, 0.0, 0.0))])) == 50.0
    assert loudest_hz(ready([leg(end=(0.1, 0.0, 0.0)), leg(end=(0.0, -0.1, 0.0))])) == 10.0
    assert loudest_hz(ready([leg(end=(0.1, 1e-12, 0.0))])) == 50.0, "what is left of rounding moves nothing"
    assert loudest_hz(ready([leg(end=(0.0, 0.0, 0.1))])) is None, "what moves in Z alone rings in neither axis"


def test_a_chirp_and_a_move_without_legs_have_no_speeds():
    assert paces_of(ready([])) is None
    assert paces_of(ready([leg(), leg(sweep_hz=(5.0, 100.0))])) is None


@pytest.mark.parametrize(("short", "corners"), [(1, False), (2, True), (3, True)])
def test_where_no_more_than_half_the_legs_reach_their_speed_corners_are_judged(monkeypatch, short, corners):
    monkeypatch.setattr(judging, "loudest_hz", lambda one: None)
    legs = [leg(f"leg {k}", speed=0.09 if k < short else 0.1) for k in range(4)]
    paces = paces_of(ready(legs, [leg(f"leg {k}", speed=0.03) for k in range(4)]))
    assert paces is not None
    assert (paces.corners, paces.speed_m_s) == (corners, 0.1)
    assert corners == (paces.factors == (1.0,))


def test_a_programs_own_speed_is_that_of_most_of_its_pieces(monkeypatch):
    monkeypatch.setattr(judging, "loudest_hz", lambda one: 50.0)
    speeds = (0.02, 0.05, 0.05, 0.06, 0.2)
    legs, slow = ([leg(f"line {k}", speed=v * by) for k, v in enumerate(speeds)] for by in (1.0, 0.3))
    paces = paces_of(ready(legs, slow, "a program"))
    assert paces is not None
    assert paces.speed_m_s == 0.05
    # a / (2 f v) = 3 / (2 50 0.05) = 0.6 of it.
    assert (paces.factors[0], paces.factors[-1]) == pytest.approx((0.4, 1.6))


@pytest.mark.parametrize(("slipping", "told"), [(2, True), (3, False)])
def test_with_more_than_half_of_the_speeds_slipping_there_is_no_verdict(slipping, told):
    peaks = np.array([(3e-6, 1e-6)] * 4)
    trials: Any = Made(
        peak_m=peaks, passages=np.array([1] * slipping + [0] * (4 - slipping)), whole=np.full(4, True),
        paces=np.array([0.8, 0.9, 1.0, 1.1]), samples=(),
    )  # fmt: skip
    found = verdict(trials, ready([leg()]), Made(corners=False, speed_m_s=0.1))
    assert found is not None
    assert (found.judged_m is not None) == told
    assert len(found.slipping_m_s) == slipping
    assert found.counted == 4 - slipping


def outcome(name: str, stopped: float | None = None, thinned: bool = False, peaks: tuple[float, ...] = ()) -> Any:
    analysis = Made(ringdowns=[Made(peak_m=p) for p in peaks], ringing={})
    return Made(name=name, trace=Made(stopped_at_s=stopped, thinned=thinned), analysis=analysis)


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[tuple[Any, Any]]:
    """What was to be judged, and at which speeds; each verdict is the design's name."""
    said: list[tuple[Any, Any]] = []

    def judge(designs: list[Any], paces: Any = None, executor: Any = None) -> list[Any]:
        said.append((designs, paces))
        return [f"judged {one}" for one in designs]

    monkeypatch.setattr(judging, "judge_ringing", judge)
    monkeypatch.setattr(judging, "ready_of", lambda one: one.name)
    monkeypatch.setattr(judging, "paces_of", lambda one: f"speeds of {one}")
    return said


def test_designs_are_judged_at_the_firsts_shares_and_one_that_did_not_end_is_not(asked):
    assert judge_outcomes([outcome("a"), outcome("b", stopped=0.3), outcome("c")]) == ["judged a", None, "judged c"]
    assert asked == [(["a", "c"], "speeds of a")]


def test_one_design_is_judged_at_its_own_speeds(asked):
    assert judge_outcomes([outcome("a")]) == ["judged a"]
    assert asked == [(["a"], None)]
    assert judge_outcome(outcome("a", stopped=0.3)) is None


def test_of_long_runs_the_worst_corners_are_the_sample(asked):
    """3 and 4 um: their root mean square is sqrt(12.5) um."""
    both = judge_outcomes([outcome("a", thinned=True, peaks=(3e-6, 4e-6)), outcome("b")])
    assert both[0] is not None
    assert both[0].judged_m == pytest.approx(np.sqrt(12.5) * 1e-6)
    assert both[0].by_corners
    assert both[1] == "judged b"
    assert asked == [(["b"], None)], "each by itself"


def ringing(peak_m: float = 20e-6, hz: float | None = 50.0, fades_s: float | None = 0.1) -> Made:
    return Made(axis="x", peak_m=peak_m, frequency_hz=hz, fades_to_5_percent_s=fades_s, watched_s=0.7)


@pytest.mark.parametrize(
    ("found", "lasting"),
    [
        (ringing(fades_s=0.49), False), (ringing(fades_s=0.5), False), (ringing(fades_s=0.51), True),
        (ringing(fades_s=None), True),  # watched for 0.7 s, and still there
        (ringing(hz=None, fades_s=0.9), False), (None, False),
    ],
)  # fmt: skip
def test_corners_add_up_where_what_rings_lasts_longer_than_the_shortest_leg(found, lasting):
    plan: Any = Made(legs=[leg(end_s=0.9), leg(start_s=1.0, end_s=1.5)])
    assert not_faded({"x": found, "y": ringing(fades_s=0.0)}, plan) is lasting
    assert not_faded({"x": found}, Made(legs=[])) is False


def words(one: Judged, thinned: bool = False, fades_s: float = 0.1) -> str:
    run: Any = Made(
        analysis=Made(ringing={"x": ringing(fades_s=fades_s)}), plan=Made(legs=[leg(speed=0.1)]),
        trace=Made(thinned=thinned), scenario=Made(file=Made(move=Made(gcode="a.gcode"))),
    )  # fmt: skip
    return judged_words(one, run)


def test_what_is_said_of_speeds_left_out_and_of_corners_that_add_up():
    peaks = np.zeros(0)
    few = Judged(30e-6, 10e-6, 64e-6, 0.1, (0.09, 0.12), (0.08, 0.1234), 11, peaks)
    assert words(few) == (
        "Ringing: 20 µm at 100 mm/s; 10 to 64 µm at speeds around it, 90 to 120 mm/s; judged 30 µm, their root mean"
        " square; left out, because a motor slips there: 80, 123 mm/s."
    )
    assert words(few, fades_s=1.1).endswith("; the corner before has not faded.")
    none = Judged(None, None, None, None, None, tuple(0.01 * k for k in range(7)), 6, peaks)
    assert words(none) == "Not judged: at 7 of 13 speeds around this one a motor slips."
    corners = Judged(30e-6, 10e-6, 64e-6, None, None, (), 9, peaks)
    assert words(corners, thinned=True) == (
        "Ringing: 20 µm at its worst corner; 10 to 64 µm at its worst corners; judged 30 µm, their root mean square."
    )


def chirped(monkeypatch: pytest.MonkeyPatch, peaks: list[float], swings: dict[float, float]) -> list[Any]:
    """The modes found for the peaks of a chirp along Y: frequency and how far each off. swings: by frequency of a mode."""
    monkeypatch.setattr(hearing, "swing", lambda system, mode, axis: swings[mode.frequency_hz] if axis == 1 else 0.0)
    response = Made(axis="y", peaks=tuple(ResponsePeak(hz, 1e-6) for hz in peaks))
    run: Any = Made(analysis=Made(responses=(response,)), system=None, modes=[Made(frequency_hz=hz) for hz in swings])
    return [(a.mode and a.mode.frequency_hz, a.off) for a in answers(run)]


def test_a_peak_is_of_the_mode_nearest_by_ratio_if_that_is_within_a_quarter(monkeypatch):
    # 60 : 50 is 1.2, 71 : 60 is 1.18, though 50 is nearer by a hertz.
    assert chirped(monkeypatch, [60.0], {50.0: 1.0, 71.0: 1.0}) == [(71.0, pytest.approx(60 / 71 - 1))]
    assert chirped(monkeypatch, [124.0, 126.5], {100.0: 1.0}) == [(100.0, pytest.approx(0.24)), (None, None)]
    assert chirped(monkeypatch, [76.0, 73.5], {100.0: 1.0}) == [(100.0, pytest.approx(-0.24)), (None, None)]
    assert chirped(monkeypatch, [60.0], {}) == [(None, None)]


@pytest.mark.parametrize(("share", "mode"), [(0.021, 60.0), (0.019, 50.0)])
def test_a_mode_that_hardly_swings_the_tool_explains_no_peak(monkeypatch, share, mode):
    """From a fiftieth of the largest swing on it does."""
    ((found, _),) = chirped(monkeypatch, [58.0], {50.0: 1.0, 60.0: share})
    assert found == mode


def test_no_peaks_without_a_chirp():
    assert answers(Made(analysis=Made(responses=()))) == []


def test_what_was_seen_of_a_mode_is_told_by_its_shape_and_not_by_its_place():
    shapes = np.eye(3)
    here = [Made(frequency_hz=hz, shape=shape) for hz, shape in zip((40.0, 50.0, 90.0), shapes, strict=True)]

    def tone(hz: float, mode_hz: float, which: int | None, sign: float = 1.0) -> Made:
        mode = None if which is None else Made(frequency_hz=mode_hz, shape=sign * shapes[which])
        return Made(frequency_hz=hz, mode=mode)

    behind = {
        "x": (tone(50.2, 50.0, 1), tone(50.1, 50.0, 1, -1.0), tone(99.0, 99.0, 2), tone(20.0, 0.0, None)),
        "y": (tone(40.1, 40.0, 0),),
    }
    run: Any = Made(analysis=Made(behind=behind), system=Made(mass=np.diag([2.0, 1.0, 1.0])), modes=here)
    found = {k: [(one.words, one.why) for one in told] for k, told in seen(run).items()}
    assert found == {
        1: [("X 50.1 Hz", "")],
        2: [("X 99 Hz", "where it rings the mode is at 99 Hz")],
        0: [("Y 40.1 Hz", "")],
    }
