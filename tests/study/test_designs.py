"""Designs as candidates: what cannot be built says why, verdicts are those of `judge_ringing`, prices and tones by hand."""

from __future__ import annotations

import numpy as np
import pytest
from beltspring.sim.chain.chain import prepare
from beltspring.sim.chain.judged import judge_ringing, paces_of
from beltspring.sim.model.modes import modes
from beltspring.sim.order.prices import read_prices
from beltspring.sim.study.designs import (
    as_written,
    candidate,
    checked,
    dearer,
    frame_hz,
    judging,
    priced,
    tool_tones,
    weighed,
)

from tests.support import bare, textbook


def test_a_design_that_cannot_be_built_is_a_candidate_that_says_why() -> None:
    here = textbook("desk-corexy")
    for settings, words in (
        ({"belts.part": "belt-2mm-7-glass"}, "belt-2mm-7-glass"),
        ({"frame.width_mm": 190}, "frame.width_mm = 190"),
        ({"belts.pretension_n": -1}, "must be 0 to 1000"),
    ):
        one = candidate(here, settings, "a")
        assert not one.stands
        assert words in one.refused
        assert "\n" not in one.refused
    good = candidate(here, {"belts.part": "belt-2mm-9-glass"}, "9 mm")
    assert good.stands
    assert good.refused == ""


def test_verdicts_are_those_of_the_designs_judged_together() -> None:
    here = textbook("desk-corexy")
    tried = [
        as_written(here),
        candidate(here, {"frame.width_mm": 190}, "too small"),
        *(candidate(here, {"belts.part": f"belt-2mm-{w}-glass"}, f"{w} mm") for w in (9, 12)),
    ]
    paces = paces_of(prepare(here))
    found = dict(pair for block in judging(tried, paces) for pair in block)
    assert sorted(found) == [0, 2, 3], "what cannot be built is not judged"
    direct = judge_ringing([one.ready for one in tried if one.ready is not None], paces)
    assert [found[i].judged_m for i in (0, 2, 3)] == [one.judged_m for one in direct]


def test_a_chirp_has_no_verdict() -> None:
    here = textbook("desk-corexy", {"move.pattern": "chirp"})
    first = as_written(here)
    assert [v for block in judging([first], paces_of(first.ready)) for _, v in block] == [None]


PRICES = """
currency = "EUR"
[each]
"motor-17-40" = 10.0
"motor-17-48" = 15.0
[per_m]
"belt-2mm-6-glass" = 2.0
"""


def test_what_a_change_costs_by_hand() -> None:
    """Two motors at 5.00 more each; a belt that has no price, and a frame without one, are not told as free."""
    prices = read_prices(PRICES, "prices")
    here = textbook("desk-corexy")
    first = priced(prepare(here).machine, prices)

    def more(settings: dict[str, object]) -> float | None:
        one = candidate(here, settings, "a")
        return dearer(priced(one.ready.machine, prices), first)

    assert more({"motors.part": "motor-17-48"}) == pytest.approx(10.0)
    assert more({"motors.current_a": 1.0}) == 0.0
    assert more({"belts.part": "belt-2mm-9-glass"}) is None
    assert more({"frame.width_mm": 400}) is None, "longer printed members, and no price of printing"
    assert dearer(first, None) is None


def test_tones_of_a_mass_on_a_spring() -> None:
    """79.58 Hz by hand, in the scenario's own head; no frame, no frame's tone."""
    one = as_written(textbook("spring-mass"))
    known = modes(one.ready.system)
    x, y = tool_tones(one.ready.system, known)
    assert x == pytest.approx(79.58, rel=1e-4)
    assert y is not None
    assert frame_hz(known) is None


def test_the_frames_tone_by_hand() -> None:
    """A frame of 5 kg on 100 N/mm, belts so stiff that carriage and gantry sway with it: sqrt(k / m) / 2 pi."""
    sway = {
        "frame.part": "slot-2020", "frame.stiffness_x_n_per_mm": 100, "frame.stiffness_y_n_per_mm": 100_000,
        "frame.top_mass_g": 5000, "belts.ea_n": 5_000_000, "frame.damping": 0,
    }  # fmt: skip
    one = as_written(bare("corexy", sway))
    told = weighed(one.ready.system, modes(one.ready.system))
    # Seen from the tool the gantry slides in Y only, so that in X both it and the carriage go with the frame.
    assert told.tones_hz[2] == pytest.approx(np.sqrt(100e3 / (5.0 + 0.5 + 0.8)) / (2 * np.pi), rel=0.01)
    assert told.tones_hz[0] == pytest.approx(told.tones_hz[2])
    assert told.moving_kg[0] == pytest.approx(0.5, rel=0.01)


def test_check_by_rule() -> None:
    loose = checked(candidate(textbook("desk-corexy"), {"belts.pretension_n": 2}, "loose"))
    assert "pretension-slack" in loose.stops
    assert not set(loose.stops) & set(loose.warnings)
    assert loose.words.startswith("stop: ")
    assert checked(as_written(textbook("desk-corexy"))).stops == ()
