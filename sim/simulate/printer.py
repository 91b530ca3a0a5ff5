"""Printing arithmetic as source text: rows times names, balanced sums, and one flat parameter array."""

from __future__ import annotations

import numpy as np

from ..model.system import Array


class Printer:
    """Collects parameters and lines; knows how to print a row times a vector of names.

    tail: parameters used as one array of tail_shape, after all the named ones.
    """

    def __init__(self) -> None:
        self.values: list[float] = []
        self.tail: list[float] = []
        self.tail_shape: tuple[int, int, int] | None = None
        self.lines: list[str] = []

    def p(self, value: float) -> str:
        """Name of a parameter of that value (one each, never shared, so that the text depends on topology alone)."""
        self.values.append(float(value))
        return f"P[{len(self.values) - 1}]"

    def add(self, text: str, indent: int) -> None:
        """One line."""
        self.lines.append("    " * indent + text)

    def dot(self, row: Array, names: list[str]) -> str:
        """Text of row . names; "0.0" when the row is empty. Exact +-1, +-2 are printed as such."""
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
        return total(terms)


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


def shared(rows: list[Array]) -> tuple[list[Array], list[tuple[int, str]]]:
    """Rows that are equal, or opposite, once: (distinct rows, for each row its (number, sign))."""
    distinct: list[Array] = []
    signs: list[tuple[int, str]] = []
    for row in rows:
        for i, known in enumerate(distinct):
            if np.array_equal(row, known) or np.array_equal(row, -known):
                signs.append((i, "+" if np.array_equal(row, known) else "-"))
                break
        else:
            distinct.append(row)
            signs.append((len(distinct) - 1, "+"))
    return distinct, signs


def term(name: str, value: float, printer: Printer) -> tuple[str, str]:
    """One term value * name, signed."""
    if value in (1.0, -1.0):
        return ("+" if value > 0 else "-", name)
    return ("+", f"{printer.p(value)} * {name}")
