"""A program that cannot be followed: the message names line, column, text and the way on."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from beltspring.sim.errors import ProgramError
from beltspring.sim.plan import program
from beltspring.sim.plan.build import build_plan
from beltspring.sim.scenario.motion import MoveSpec

from tests.plan.conftest import LIMITS, REACH, PlanProgram

CASES = {
    "out of reach": ("G1 X10 F600\nG1 Y10 X250\n", 2, 8, "X = 250.0000 mm", "larger [space]"),
    "out of reach below": ("G1 X10 F600\nG91 Y-0.1\n", 2, 5, "Y = -0.1000 mm", "0 to 200 mm"),
    "arc out of reach between its ends": ("G1 X10 Y5 F600\nG2 X30 I10 J0\nG2 X10 I-10\n", 3, 1, "out of reach", "Y = -5"),
    "no feed": ("G0 X10\nG1 X20\n", 2, 1, "no feed", "write F"),
    "no feed for an arc": ("G2 X20 I10\n", 1, 1, "no feed", "write F"),
    "feed of zero": ("G1 X20 F0\n", 1, 8, "F0", "above 0"),
    "negative feed": ("G1 X20 F-5\n", 1, 8, "F-5", "above 0"),
    "arc radius too small": ("G1 X10 F600\nG2 X30 R9.9\n", 2, 8, "9.9000 mm", "10.0000 mm"),
    "arc without centre": ("G1 X10 F600\nG2 X30\n", 2, 1, "centre", "R"),
    "arc off its circle": ("G1 X10 F600\nG3 X30 Y10 I5\n", 2, 12, "5.0000 mm", "I and J"),
    "arc round its own start": ("G1 X10 F600\nG3 X30 Y10 I0 J0\n", 2, 12, "0.0000 mm", "I and J"),
    "whole turn by radius": ("G1 X10 Y10 F600\nG3 R5\n", 2, 4, "where it starts", "I and J"),
    "arc in another plane": ("G1 X10 F600 G18\nG3 X30 R10\n", 2, 1, "G17", "G18"),
    "not a number": ("G1 X1.2.3 F600\n", 1, 4, "'X1.2.3'", "not a number"),
    "two signs": ("G1 X--1 F600\n", 1, 4, "'X--1'", "not a number"),
    "nothing but a point": ("G1 X. F600\n", 1, 4, "'X.'", "not a number"),
    "letters for a number": ("G1 Xnan F600\n", 1, 4, "X has no number", "X10"),
    "overflow": ("G1 X99999999999999999999 F600\n", 1, 4, "too large", "1e+09"),
    "word twice": ("G1 X1 X2 F600\n", 1, 7, "X stands twice", "two lines"),
    "number without a letter": ("G1 F600\n12 X5\n", 2, 1, "'1'", "letter and a number"),
    "stray character": ("G1 F600 X5\nG1 X=5\n", 2, 5, "'='", "letter and a number"),
    "decimal comma": ("G1 X10 F600\nG1 X-16,5 Y2\n", 2, 8, "a decimal point here, not a comma", "write -16.5. "),
    "comma between words": ("G1 X10, Y5 F600\n", 1, 7, "','", "letter and a number"),
    "accent outside a comment": ("G1 F600 X5 (f\u00fcr)\nG1 \u00fc\n", 2, 4, "cannot stand here", "letter and a number"),
    "no motion code": ("F600\nX10\n", 2, 1, "no G0, G1, G2 or G3", "before"),
    "wait for how long": ("G1 X10 F600\nG4\n", 2, 1, "G4 needs P", "86400"),
    "wait backwards": ("G1 X10 F600\nG4 P-1\n", 2, 1, "G4 needs P", "seconds"),
    "comment left open": ("G1 X10 F600\nX20 (to the right\n", 2, 5, "not closed", "with )"),
    "a spline": ("G1 X10 F600\nG5 X20 Y10 I3 P1\n", 2, 1, "G5 moves the tool", "G0, G1, G2 or G3"),
    "a drilling cycle": ("G1 X10 F600\nN20 G81 X20 R2\n", 2, 5, "G81", "G0, G1, G2 or G3"),
    "probing, with a part behind the point": ("G1 X10 F600\nX5 G38.2 Z1\n", 2, 4, "G38.2", "not followed"),
    "zero byte": ("G1 X10 F600\nG1 \x00X20\n", 2, 4, "value 0", "text file"),
    "zero byte in a comment": ("G1 X10 F600\n; \x00\n", 2, 3, "value 0", "text file"),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_message(planned: PlanProgram, case: str) -> None:
    text, line, column, *parts = CASES[case]
    with pytest.raises(ProgramError) as caught:
        planned(text)
    message = str(caught.value)
    assert f"job.gcode, line {line}, column {column}: " in message
    for part in parts:
        assert part in message
    shown = text.split("\n")[line - 1].strip().replace("\x00", "?")
    assert message.endswith(f"The line reads: {shown}")
    assert "\n" not in message


def test_the_first_of_two_faults_is_told(planned: PlanProgram) -> None:
    with pytest.raises(ProgramError, match="line 2, column 4"):
        planned("G1 X10 F600\nG1 X500\nG1 X..\n")


@pytest.mark.parametrize(
    "text", [b"", b"\n\n", b"(nothing)\n", b"M704 S200\n", b"G1 F600\n", b"%\n%\n", b"G21 G90\r\n"]
)
def test_nothing_to_do(planned: PlanProgram, text: bytes) -> None:
    with pytest.raises(ProgramError, match=r"empty|no move"):
        planned(text)


def test_binary_files(planned: PlanProgram) -> None:
    for data in (np.arange(256, dtype=np.uint8).tobytes() * 40, b"\x89PNG\r\n\x1a\n\x00\x00", b"\xff\xfeG\x001\x00"):
        with pytest.raises(ProgramError, match=r"cannot stand here|value 0"):
            planned(data)


def test_a_line_without_end(planned: PlanProgram) -> None:
    with pytest.raises(ProgramError, match="longer than"):
        planned(b"G1 X1" + b"0" * (3 * program.CHUNK_BYTES))
    with pytest.raises(ProgramError, match="value 0"):
        planned(b"\0" * (3 * program.CHUNK_BYTES))


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    for path in (tmp_path / "missing.gcode", tmp_path):
        with pytest.raises(ProgramError, match=r"cannot be read|is a folder"):
            build_plan(LIMITS, {}, MoveSpec(None, path, 0.06, 1, "x", 0.05), REACH)


def test_a_job_of_months_is_a_mistake(planned: PlanProgram) -> None:
    with pytest.raises(ProgramError, match=r"days.*feeds"):
        planned("G1 X100 F0.0001\n")


def test_a_reach_without_zero(planned: PlanProgram) -> None:
    with pytest.raises(ProgramError, match="starts at X0"):
        planned("G1 X100 F600\n", reach=((0.01, 0.2), (0.0, 0.2), (0.0, 0.2)))


@pytest.mark.parametrize(
    ("block", "said"),
    [
        (f"M719 G2 X30 R{'9' * 400}", "too large a number"),
        (f"M717 G1 X30 Y{'9' * 30}", "too large a number"),
        ("G99 G1 X30 Y1.2.3", "is not a number"),
        ("M719 G1 X30 F-+1", "is not a number"),
        (f"M717 G4 P{'9' * 40} G1 X5", "too large a number"),
    ],
)
def test_behind_an_unknown_word_a_move_still_needs_numbers(planned: PlanProgram, block: str, said: str) -> None:
    with pytest.raises(ProgramError, match=r"line 2, column \d+: ") as told:
        planned(f"G1 X10 Y10 F600\n{block}\nG1 X1\n")
    assert said in str(told.value)


@pytest.mark.parametrize(
    "block", [f"M717 part {'9' * 400}", "M717 X1.2.3 -+ (what", f"M717 no. {'9' * 40} G{'9' * 40}"]
)
def test_a_message_may_hold_any_number(planned: PlanProgram, block: str) -> None:
    assert planned(f"G1 X10 Y10 F600\n{block}\nG1 X1\n").move_s > 1.0
