"""Every pattern through the command line: one screen, words that fit the pattern, and the fixed keys of the summary."""

from __future__ import annotations

import json

import pytest
from beltspring.sim.scenario.names import PATTERNS

from tests.cli.test_output import KEYS


def rows(text: str, head: str) -> list[list[str]]:
    """The cells of a table's rows, from below its head's line to the first empty line."""
    lines = text.splitlines()
    start = next(i for i, line in enumerate(lines) if line.startswith(head)) + 2
    end = next((i for i in range(start, len(lines)) if not lines[i].strip()), len(lines))
    return [line.split() for line in lines[start:end]]


@pytest.mark.parametrize("pattern", PATTERNS)
def test_each_pattern_runs_and_fits_one_screen(beltspring, pattern):
    said = beltspring("run", "desk-corexy", "--set", f"move.pattern={pattern}", "--set", "move.axis=x")
    assert said.code == 0
    lines = said.out.splitlines()
    assert max(map(len, lines)) <= 80
    assert len(lines) <= 56
    assert pattern.split("-")[0] in lines[1]
    reading = " ".join(lines[3:14])
    assert ("answers the sweep" if pattern == "chirp" else "rings at") in reading
    assert "off the line by at most" in reading
    # The first column of a table is never squeezed by a leg's long name.
    # What goes on after a chirp is no measure of the machine, and its table does not call it that.
    name = "After the sweep " if pattern == "chirp" else "Ringing "
    assert any(line.startswith(name) for line in lines)


@pytest.mark.parametrize("pattern", ["star", "speed-ladder", "chirp"])
def test_the_summary_keeps_its_keys(beltspring, pattern):
    said = beltspring(
        "run", "spring-mass", "--json", "--set", f"move.pattern={pattern}", "--set", "carriage.mass_g=450"
    )
    summary = json.loads(said.out)
    assert set(summary) == set(KEYS)
    assert summary["ended"] == "complete"
    assert summary["path_error_um"]["max"] < 100
    assert summary["along_um"]["max"] < 1000
    assert (summary["ripple_spacing_mm"] is None) == (pattern == "chirp")


@pytest.mark.parametrize(("pattern", "top"), [("acceleration-ladder", 5000), ("speed-ladder", 150)])
def test_a_ladder_has_a_line_for_each_level(beltspring, pattern, top):
    said = beltspring("run", "desk-corexy", "--set", f"move.pattern={pattern}", "--set", "move.levels=4")
    unit = "acceleration mm/s²" if pattern == "acceleration-ladder" else "speed mm/s"
    assert unit in said.out
    table = rows(said.out, "Level")
    assert [row[0] for row in table] == ["1", "2", "3", "4"]
    assert [float(row[1]) for row in table] == pytest.approx([top * n / 4 for n in (1, 2, 3, 4)], rel=1e-3)
    peaks = [max(float(row[2]), float(row[3])) for row in table]
    ringing = rows(said.out, "Ringing  ")
    # Three figures are printed.
    assert max(peaks) == pytest.approx(
        max(float(ringing[0][1]), float(next(r for r in ringing if r[0] == "Y")[1])), rel=0.01
    )


def test_a_chirp_names_the_mode_it_finds(beltspring):
    said = beltspring("run", "spring-mass", "--set", "move.pattern=chirp", "--set", "move.sweep_ms=4000")
    row = rows(said.out, "Response")[0]
    assert row[0] == "X"
    assert float(row[1]) == pytest.approx(79.58, rel=0.01)
    assert float(row[3]) == pytest.approx(79.58, rel=1e-3)
    assert " ".join(row[6:]).startswith("carriage in X")
    assert "small motions" not in said.out, "within two percent nothing has to be explained"
    loud = beltspring("run", "moving-bed-wheels", "--set", "move.pattern=chirp", "--set", "move.axis=y")
    assert "The modes are those of small motions" in loud.out


def test_limits_of_one_axis_reach_the_plan(beltspring):
    """Y alone at 1000 mm/s2: the sides along Y take v / a longer for their ramps, those along X do not."""
    plain, slow = (
        json.loads(beltspring("run", "desk-corexy", "--json", *extra).out)
        for extra in ((), ("--set", "motion.axes.y_acceleration_mm_s2=1000"))
    )
    # Two sides of 60 mm from rest to rest: 60 / 150 + v / a each; the corner step of 5 mm/s takes off a little.
    assert slow["move_s"] - plain["move_s"] == pytest.approx(2 * (0.15 / 1.0 - 0.15 / 5.0), rel=0.05)


def test_shapers_and_skipped_codes_are_told(beltspring, tmp_path):
    program = tmp_path / "tag.gcode"
    program.write_text("M704 S200\nG1 X40 Y0 F6000\nG1 X40 Y40\nG1 X0 Y40 F60000\n")
    move = ("--set", f"move.gcode={program}", "--variant", "shaped")
    said = beltspring("run", "desk-corexy-slot", *move)
    words = " ".join(said.out.split())
    assert "Codes that mean nothing here were skipped: M704 (once, in line 1)." in words
    assert "A feed above speed_mm_s = 150 was lowered to it, in line 4." in words
    assert "The shapers make the motion lag" in words
    assert "Corners are rounded by up to" in words
    told = beltspring("run", "desk-corexy-slot", *move, "--json")
    assert set(json.loads(told.out)) == set(KEYS)
    assert "M704" in told.err
    assert "shapers" not in beltspring("run", "desk-corexy").out
