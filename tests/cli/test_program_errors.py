"""Programs that cannot be followed, through the command line: one line that says where and what to do, nothing written."""

from __future__ import annotations

import json

import pytest

START = "G21 G90\nG1 X10 Y10 F3000\n"
BAD = {
    "out of reach": (START + "G1 X40\nG1 X190 Y20\n", "line 4, column 4", "out of reach", "a larger [space]"),
    "no feed yet": ("G21\nG0 X10\nG1 X20\n", "line 3, column 1", "no feed yet", "write F"),
    "arc radius too small": (START + "G2 X40 Y10 R5\n", "line 3, column 12", "arc radius too small", "15.0000 mm"),
    "not a number": (START + "G1 X1.2.3\n", "line 3, column 4", "'X1.2.3' is not a number", "write it like"),
    "overflow": (START + "G1 X99999999999999999999\n", "line 3, column 4", "too large a number", "1e+09"),
    "binary": (START + "G1 \x00\x01\x02\n", "line 3, column 4", "no text", "give a text file of G-code"),
    "empty": ("", "", "the file is empty", "it should hold G-code moves"),
    "nothing but comments": ("; made on a quiet evening\n(nothing)\n", "", "no move in it", "Moves are G0"),
}


@pytest.mark.parametrize("ends", ["\n", "\r\n"])
@pytest.mark.parametrize("case", BAD)
def test_a_bad_program_is_told_in_one_line_and_nothing_is_written(case, ends, beltspring, tmp_path):
    text, where, what, remedy = BAD[case]
    program = tmp_path / "job.gcode"
    program.write_bytes(text.replace("\n", ends).encode())
    said = beltspring("run", "desk-corexy", "--set", f"move.gcode={program}", "--out", str(tmp_path / "results"))
    assert said.code == 2
    assert said.out == ""
    told = said.err.strip().splitlines()[-1]
    assert "job.gcode" in told
    for part in (where, what, remedy):
        assert part in told
    assert "Traceback" not in said.err
    assert [entry.name for entry in tmp_path.iterdir()] == ["job.gcode"]


def test_case_line_ends_spaces_and_checksums_change_nothing(beltspring, tmp_path):
    """The same moves as they come from different machines give the same run, to the last bit."""
    plain = "G21\nG90\nG1 X40 Y0 F6000\nG3 X40 Y40 R20\nG1 X0 Y40\nG4 P0.1\n"
    lines = plain.splitlines()
    written = {
        "plain": plain,
        "lower case, Windows line ends": plain.lower().replace("\n", "\r\n"),
        "no spaces": plain.replace(" ", ""),
        "line numbers and checksums": "".join(f"N{10 * n} {line}*{n + 40}\r\n" for n, line in enumerate(lines)),
        "old line ends": plain.replace("\n", "\r"),
    }
    found = {}
    for name, text in written.items():
        (tmp_path / "job.gcode").write_bytes(text.encode())
        said = beltspring("run", "desk-corexy", "--json", "--set", f"move.gcode={tmp_path / 'job.gcode'}")
        assert said.code == 0, said.err
        found[name] = json.loads(said.out)
        del found[name]["times_real_time"]
    assert all(one == found["plain"] for one in found.values())
    assert found["plain"]["ringing"]["x"]["peak_um"] > 1.0
