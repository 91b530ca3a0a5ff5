"""Bytes of a motion program -> words: letter, number, line, column. After ISO 6983 / RS-274.

A block is one line. Spaces and tabs mean nothing wherever they stand, within numbers too (NIST RS274/NGC 3.3, from
memory); upper and lower case are one; comments run from ( to ) and from ; to the end of the line; N numbers a line and
is dropped, as is * with the checksum behind it. What follows a code that is not known is not read for errors: it may be
a message to the person at the machine. Numbers there that are none, or too large, become minus and plus infinity.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..compiled import compiled, for_size, formula

Array = NDArray[np.float64]

# What can be wrong with the text itself.
FINE, BINARY, STRAY, NOT_A_NUMBER, TOO_LARGE, UNCLOSED = 0, 1, 2, 3, 4, 5
LARGEST = 1e9

_G, _M, _N = ord("G"), ord("M"), ord("N")


@dataclass
class Words:
    """Words of a stretch of text. letter, value, column: (w,); value NaN for a letter without a number.

    first: (b + 1,) index of each block's first word; line: (b,) its line number, from 1.
    decimals: most digits behind a point in an X, Y or Z word.
    fault: (4,) what is wrong (`FINE`: nothing), line, column, byte at which it was found; words end before that block.
    """

    letter: NDArray[np.uint8]
    value: Array
    column: NDArray[np.int32]
    first: NDArray[np.int64]
    line: NDArray[np.int64]
    decimals: int
    fault: NDArray[np.int64]


@formula
def known_code(letter: int, value: float) -> bool:
    """Whether a G or M code means something here. Codes with a decimal part (G92.1) do not."""
    if letter == _G:
        return (
            value in (0.0, 1.0, 2.0, 3.0, 4.0)
            or value in (17.0, 18.0, 19.0, 20.0, 21.0, 28.0)
            or value in (90.0, 91.0, 92.0)
        )
    return value in (0.0, 1.0, 2.0, 30.0, 82.0, 83.0)


@formula
def read_number(data: NDArray[np.uint8], i: int) -> tuple[int, float, bool, int, int]:
    """A number from byte i on: sign, digits, point, digits. Gathered as a whole number, so that it is rounded once.

    Returns the byte behind it, its value (NaN for none), whether it is written wrongly, how many digits it has, and how
    many of them count behind its point.
    """
    n = len(data)
    sign, whole, digits, after, point, dropped = 1.0, 0, 0, 0, False, 0
    signed = False
    while i < n:
        d = int(data[i])
        if d in (32, 9):
            i += 1
        elif 48 <= d <= 57:
            digits += 1
            if whole < 900719925474099:
                whole = 10 * whole + (d - 48)
                after += 1 if point else 0
            elif not point:
                dropped += 1
            i += 1
        elif d == 46 and not point:
            point = True
            i += 1
        elif d in (43, 45) and digits == 0 and not point and not signed:
            signed = True
            sign = -1.0 if d == 45 else 1.0
            i += 1
        else:
            break
    bad = (point or signed) and digits == 0
    if i < n and (data[i] == 46 or data[i] == 43 or data[i] == 45):
        bad = True
    number = np.nan
    if digits > 0 and not bad:
        number = sign * (whole / 10.0 ** min(after, 300)) * 10.0 ** min(dropped, 300)
    return i, number, bad, digits, after


@compiled
def split_words(
    data: NDArray[np.uint8], line: int, letter: NDArray[np.uint8], value: Array, column: NDArray[np.int32],
    first: NDArray[np.int64], lines: NDArray[np.int64], fault: NDArray[np.int64], finest: NDArray[np.int64],
) -> tuple[int, int, int]:  # fmt: skip
    """Fill the arrays of `Words` from whole lines of text, the first of which has number `line`.

    finest: (1,), raised to the most digits behind a point in an X, Y or Z word.
    Returns how many words and blocks there are, and the number of the line that comes next.
    """
    n, words, blocks, i = len(data), 0, 0, 0
    while i < n:
        begin, block_words, lenient = i, words, False
        while i < n and data[i] != 10 and data[i] != 13:
            c = int(data[i])
            at = i
            if c == 0:
                fault[0], fault[1], fault[2], fault[3] = BINARY, line, at - begin + 1, at
                return block_words, blocks, line
            if c in (32, 9):
                i += 1
                continue
            if c == 40:  # ( comment )
                while i < n and data[i] != 10 and data[i] != 13 and data[i] != 41 and data[i] != 0:
                    i += 1
                if i < n and data[i] == 41:
                    i += 1
                elif not lenient and (i >= n or data[i] != 0):
                    fault[0], fault[1], fault[2], fault[3] = UNCLOSED, line, at - begin + 1, at
                    return block_words, blocks, line
                continue
            if c in (59, 42, 37):  # ; comment, * checksum, % tape mark: the rest of the line
                while i < n and data[i] != 10 and data[i] != 13 and data[i] != 0:
                    i += 1
                continue
            if c == 47 and words == block_words:  # / marks a block that may be left out; it is not
                i += 1
                continue
            if 97 <= c <= 122:
                c -= 32
            if c < 65 or c > 90:
                if lenient:
                    i += 1
                    continue
                fault[0], fault[1], fault[2], fault[3] = STRAY, line, at - begin + 1, at
                return block_words, blocks, line
            i, number, bad, digits, after = read_number(data, i + 1)
            if lenient:
                if (digits == 0 and not bad) or (c in (_G, _M, _N) and (bad or abs(number) > LARGEST)):
                    continue
                # Whether this is a message or a move is known when the whole block is: `follow` decides.
                if bad:
                    number = -np.inf
                elif abs(number) > LARGEST:
                    number = np.inf
            elif bad:
                fault[0], fault[1], fault[2], fault[3] = NOT_A_NUMBER, line, at - begin + 1, at
                return block_words, blocks, line
            elif abs(number) > LARGEST:
                fault[0], fault[1], fault[2], fault[3] = TOO_LARGE, line, at - begin + 1, at
                return block_words, blocks, line
            if c == _N:
                continue
            if c in (_G, _M) and digits > 0 and not known_code(c, number):
                lenient = True
            if 88 <= c <= 90 and after > finest[0]:
                finest[0] = after
            letter[words], value[words], column[words] = c, number, at - begin + 1
            words += 1
        if words > block_words:
            first[blocks], lines[blocks] = block_words, line
            blocks += 1
        if i < n:
            i += 2 if data[i] == 13 and i + 1 < n and data[i + 1] == 10 else 1
        line += 1
    return words, blocks, line


def words_of(data: NDArray[np.uint8], line: int) -> tuple[Words, int]:
    """Words of whole lines of text, and the number of the line that comes after them."""
    n = len(data)
    room = n // 2 + 2  # a block takes at least a letter and the end of its line
    letter, value, column = np.empty(n, np.uint8), np.empty(n), np.empty(n, np.int32)
    first, lines = np.empty(room, np.int64), np.empty(room, np.int64)
    fault, finest = np.zeros(4, np.int64), np.zeros(1, np.int64)
    loop = for_size(split_words, n // 50)
    words, blocks, after = loop(data, line, letter, value, column, first, lines, fault, finest)
    first[blocks] = words
    decimals = int(finest[0])
    return Words(
        letter[:words], value[:words], column[:words], first[: blocks + 1], lines[:blocks], decimals, fault
    ), after
