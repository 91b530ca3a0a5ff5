"""Printing what rods do under their bushings, as they bend by where those stand (model/shafts.py)."""

from __future__ import annotations

import numpy as np

from ..model.joints import JointElement
from ..model.system import Array
from .printer import NOISE, Printer, taken_apart, term, total

#: The entries of what two bushings do to each other: own, own, and one to the other.
BUSHINGS = ("11", "22", "12")


def print_rods(
    pr: Printer, j: int, joint: JointElement, d: list[str], f: list[list[tuple[str, str]]]
) -> list[tuple[str, str]]:
    """Forces of rods on d, added to f; returns the terms of 1/2 d' K'(s) d."""
    shaft, sets = joint.shaft, joint.shaft_rows
    if shaft is None or sets is None:
        return []
    add, s, o = pr.add, f"j{j}s", f"j{j}o_"
    # The influence of two bushings on each other is a polynomial of the slide, and so is its slope.
    curves = shaft.influence_powers()[[0, 1, 0], [0, 1, 1]]
    slopes = np.pad(curves[:, 1:] * np.arange(1, curves.shape[1]), ((0, 0), (0, 1)))
    told = [*(f"{o}f{at}" for at in BUSHINGS), *(f"{o}h{at}" for at in BUSHINGS)]
    _polynomials(pr, np.vstack([curves, slopes]), s, told)
    soft = pr.p(1 / shaft.bushing_n_m)
    add(f"{o}s1 = {o}f11 + {soft}")
    add(f"{o}s2 = {o}f22 + {soft}")
    add(f"{o}d = 1.0 / ({o}s1 * {o}s2 - {o}f12 * {o}f12)")
    # 1/2 w' K' w with K' = -K F' K and p = K w the bushings' forces: the sums of p p' over all sets come first.
    squares: list[list[tuple[str, str]]] = [[], [], []]
    for number, rows in enumerate(_fewest(sets)):
        w, v = pr.dot(rows[0], d), pr.dot(rows[1], d)
        one, two = f"{o}p{number}", f"{o}r{number}"
        if np.array_equal(rows[0], rows[1]):
            add(f"{o}w{number} = {w}")
            add(f"{one} = (({o}s2 - {o}f12) * {o}w{number}) * {o}d")
            add(f"{two} = (({o}s1 - {o}f12) * {o}w{number}) * {o}d")
        else:
            add(f"{o}w{number} = {w}")
            add(f"{o}v{number} = {v}")
            add(f"{one} = ({o}s2 * {o}w{number} - {o}f12 * {o}v{number}) * {o}d")
            add(f"{two} = ({o}s1 * {o}v{number} - {o}f12 * {o}w{number}) * {o}d")
        for i in range(6):
            # What pulls alike on both bushings is added up before it is scaled.
            a, b = float(rows[0, i]), float(rows[1, i])
            if a == b != 0.0:
                f[i].append(term(f"({one} + {two})", a, pr))
            elif a == -b != 0.0:
                f[i].append(term(f"({one} - {two})", a, pr))
            else:
                f[i] += [term(name, value, pr) for name, value in ((one, a), (two, b)) if value != 0.0]
        for k, product in enumerate((f"{one} * {one}", f"{one} * {two}", f"{two} * {two}")):
            squares[k].append(("+", product))
    for k, name in enumerate(("u11", "u12", "u22")):
        add(f"{o}{name} = {total(squares[k])}")
    add(f"{o}c = -0.5 * ({o}u11 * {o}h11 + 2.0 * {o}u12 * {o}h12 + {o}u22 * {o}h22)")
    return [("+", f"{o}c")]


def _polynomials(pr: Printer, table: Array, at: str, names: list[str]) -> None:
    """Lines that set names to polynomials of one number, by Horner's rule in its square: its odd and its even powers.

    table: of each the factors of its powers, (k, powers).
    """
    high = table.shape[1]
    square = f"{names[0]}_2"
    pr.add(f"{square} = {at} * {at}")
    for mine in pr.alike(len(table)):
        parts = []
        for first in (0, 1):
            powers = list(range(first, high, 2))
            text = pr.row(list(table[mine, powers[-1]]))
            for k in reversed(powers[:-1]):
                text = f"({pr.row(list(table[mine, k]))} + {square} * {text})"
            parts.append(text)
        pr.add(f"{taken_apart([names[i] for i in mine])} = {parts[0]} + {at} * {parts[1]}")


def _fewest(sets: Array) -> list[Array]:
    """Sets of rows (2, 6) with the same sum of R' K R for every K as the given ones, and fewer entries.

    Two rods side by side: R1, R2 become (R1 + R2) / sqrt 2 and (R1 - R2) / sqrt 2, of which one often has nothing left.
    """
    found = list(sets)
    for i in range(len(found)):
        for j in range(i + 1, len(found)):
            plus, minus = (found[i] + found[j]) / np.sqrt(2), (found[i] - found[j]) / np.sqrt(2)
            for mixed in (plus, minus):
                mixed[np.abs(mixed) < NOISE] = 0.0
            entries = [np.count_nonzero(rows) for rows in (plus, minus, found[i], found[j])]
            if entries[0] + entries[1] < entries[2] + entries[3]:
                found[i], found[j] = plus, minus
    return [rows for rows in found if np.any(rows)]
