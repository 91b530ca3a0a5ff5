"""A sweep's picture shows the response to it, not what rings on after it."""

from __future__ import annotations

import pytest
from beltspring.viz.charts.spectrum import curves_of, title_of
from beltspring.viz.draw import text
from beltspring.viz.draw.theme import look
from beltspring.viz.pages.run import draw_picture
from beltspring.viz.window.runs import run_changed


def test_a_chirp_draws_its_response(desk):
    swept = run_changed(desk.scenario, {"move.pattern": "chirp", "move.axis": "x"})
    (response,) = swept.analysis.responses
    assert curves_of(swept.analysis)["x"].amplitude_m == pytest.approx(response.gain_s2)
    with text.Log() as log:
        draw_picture(swept, look("light"), (1600, 1000))
    drawn = [w.text for w in log.words]
    assert "Response" in drawn
    assert "Spectrum" not in drawn
    assert any(f"X answers at {response.peaks[0].frequency_hz:.0f} Hz" in words for words in drawn)
    assert title_of(desk.analysis)[0] == "Spectrum"
