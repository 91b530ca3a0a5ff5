"""What is told of a run, on records made by hand: what sounds, which peaks have a name, which speeds count, what a job takes."""

from __future__ import annotations

from types import SimpleNamespace as Made
from typing import Any

import numpy as np
import pytest
from beltspring.sim.analyse.spectrum import Peak, Spectrum
from beltspring.sim.chain import judged as judging
from beltspring.sim.chain import peaks as naming
from beltspring.sim.chain.burden import Burden, burden
from beltspring.sim.chain.heard import FELT_M, sounding
from beltspring.sim.chain.judged import LONGEST_PROGRAM_S, LONGEST_S, SPEEDS, judged_words, paces_of, verdict
from beltspring.sim.model.system import System

from tests.support import model_of, plan_of, workshop


def ringing(axis: str, peak_m: float, hz: float | None = 50.0, fades_s: float | None = 0.1) -> Made:
    return Made(axis=axis, peak_m=peak_m, frequency_hz=hz, fades_to_5_percent_s=fades_s, watched_s=0.3)


def outcome_of(**analysis: Any) -> Any:
    return Made(analysis=Made(**analysis), system=None, middle=None, bare_modes=[])


def test_what_sounds_is_the_loudest_that_can_be_felt_and_has_a_cause():
    x, y, z = ringing("x", 30e-6), ringing("y", 40e-6), ringing("z", 90e-6)
    causes = {"x": ("belts",), "y": ("frame",)}
    told = sounding(outcome_of(ringing={"x": x, "y": y, "z": z}, behind=causes))
    assert told is not None
    assert (told.ringing, told.behind) == (y, ("frame",))
    assert sounding(outcome_of(ringing={"x": None, "y": None}, behind=causes)) is None
    quiet = {"x": ringing("x", 0.5 * FELT_M), "y": None}
    assert sounding(outcome_of(ringing=quiet, behind=causes)) is None
    assert sounding(outcome_of(ringing={"x": x}, behind={})) is None


def spectrum(axis: str, *peaks: tuple[float, float]) -> Spectrum:
    hz = np.linspace(5.0, 200.0, 40)
    return Spectrum(axis, hz, np.full(40, 1e-6), tuple(Peak(f, a) for f, a in peaks), 1)


@pytest.fixture
def no_causes(monkeypatch):
    monkeypatch.setattr(naming, "behind_at", lambda system, known, column, hz: (column, hz))
    monkeypatch.setattr(naming, "worded", lambda system, middle, found: found)


@pytest.mark.usefixtures("no_causes")
def test_a_peak_near_the_told_frequency_is_that_one_and_others_over_a_third_have_names():
    # 82 Hz lies within a tenth of the 84 told; 20 Hz is over a third of the 9 um; 150 Hz is under it.
    x = spectrum("x", (82.0, 9e-6), (20.0, 3.1e-6), (150.0, 2.9e-6))
    y = spectrum("y", (60.0, 4e-6))
    run = outcome_of(
        responses=(), spectra={"x": x, "y": y}, ringing={"x": ringing("x", 1e-5, 84.0, 0.2), "y": None}, behind={}
    )
    found = {(p.axis, p.frequency_hz): p for p in naming.named_peaks(run)}
    assert set(found) == {("x", 84.0), ("x", 20.0), ("y", 60.0)}
    assert found["x", 84.0].told
    assert found["x", 84.0].fades_s == 0.2
    assert not found["x", 20.0].told
    assert found["y", 60.0].behind == (1, 60.0)
    assert next(p.axis + str(p.told) for p in naming.named_peaks(run)) == "yFalse", "the tallest first: 4 um"
    assert (found["x", 20.0].words, found["x", 84.0].words) == ("X also at 20 Hz", "X rings at 84 Hz")


@pytest.mark.usefixtures("no_causes")
def test_of_two_peaks_near_the_told_frequency_only_the_nearest_is_it():
    x = spectrum("x", (83.0, 9e-6), (90.0, 8e-6))
    run = outcome_of(responses=(), spectra={"x": x}, ringing={"x": ringing("x", 1e-5, 84.0)}, behind={})
    assert {p.frequency_hz for p in naming.named_peaks(run)} == {84.0, 90.0}
    chirp = outcome_of(responses=(1,), spectra={"x": x}, ringing={}, behind={})
    assert naming.named_peaks(chirp) == ()


def ready(move_s: float, program: object = None, speed: float = 0.1, acceleration: float = 3.0) -> Any:
    """Four legs that all reach 0.1 m/s, slowed down too."""

    def plan(pace: float = 1.0) -> Made:
        legs = [
            Made(name=f"leg {k}", start=(k, 0), sweep_hz=None, cruise_speed_m_s=speed * pace, end=(k + 1, 0))
            for k in range(4)
        ]
        return Made(legs=legs, move_s=move_s)

    limits = Made(speed_m_s=speed, acceleration_m_s2=acceleration)
    return Made(plan=plan(), motion=Made(move=Made(program=program), limits=limits, plan=plan))


def test_long_moves_are_judged_by_their_corners(monkeypatch):
    monkeypatch.setattr(judging, "loudest_hz", lambda one: None)
    assert (LONGEST_PROGRAM_S, LONGEST_S) == (15.0, 60.0)
    for move_s, program, corners in ((60.0, None, False), (60.1, None, True), (15.0, "p", False), (15.5, "p", True)):
        paces = paces_of(ready(move_s, program))
        assert paces is not None
        assert paces.corners == corners
        assert paces.speed_m_s == 0.1
        assert len(paces.factors) == (1 if corners else SPEEDS)
        if corners:
            assert paces.factors == (1.0,)


@pytest.mark.parametrize(
    ("hertz", "low", "high"),
    [
        (None, 0.8, 1.2),  # nothing swings: a fifth either way
        (50.0, 0.7, 1.3),  # a / (2 f v) = 3 / (2 50 0.1)
        (15.0, 0.3, 2.0),  # cut off below
    ],
)
def test_thirteen_speeds_by_hand(monkeypatch, hertz, low, high):
    monkeypatch.setattr(judging, "loudest_hz", lambda one: hertz)
    paces = paces_of(ready(2.0))
    assert paces is not None
    assert paces.factors == pytest.approx(np.linspace(low, high, 13), abs=1e-12)
    assert (1.0 in paces.factors) == (low > 0.3)


def trials(peaks: list[tuple[float, float]], passages: list[int], whole: list[bool]) -> Any:
    paces = np.linspace(0.8, 1.2, len(peaks))
    return Made(peak_m=np.array(peaks), passages=np.array(passages), whole=np.array(whole), paces=paces, samples=())


def test_a_verdict_counts_the_speeds_at_which_no_motor_slips():
    # 3, 4 and 5 um: rms sqrt(50 / 3) um. The first slips, the last does not end.
    found = verdict(
        trials([(9e-6, 1e-6), (3e-6, 1e-6), (2e-6, 4e-6), (5e-6, np.nan), (8e-6, 8e-6)], [1, 0, 0, 0, 0],
               [True, True, True, True, False]),
        ready(2.0), Made(corners=False, speed_m_s=0.2),
    )  # fmt: skip
    assert found is not None
    assert found.judged_m == pytest.approx(np.sqrt(50 / 3) * 1e-6, rel=1e-12)
    assert (found.least_m, found.most_m, found.counted) == (3e-6, 5e-6, 3)
    assert found.most_at_m_s == pytest.approx(0.11)
    assert found.speeds_m_s == pytest.approx((0.09, 0.11))
    assert found.slipping_m_s == pytest.approx((0.08, 0.12))
    assert verdict(trials([(np.nan, np.nan)] * 3, [0] * 3, [True] * 3), ready(2.0), Made(corners=False)) is None


def test_a_program_is_judged_at_shares_of_its_usual_speed():
    found = verdict(
        trials([(1e-6, 1e-6)] * 3, [0] * 3, [True] * 3), ready(2.0, "p"), Made(corners=False, speed_m_s=0.2)
    )
    assert found is not None
    assert found.speeds_m_s == pytest.approx((0.16, 0.24))


def told(most_um: float, here_um: float | None, speeds: tuple[float, float] | None = (0.1, 0.2)) -> str:
    m = most_um * 1e-6
    one = judging.Judged(m, m, m, None, speeds, (), 3, np.array([m]))
    here = {} if here_um is None else {"x": ringing("x", here_um * 1e-6)}
    legs = [Made(start_s=0.0, end_s=9.0, cruise_speed_m_s=0.123)]
    run = Made(
        analysis=Made(ringing=here), plan=Made(legs=legs), trace=Made(thinned=False),
        scenario=Made(file=Made(move=Made(gcode="a.gcode"))),
    )  # fmt: skip
    return judged_words(one, run)  # type: ignore[arg-type]


def test_silence_needs_no_verdict_and_corners_have_words_of_their_own():
    silent = judging.SILENT_M * 1e6
    assert told(0.5 * silent, 0.5 * silent) == ""
    assert told(0.5 * silent, None) == ""
    assert told(silent, 0.5 * silent) != ""
    assert told(0.5 * silent, silent) != ""
    assert told(30.0, 20.0).startswith("Ringing: 20 µm at 123 mm/s; 30 to 30 µm at speeds around it, 100 to 200 mm/s;")
    assert told(30.0, 20.0, None).startswith("Ringing: 20 µm at its worst corner; 30 to 30 µm at its 3 corners;")


def test_what_a_job_takes_grows_with_each_of_its_parts():
    assert Burden(1.0, 1.0, 0.0, 1.05e8).words.endswith("a trace.csv of 105 MB")
    assert Burden(1.0, 1.0, 1.05e8, 0.0).words.endswith("105 MB of memory")
    assert Burden(1.0, 1.0, 0.0, 9.96e10).words.endswith("a trace.csv of 100 GB")
    assert Burden(1.0, 1.0, 0.0, 9.95e10).words.endswith("a trace.csv of 100 GB")
    assert Burden(1.0, 99.5 * 86400, 0.0, 0.0).words == "about 100 days"
    assert Burden(1.0, 99.7 * 86400, 0.0, 0.0).words == "about 100 days"
    small, large = (model_of(workshop("corexy", {"detail": detail})) for detail in ("simple", "full"))
    assert isinstance(small, System)
    scenario = workshop("corexy", {})
    plan = plan_of(scenario, small)
    one, two = (burden(system, plan, 1e-3, None, False) for system in (small, large))
    assert two.seconds / two.steps > one.seconds / one.steps > 0.0, "a step of more coordinates takes longer"
    twice = burden(small, plan, 1e-3, None, False, 2.0)
    assert (twice.seconds, twice.steps) == pytest.approx((2 * one.seconds, 2 * one.steps))
