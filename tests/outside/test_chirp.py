"""A chirp finds the resonances: the shipped spring and mass against the textbook, larger machines against their modes.

One mass on a spring, moved at its base by acceleration A, swings against it by E = A / (w^2 - s^2 + 2 i z w s); |E / A| is
largest at s = w sqrt(1 - 2 z^2), where it is 1 / (2 z sqrt(1 - z^2) w^2) (Den Hartog; Thomson; from memory, and quickly
re-derived). The mass is 0.45 kg between strands of 0.2 and 0.8 m of EA = 18 kN: w = 500 rad/s, 79.58 Hz.
"""

from __future__ import annotations

import math

import pytest
from beltspring.sim.chain.chain import Outcome, simulate_scenario
from beltspring.sim.chain.heard import answers

from tests.support import shipped


def swept(name: str, **changes: object) -> Outcome:
    keys = {"move.pattern": "chirp"} | {k.replace("__", "."): v for k, v in changes.items()}
    return simulate_scenario(shipped(name, keys))


@pytest.mark.parametrize(
    ("changes", "omega", "damping"),
    [
        ({}, 500.0, 0.05),
        ({"carriage__mass_g": 1800}, 250.0, 0.05),
        ({"belts__damping": 0.1}, 500.0, 0.1),
        ({"move__sweep_ms": 4000, "move__from_hz": 30}, 500.0, 0.05),
    ],
)
def test_the_spring_and_mass_answers_as_the_textbook_says(changes: dict, omega: float, damping: float) -> None:
    outcome = swept("spring-mass", **changes)
    (response,) = outcome.analysis.responses
    (peak,) = response.peaks
    assert response.axis == "x"
    assert peak.frequency_hz == pytest.approx(omega * math.sqrt(1 - 2 * damping**2) / math.tau, rel=2e-3)
    gain = 1.0 / (2 * damping * math.sqrt(1 - damping**2) * omega**2)
    assert peak.gain_s2 == pytest.approx(gain, rel=0.02)
    # Well below it the spring just follows: 1 / w^2 (1 + (s / w)^2 + ...).
    low = 1.2 * response.frequency_hz[0]
    at = int((response.frequency_hz >= low).argmax())
    share = (math.tau * response.frequency_hz[at] / omega) ** 2
    assert response.gain_s2[at] == pytest.approx(1 / omega**2 / (1 - share), rel=0.02)


# Modes heard by the tool along that axis, in the model's own words of frequency; the machines have friction and motors.
@pytest.mark.parametrize(
    ("name", "axis", "peaks"),
    [
        ("spring-mass", "x", 1),
        ("spring-mass", "y", 1),
        ("large-corexy", "x", 2),
        ("large-corexy", "y", 2),
        ("desk-corexy", "x", 1),
        ("desk-corexy-slot", "y", 1),
    ],
)
def test_the_response_peaks_within_two_percent_of_a_mode(name: str, axis: str, peaks: int) -> None:
    found = answers(swept(name, move__axis=axis))
    assert len(found) >= peaks
    for answer in found[:peaks]:
        assert answer.axis == axis
        assert answer.mode is not None
        assert answer.peak.frequency_hz == pytest.approx(answer.mode.frequency_hz, rel=0.02)


def test_both_axes_answer_a_slanted_sweep() -> None:
    found = answers(swept("large-corexy", move__axis="xy"))
    assert {answer.axis for answer in found} == {"x", "y"}
    assert all(abs(answer.off or 1.0) < 0.02 for answer in found)


def test_a_sweep_that_ends_too_early_says_so() -> None:
    outcome = swept("spring-mass", move__from_hz=10, move__to_hz=60, move__sweep_ms=3000)
    (response,) = outcome.analysis.responses
    assert response.peaks == ()
    assert response.still_rising
    assert any("sweep further with to_hz" in sentence for sentence in outcome.analysis.sentences)


def test_other_moves_have_no_response() -> None:
    outcome = simulate_scenario(shipped("spring-mass"))
    assert outcome.analysis.responses == ()
    assert answers(outcome) == []


def test_a_chirp_is_judged_across_its_line_and_along_it() -> None:
    """Along: the swing itself, gain times acceleration at the peak; across: nothing, since Y stands still."""
    outcome = swept("spring-mass")
    (response,) = outcome.analysis.responses
    path = outcome.analysis.path
    assert path.across_max_m < 1e-9
    assert path.along_max_m == pytest.approx(response.peaks[0].gain_s2 * 3.0, rel=0.1)
