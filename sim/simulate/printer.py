"""Printing arithmetic as source text: rows times names, balanced sums, and one flat parameter array."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..model.system import Array

#: Numbers in a register: rows of a matrix that a block of straight arithmetic (`emit.py`) multiplies together, and entries of
#: its widest vector.
LANES = 8


def filled(count: int) -> int:
    """That many entries filled up to a multiple of what a register holds."""
    return -(-count // LANES) * LANES


class Printer:
    """Collects parameters and lines; knows how to print a row times a vector of names.

    indent: of lines that do not say their own.  straight: print for a block of straight arithmetic (`emit.py`).
    vectors: what is alike is printed as vectors there.
    """

    def __init__(self, indent: int = 0, straight: bool = False, vectors: bool = False) -> None:
        self.indent, self.straight, self.vectors = indent, straight, vectors
        self.values: list[float] = []
        self.lines: list[str] = []

    @property
    def text(self) -> str:
        """All lines."""
        return "\n".join(self.lines)

    def another(self) -> Printer:
        """A printer of other lines with the same parameters."""
        other = Printer(self.indent, self.straight, self.vectors)
        other.values = self.values
        return other

    def p(self, value: float) -> str:
        """Name of a parameter of that value (one each, never shared, so that the text depends on topology alone)."""
        self.values.append(float(value))
        return f"P[{len(self.values) - 1}]"

    def row(self, values: Sequence[float]) -> str:
        """Several parameters as one vector, filled up with the last of them; a name where there is but one."""
        if len(values) == 1:
            return self.p(values[0])
        high = width(len(values))
        start = self.begin_at(high)
        self.values += [float(x) for x in (*values, *[values[-1]] * (high - len(values)))]
        return f"P[{start}:{start + high}]"

    def begin_at(self, size: int) -> int:
        """Fill the parameters up to a multiple of `size`, so that what follows does not lie across two lines of the cache."""
        self.values += [0.0] * (-len(self.values) % size)
        return len(self.values)

    def table(self, numbers: Array) -> int:
        """Where among the parameters those of an array begin, in its order."""
        start = self.begin_at(LANES)
        self.values += [float(x) for x in numbers.ravel()]
        return start

    def alike(self, count: int) -> list[range]:
        """How things of one kind are printed: all as one vector, as far as they fit into one, or each by itself."""
        size = LANES if self.vectors else 1
        return [range(i, min(i + size, count)) for i in range(0, count, size)]

    def add(self, text: str, indent: int | None = None) -> None:
        """One line."""
        self.lines.append("    " * (self.indent if indent is None else indent) + text)

    def dot(self, row: Array, names: list[str]) -> str:
        """Text of row . names; "0.0" when the row is empty."""
        return total(self.terms(row, names))

    def terms(self, row: Array, names: list[str]) -> list[tuple[str, str]]:
        """Signed terms of row . names. Exact +-1, +-2 are printed as such."""
        terms = []
        for value, name in zip(row.tolist(), names, strict=True):
            if value == 0.0:
                continue
            if value in (1.0, -1.0):
                terms.append(("+" if value > 0 else "-", name))
            elif value in (2.0, -2.0):
                terms.append(("+" if value > 0 else "-", f"2.0 * {name}"))
            else:
                terms.append(("+", f"{self.p(value)} * {name}"))
        return terms


def width(count: int) -> int:
    """Entries of a vector that so many numbers fit into."""
    return 1 << (count - 1).bit_length()


def packed(names: Sequence[str]) -> str:
    """Text of those numbers as one vector; of one number its name."""
    return names[0] if len(names) == 1 else f"pack({', '.join([*names, *['0.0'] * (width(len(names)) - len(names))])})"


def taken_apart(names: Sequence[str]) -> str:
    """What stands before `=` to give a vector's entries names."""
    return names[0] if len(names) == 1 else f"{', '.join(names)}, *_"


def total(terms: list[tuple[str, str]]) -> str:
    """Text of a signed sum as a balanced tree: a chain of additions would make the processor wait for each in turn."""
    # Positive terms first, so that no inner bracket needs a leading minus.
    return _tree([text for sign, text in terms if sign == "+"], [text for sign, text in terms if sign != "+"])


def _tree(plus: list[str], minus: list[str]) -> str:
    count = len(plus) + len(minus)
    if count < 2:
        return plus[0] if plus else f"-{minus[0]}" if minus else "0.0"
    half = (count + 1) // 2
    if len(plus) > half:
        return f"({_tree(plus[:half], [])}) + ({_tree(plus[half:], minus)})"
    left = half - len(plus)
    return f"({_tree(plus, minus[:left])}) - ({_tree(minus[left:], [])})"


#: Lever arms (m) and directions closer than this are the same: the noise must not decide how a kernel is printed.
NOISE = 1e-12


@dataclass(frozen=True)
class Row:
    """A row of a family as printed: the row `parent` of the family (None: nothing) with its sign, and what is left."""

    parent: int | None
    sign: float
    rest: Array


def family(rows: list[Array]) -> list[Row]:
    """Rows that are much like an earlier one, or its opposite, as that one and the difference."""
    out: list[Row] = []
    every = np.array(rows)
    for i, row in enumerate(rows):
        best = Row(None, 0.0, row)
        rests = np.stack([row - every[:i], row + every[:i]], axis=1).reshape(
            2 * i, len(row)
        )  # of each: itself, its opposite
        rests[np.abs(rests) < NOISE] = 0.0
        left = np.count_nonzero(rests, axis=1)
        if i and left.min() < np.count_nonzero(row) - 1:
            first = int(left.argmin())
            best = Row(first // 2, -1.0 if first % 2 else 1.0, rests[first])
        out.append(best)
    return out


def print_family(pr: Printer, rows: list[Row], names: list[str], operands: list[str]) -> None:
    """Lines that set names[i] to row i times the operands."""
    for name, row in zip(names, rows, strict=True):
        rest = pr.terms(row.rest, operands)
        if row.parent is not None:
            rest.insert(0, ("+" if row.sign > 0 else "-", names[row.parent]))
        pr.add(f"{name} = {total(rest)}")


def term(name: str, value: float, printer: Printer) -> tuple[str, str]:
    """One term value * name, signed."""
    if value in (1.0, -1.0):
        return ("+" if value > 0 else "-", name)
    return ("+", f"{printer.p(value)} * {name}")
