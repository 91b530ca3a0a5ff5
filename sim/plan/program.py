"""A motion program in a file, read as a stream: segments in chunks, in constant memory, and errors that say where."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError, ProgramError
from ..files import comma_words, name_of, opened
from . import modal, tokens
from .follow import LONGEST_DWELL_S, segments_of
from .modal import State
from .segments import Segments
from .tokens import words_of

Array = NDArray[np.float64]

CHUNK_BYTES = 1 << 18
LARGEST_BYTES = 4 * 10**9
AXES = "XYZ"


class Program:
    """A motion program; `chunks()` reads it from the start each time.

    path: the file.  reach: (3, 2) m.  rim_m: radius of a round reach about its middle, 0: it is rectangular.
    speed_m_s: for G0, and the most an F can ask for.
    Raises ProgramError, then and while reading, for a file or a line that cannot be followed.
    """

    def __init__(
        self, path: Path, reach: Array, speed_m_s: float, acceleration_m_s2: float, rim_m: float = 0.0
    ) -> None:
        self.path, self.name, self.reach, self.rim_m = path, name_of(path), reach, rim_m
        self.speed_m_s, self.acceleration_m_s2 = speed_m_s, acceleration_m_s2
        self.state = State()
        with self._opened() as file:
            if os.fstat(file.fileno()).st_size > LARGEST_BYTES:
                raise ProgramError(
                    f"{self.name}: larger than {LARGEST_BYTES // 10**9} GB; split it into several programs."
                )
            if not file.read(1):
                raise ProgramError(f"{self.name}: the file is empty; it should hold G-code moves.")
        for d in range(3):
            low, high = reach[d]
            if not low <= 0.0 <= high:
                raise ProgramError(
                    f"{self.name}: a program starts at {AXES[d]}0, and the reach is {1e3 * low:g} to {1e3 * high:g} mm."
                )

    def chunks(self) -> Iterator[tuple[Segments, float]]:
        """The program's segments, some thousand at a time, and half the last digit its points are written to, m.

        Several may be under way at once; `notes` are those of the one that came last to its end.
        """
        state = State()
        line, rest = 1, b""
        try:
            with self._opened() as file:
                while not state.modal[modal.ENDED]:
                    read = file.read(CHUNK_BYTES)
                    if line == 1 and not rest and read.startswith(b"\xef\xbb\xbf"):
                        read = read[3:]
                    data = rest + read
                    if not data:
                        break
                    cut = _last_line_end(data) if read else len(data)
                    if cut == 0:
                        if len(data) >= CHUNK_BYTES:
                            self._binary_or_endless(data, line)
                        rest = data
                        continue
                    rest = data[cut:]
                    segments, grain_m, line = self._follow(state, data[:cut], line)
                    if len(segments):
                        yield segments, grain_m
            self.state = state
        except OSError as error:
            raise ProgramError(f"{self.name}: cannot be read ({error.strerror or error}); check the path.") from error

    def _opened(self) -> BinaryIO:
        try:
            return opened(self.path, "a motion program")
        except InputError as error:
            raise ProgramError(f"{error}.") from None

    def _follow(self, state: State, data: bytes, line: int) -> tuple[Segments, float, int]:
        found, after = words_of(np.frombuffer(bytearray(data), np.uint8), line)
        segments, fault = segments_of(found, state, self.reach, self.speed_m_s, self.acceleration_m_s2, self.rim_m)
        if fault[0]:
            raise self._error(data, line, fault)
        if found.fault[0] and not state.modal[modal.ENDED]:
            raise self._error(data, line, found.fault)
        state.decimals = max(state.decimals, found.decimals)
        return segments, 0.5 * float(state.modal[modal.UNIT]) * 10.0**-state.decimals, after

    def _binary_or_endless(self, data: bytes, line: int) -> None:
        what = "it holds bytes of value 0" if b"\0" in data else f"line {line} is longer than {CHUNK_BYTES} characters"
        raise ProgramError(f"{self.name}: {what}, so this is no motion program; give a text file of G-code.")

    def _error(self, data: bytes, first_line: int, fault: NDArray[np.int64] | Array) -> ProgramError:
        """The error for a fault found in `data`, whose first line is `first_line`."""
        what, line, column = int(fault[0]), int(fault[1]), int(fault[2])
        text = re.split(rb"\r\n|\n|\r", data)[line - first_line].decode("utf-8", "replace")
        here = text[column - 1 :].split(" ")[0][:24] if column else ""
        shown = "".join(c if c.isprintable() else "?" for c in text.strip()[:60])
        here = "".join(c if c.isprintable() else "?" for c in here)
        a, b = (float(fault[3]), float(fault[4])) if len(fault) > 4 else (0.0, 0.0)
        reason = _comma_at(text, column) if what == tokens.STRAY else ""
        reason = reason or self._reason(what, here, a, b)
        return ProgramError(f"{self.name}, line {line}, column {max(column, 1)}: {reason} The line reads: {shown}")

    def _reason(self, what: int, here: str, a: float, b: float) -> str:
        if what == tokens.BINARY:
            return "a byte of value 0, so this is no text; give a text file of G-code."
        if what == tokens.STRAY:
            return f"'{here[:1]}' cannot stand here; words are a letter and a number, like X10.5."
        if what == tokens.NOT_A_NUMBER:
            return f"'{here}' is not a number; write it like X-10.5."
        if what == tokens.TOO_LARGE:
            return f"'{here}' is too large a number; {tokens.LARGEST:g} is the most."
        if what == tokens.UNCLOSED:
            return "this comment is not closed; end it with ) in the same line."
        if what == modal.UNKNOWN_MOTION:
            return (
                f"G{a:g} moves the tool in a way that is not followed here, and all that comes after would be somewhere "
                "else; write it as G0, G1, G2 or G3."
            )
        if what == modal.REPEATED:
            return f"{here[:1]} stands twice in this block; put the moves on two lines."
        if what == modal.BARE:
            return f"{here[:1]} has no number; write it like {here[:1].upper()}10."
        if what == modal.NO_FEED:
            return "no feed yet; write F (mm per minute, or inch per minute after G20) before the first G1, G2 or G3."
        if what == modal.BAD_FEED:
            return f"feed F{a:g} must be above 0."
        if what == modal.OUT_OF_REACH:
            d = int(a)
            low, high = 1e3 * self.reach[d]
            return (
                f"out of reach: this goes to {AXES[d]} = {1e3 * b:.4f} mm, and the reach is {low:g} to {high:g} mm; "
                "move or scale the program, or give a larger [space]."
            )
        if what == modal.BEYOND_RIM:
            return (
                f"out of reach: this goes {1e3 * a:.4f} mm from the middle, and the reach is round, "
                f"{1e3 * self.rim_m:g} mm about X0 Y0; move or scale the program, or give a larger [space]."
            )
        if what == modal.NO_CENTRE:
            return "an arc needs its centre, I and J from its start, or its radius R."
        if what == modal.SMALL_RADIUS:
            return f"arc radius too small: R is {1e3 * a:.4f} mm, half the way to its end is {1e3 * b:.4f} mm."
        if what == modal.OFF_CIRCLE:
            return (
                f"the arc's end does not lie on its circle: its radius is {1e3 * a:.4f} mm at the start and "
                f"{1e3 * b:.4f} mm at the end; check I and J (from the arc's start) and the end point."
            )
        if what == modal.WRONG_PLANE:
            return (
                f"arcs are followed in the XY plane (G17) only, and G{a:.0f} is on; write such an arc as short lines."
            )
        if what == modal.NO_MOTION_CODE:
            return "no G0, G1, G2 or G3 yet, so it is not said how to go there; write one before."
        if what == modal.BAD_DWELL:
            return f"G4 needs P, the seconds to wait, from 0 to {LONGEST_DWELL_S:g}."
        return "an arc by R cannot end where it starts; give its centre by I and J."

    def notes(self) -> list[str]:
        """After reading: finished sentences about codes that were skipped and feeds that were capped."""
        out, state, so_far = [], self.state, self.state.modal
        table = state.unknown[: int(so_far[modal.UNKNOWN_COUNT])]
        if len(table):
            names = [
                f"{chr(int(c))}{'' if v == modal.ANY else f'{v:g}'} "
                + (f"({int(n)} times, first in line {int(at)})" if n > 1 else f"(once, in line {int(at)})")
                for c, v, n, at in table
            ]
            more = " and others" if len(table) == modal.MOST_UNKNOWN else ""
            out.append(f"Codes that mean nothing here were skipped: {', '.join(names)}{more}.")
        if so_far[modal.CAPPED]:
            many, line = int(so_far[modal.CAPPED]), int(so_far[modal.CAPPED_LINE])
            limit = f"above speed_mm_s = {1e3 * self.speed_m_s:g}"
            if many > 1:
                out.append(f"{many} feeds {limit} were lowered to it, the first in line {line}.")
            else:
                out.append(f"A feed {limit} was lowered to it, in line {line}.")
        if waits := int(so_far[modal.LONG_WAITS]):
            wait_s = so_far[modal.LONG_WAIT_S]
            more = f", and {waits - 1} more wait so long" if waits > 1 else ""
            out.append(
                f"G4 P{wait_s:g} in line {int(so_far[modal.LONG_WAIT_LINE])} waits {wait_s:g} seconds{more}: P is in seconds."
            )
        return out


def _comma_at(text: str, column: int) -> str:
    """What to say of a comma that stands in a number at a column of a line, from 1; "" for anything else."""
    numbers = re.finditer(r"[-+]?\d{1,15},\d{1,15}(?![\d,])", text)
    found = next((number[0] for number in numbers if number.start() < column <= number.end()), "")
    return f"{comma_words(found)}." if found else ""


def _last_line_end(data: bytes) -> int:
    """Where the last whole line ends; 0 if none does. A CR at the very end may be half of a CRLF, so it waits."""
    at = data.rfind(b"\n")
    if at < 0:
        at = data.rfind(b"\r", 0, len(data) - 1)
    return at + 1
