"""The reading in words: what is told of slips, heights, levels and sweeps, from results written down by hand."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from beltspring.sim.analyse.path import PathError
from beltspring.sim.analyse.reading import at_level, read
from beltspring.sim.analyse.response import Response, ResponsePeak
from beltspring.sim.analyse.ringing import Ringing
from beltspring.sim.analyse.ringing.levels import LevelRinging
from beltspring.sim.plan.plan import Level
from beltspring.sim.trace import Slip

NONE, PLACES = np.zeros(0), np.zeros((0, 2))


def path(**more: Any) -> PathError:
    return PathError(NONE, NONE, 41e-6, 7e-6, 120e-6, 60e-6, 0.1, PLACES, PLACES, PLACES, **more)


def said(
    slips: tuple[Slip, ...] = (), ringing: dict[str, Ringing | None] | None = None, **more: Any
) -> tuple[str, ...]:
    trace: Any = SimpleNamespace(stopped_at_s=None, broke_down=False, ended="complete", slips=list(slips), slack_s={})
    found = more.pop("path", path())
    return read(trace, ringing or {"x": None, "y": None}, found, None, None, **more)


def test_a_motor_that_lost_steps_is_told_with_when_and_where() -> None:
    told = said((Slip("a", 0.4567, 8, 12, 3, (0.1234, 0.0456, 0.002)), Slip("b", 0.5, 0, 4, 2)))
    assert told[0] == (
        "Motor a loses 8 full steps (12 full steps off at most), the first at 0.457 s near X 123.4 Y 45.6, and everything "
        "after that is laid in the wrong place: the move asks for more torque than it has at that speed."
    )
    assert told[1].startswith("Motor b falls out of step at 0.500 s, 4 full steps off at most; that it ends where")


def test_how_far_off_the_path_says_the_largest_and_the_rms() -> None:
    assert said()[-1] == (
        "The tool goes off the line by at most 41 µm (rms 7 µm); along the line it is at most 120 µm late or early."
    )
    assert said(path=path(height_m=(12e-6, 5e-6)))[-1].endswith(" Its height is off by at most 12 µm.")
    delayed = said(path=path(own_max_m=80e-6, delay_max_m=2.5e-3))[-1]
    assert delayed.endswith("along the line it is at most 80 µm, not counting the shapers' delay of up to 2.5 mm.")


@pytest.mark.parametrize(
    ("quantity", "value", "words"), [("acceleration", 1.8, "1800 mm/s²"), ("speed", 0.12, "120 mm/s")]
)
def test_a_level_is_told_by_its_limit(quantity: str, value: float, words: str) -> None:
    assert at_level(LevelRinging(Level(2, quantity, value), {"x": 1e-5}, {"x": 40.0})) == words


def test_a_sweep_is_told_by_its_peaks_or_by_that_it_has_none() -> None:
    peaks = (ResponsePeak(61.0, 6.8e-6), ResponsePeak(122.0, 1e-6), ResponsePeak(150.0, 9e-7))
    two = (Response("x", NONE, NONE, peaks, False), Response("y", NONE, NONE, (), True))
    first, second, _ = said(responses=two)
    assert first == (
        "X answers the sweep most at 61 Hz, where it swings 6.8 µm for each m/s² of acceleration, and also at 122 and 150 Hz."
    )
    assert second == (
        "Y has no resonance between the ends of the sweep, and still rises where it ends: sweep further with to_hz."
    )


def test_a_tone_is_told_with_its_cause_and_a_second_corner_where_it_differs() -> None:
    """60 Hz against 54 is a tenth apart: told; 58 would be 3 %."""
    from beltspring.sim.analyse.ringing.ringdown import LegRinging

    def ringing(other_hz: float) -> Ringing:
        other = LegRinging("leg 3", 46e-6, other_hz)
        return Ringing("x", 5e-5, 60.0, 0.05, 0.1, "leg 1", 0.1, 0.3, others=(other,))

    told = said(ringing={"x": ringing(54.0), "y": None}, causes={"x": ("the belts (92 %)",)}, last_leg="leg 4")[0]
    assert told == (
        "X rings at 60 Hz and fades in 100 ms (50 µm after corner 1; 46 µm at 54 Hz after corner 3): the belts (92 %). "
        "At 50 µm it is plain to see."
    )
    assert "corner 3" not in said(ringing={"x": ringing(58.0), "y": None}, last_leg="leg 4")[0]
