"""Terminals of every width: words wrap, numbers are never cut."""

import json
import re

import pytest
from beltspring.sim.study.report import MAIN_MODES

WORDS = re.compile(r"[^\s;,│]+")


@pytest.mark.parametrize("columns", ["12", "40", "63", "80", "200"])
def test_the_summary_holds_every_number_at_any_width(columns, beltspring, monkeypatch):
    found = json.loads(beltspring("run", "desk-corexy", "--json").out)
    monkeypatch.setenv("COLUMNS", columns)
    words = WORDS.findall(beltspring("run", "desk-corexy").out)
    for axis in "xy":
        ringing = found["ringing"][axis]
        for key in ("peak_um", "frequency_hz", "fades_to_5_percent_ms"):
            assert f"{ringing[key]:.3g}" in words
    for motor in found["motors"].values():
        assert f"{1e3 * motor['torque_limit_nm']:.3g}" in words
    for belt in found["belts"].values():
        assert f"{belt['max_tension_n']:.3g}" in words
        assert f"{belt['length_to_order_mm']:.0f}" in words
        for run in belt["runs"]:
            assert f"{run['stiffness_n_per_mm']:.3g}" in words
    assert sum(f"{mode['frequency_hz']:.3g}" in words for mode in found["modes"]) >= MAIN_MODES


@pytest.mark.parametrize("arguments", [("compare", "desk-corexy"), ("modes", "desk-corexy"), ("order", "desk-corexy"),
                                       ("check", "desk-corexy")])  # fmt: skip
def test_narrow_tables_say_the_same_words_as_wide_ones(arguments, beltspring, monkeypatch):
    said = {}
    for columns in ("40", "110"):
        monkeypatch.setenv("COLUMNS", columns)
        words = {w.rstrip(":") for w in WORDS.findall(beltspring(*arguments).out)}
        said[columns] = {w for w in words if any(c.isalnum() for c in w)}
    # Row by row, the heading of the first column is not repeated.
    assert said["110"] - said["40"] <= {"bar", "what", "design", "differs", "Mode"}
    assert said["40"] - said["110"] <= said["110"]
