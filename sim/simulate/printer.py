"""Printing arithmetic as source text: rows times names, balanced sums, and one flat parameter array."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..model.system import Array


class Printer:
    """Collects parameters and lines; knows how to print a row times a vector of names.

    indent: of lines that do not say their own.  straight: print for a block of straight arithmetic (`emit.py`).
    """

    def __init__(self, indent: int = 0, straight: bool = False) -> None:
        self.indent, self.straight = indent, straight
        self.values: list[float] = []
        self.lines: list[str] = []

    @property
    def text(self) -> str:
        """All lines."""
        return "\n".join(self.lines)

    def another(self) -> Printer:
        """A printer of other lines with the same parameters."""
        other = Printer(self.indent, self.straight)
        other.values = self.values
        return other

    def p(self, value: float) -> str:
        """Name of a parameter of that value (one each, never shared, so that the text depends on topology alone)."""
        self.values.append(float(value))
        return f"P[{len(self.values) - 1}]"

    def add(self, text: str, indent: int | None = None) -> None:
        """One line."""
        self.lines.append("    " * (self.indent if indent is None else indent) + text)

    def dot(self, row: Array, names: list[str]) -> str:
        """Text of row . names; "0.0" when the row is empty."""
        return total(self.terms(row, names))

    def terms(self, row: Array, names: list[str]) -> list[tuple[str, str]]:
        """Signed terms of row . names. Exact +-1, +-2 are printed as such."""
        terms = []
        for value, name in zip(row, names, strict=True):
            if value == 0.0:
                continue
            if value in (1.0, -1.0):
                terms.append(("+" if value > 0 else "-", name))
            elif value in (2.0, -2.0):
                terms.append(("+" if value > 0 else "-", f"2.0 * {name}"))
            else:
                terms.append(("+", f"{self.p(value)} * {name}"))
        return terms


def total(terms: list[tuple[str, str]]) -> str:
    """Text of a signed sum as a balanced tree: a chain of additions would make the processor wait for each in turn."""
    if not terms:
        return "0.0"
    if len(terms) == 1:
        sign, term = terms[0]
        return term if sign == "+" else f"-{term}"
    # Positive terms first, so that no inner bracket needs a leading minus.
    ordered = sorted(terms, key=lambda item: item[0] != "+")
    half = (len(ordered) + 1) // 2
    left, right = ordered[:half], ordered[half:]
    if right[0][0] == "-":
        return f"({total(left)}) - ({total([('-' if s == '+' else '+', t) for s, t in right])})"
    return f"({total(left)}) + ({total(right)})"


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
    for i, row in enumerate(rows):
        best = Row(None, 0.0, row)
        for j, other in enumerate(rows[:i]):
            for sign in (1.0, -1.0):
                rest = row - sign * other
                rest[np.abs(rest) < NOISE] = 0.0
                saved = np.count_nonzero(best.rest) + (best.parent is not None) - np.count_nonzero(rest) - 1
                if saved > 0:
                    best = Row(j, sign, rest)
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
