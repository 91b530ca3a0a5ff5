"""The page on fitting is held to the program: its commands, its files, and what its example says. The measurements it uses
are our own invention; the machine behind them was drawn, so that the truth is known."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from beltspring.sim import fit, load, read_measured
from beltspring.sim.study.fit.fields import read_table
from beltspring.sim.study.fit.measured import FIELDS

from tests.study.fit.make_example import MOVES, machine

PAGE = (Path(__file__).parents[2] / "viz" / "guide" / "fit.md").read_text(encoding="utf-8")


def blocks(kind: str) -> list[str]:
    return re.findall(rf"^```{kind}\n(.*?)^```$", PAGE, re.M | re.S)


def test_the_files_on_the_page_are_read():
    told = {}
    for block in blocks("toml"):
        told |= tomllib.loads(block)
    assert set(told) == set(FIELDS)
    for kind, (table,) in told.items():
        assert read_table(table, FIELDS[kind], kind)[1] == []


def test_the_ruler_alone_says_what_the_page_says(beltspring, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    (block,) = blocks("text")
    first, *lines = block.splitlines()
    said = beltspring(*first.split()[2:])
    assert said.code == 0
    printed = [line.rstrip() for line in said.out.splitlines()]
    assert [line for line in lines if line.rstrip() not in printed] == []


def test_the_shipped_measurements_say_that_they_are_invented():
    place = Path(__file__).parents[2] / "scenarios" / "measured"
    for path in place.glob("*.toml"):
        assert "invented" in path.read_text(encoding="utf-8")
        assert read_measured(path.stem).label == path.name  # by the name it ships under
    assert {p.stem for p in place.glob("*.csv")} == set(MOVES)


def test_everything_together_finds_the_machine_that_was_drawn_and_the_page_says_so():
    # One test, so that workers beside each other do not fit it twice.
    whole, truth = fit(load("desk-corexy"), read_measured("desk-all")), machine().truth
    assert whole.explains
    assert whole.checked
    after = {p.key: p for p in whole.parameters}
    for key, share in (("belts.ea_n", 0.01), ("belts.pretension_n", 0.05), ("frame.stiffness_x_n_per_mm", 0.05)):
        assert after[key].after == pytest.approx(truth[key], rel=share)
        assert after[key].low < truth[key] < after[key].high
    (square,) = [r for r in whole.records if r.use == "check"]
    assert square.unexplained < 0.03
    assert square.unexplained_before > 0.5

    belts, tension = after["belts.ea_n"], after["belts.pretension_n"]
    told = re.search(r"at (\d+) N, (\d+) to (\d+) \(the machine that was drawn has (\d+)\)", PAGE)
    assert [float(n) for n in told.groups()] == pytest.approx(
        [belts.after, belts.low, belts.high, truth["belts.ea_n"]], rel=2e-3
    )
    assert f"at {tension.after:.1f} N where 16 were asked for (drawn: {truth['belts.pretension_n']:.1f})" in PAGE
