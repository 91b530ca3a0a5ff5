"""The page about machines on arms says what the program says."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from beltspring.viz.commands import COMMANDS
from beltspring.viz.gallery import arms_study

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "viz/guide/delta.md").read_text(encoding="utf-8")
ROWS = [tuple(float(v) for v in line.strip("|").split("|")) for line in PAGE.splitlines() if re.match(r"\| \d", line)]


def test_there_is_a_table_and_its_picture():
    assert len(ROWS) == 5
    assert (ROOT / "viz/gallery/delta.png").read_bytes()[:4] == b"\x89PNG"


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row[0]:.0f}-{row[1]:.0f}")
def test_the_table_is_what_check_says(row):
    arm_mm, tower_mm, softest, middle, flattest, columns = row
    found = arms_study.at(arm_mm, tower_mm)
    assert found is not None
    assert (found.softest, found.middle, found.flattest) == pytest.approx((softest, middle, flattest), abs=0.0501)
    assert found.columns == pytest.approx(columns)


def test_what_the_page_concludes():
    found = {(a, t): p for a, t, *_ in ROWS if (p := arms_study.at(a, t)) is not None}
    assert found[250, 158].softest < found[215, 158].softest  # longer arms
    assert found[215, 158].softest > found[215, 138].softest  # towers further out
    assert found[250, 198].softest > 2 * found[215, 138].softest
    (arm_mm, near), (_, far) = arms_study.shortest(160, 158), arms_study.shortest(180, 158)
    assert near is not None
    assert far is not None
    assert 25.0 <= near.flattest < 25.5
    assert arm_mm == 202  # (103 + 80) / cos 25 degrees, rounded up
    assert 0.1 < 1 - far.softest / near.softest < 1 / 3


def test_commands_on_the_page_are_commands():
    for line in re.findall(r"^beltspring (\S+)", PAGE, flags=re.M):
        assert line in {command.name for command in COMMANDS}
