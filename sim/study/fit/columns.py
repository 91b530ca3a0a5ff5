"""Samples of an accelerometer from a CSV file: times and two or three accelerations, in SI, whatever the sensor's own frame."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ...errors import InputError
from ...files import name_of, read_text
from ...practice import STANDARD_GRAVITY
from ...scenario.telling import shown

Array = NDArray[np.float64]

LARGEST_BYTES, LEAST_ROWS, MOST_ROWS = 30_000_000, 50, 1_000_000
LARGEST = 1e12  # in whatever unit: a time of months in microseconds, and no acceleration
TIMES = {"t_s": 1.0, "t_ms": 1e-3, "t_us": 1e-6}
UNITS = {"m_s2": 1.0, "g": STANDARD_GRAVITY, "mg": STANDARD_GRAVITY / 1e3}
AXES = ("ax", "ay", "az")
#: So many equal values at the very end of what a column holds, one after the other, are where the sensor could not follow.
CLIPPED_ROWS = 3


@dataclass(frozen=True)
class Columns:
    """Samples of a sensor. t_s: (n,) s, rising, by the sensor's own clock.  a_m_s2: (n, 3), or (n, 2) without az.

    clipped: (n,), whether a sample stands at the end of the sensor's range.
    """

    t_s: Array
    a_m_s2: Array
    clipped: NDArray[np.bool_]


def read_columns(path: Path) -> Columns:
    """Samples of a file. Raises InputError: columns, units, what is no number, too few or too many rows."""
    text = read_text(path, "a record of a sensor", LARGEST_BYTES, "; cut it to the second around the move")
    label = name_of(path.name, 60)
    lines = [(i + 1, line) for i, line in enumerate(text.splitlines()) if line.strip() and not line.startswith("#")]
    if not lines:
        raise InputError(f"{label}: the file is empty; its first line must be t_s,ax_m_s2,ay_m_s2,az_m_s2")
    names = [name.strip().strip('"') for name in lines[0][1].split(",")]
    time, units = _heads(names, label, lines[0][1])
    rows = lines[1:]
    if len(rows) < LEAST_ROWS:
        many = f"{len(rows)} row{'' if len(rows) == 1 else 's'}"
        raise InputError(f"{label}: {many} of samples, {LEAST_ROWS} are the fewest a move can be seen in")
    if len(rows) > MOST_ROWS:
        raise InputError(
            f"{label}: {len(rows)} rows; {MOST_ROWS} are the most, so cut it to the seconds around the move"
        )
    values = _numbers(rows, names, label)
    if np.abs(values).max() > LARGEST:
        raise InputError(f"{label}: holds numbers beyond {LARGEST:g}; no sensor tells such")
    t = values[:, names.index(time)] * TIMES[time]
    back = np.flatnonzero(np.diff(t) <= 0)
    if len(back):
        raise InputError(
            f"{label} line {rows[back[0] + 1][0]}: the time does not go on; samples must stand in order of time"
        )
    if t[-1] - t[0] > 600.0:
        raise InputError(f"{label}: lasts {t[-1] - t[0]:.0f} s by {time}; is that its unit? A move takes seconds")
    if t[-1] - t[0] < 0.2:
        raise InputError(
            f"{label}: lasts {(t[-1] - t[0]) * 1e3:.3g} ms by {time}; is that its unit? A move takes longer"
        )
    a = np.stack([values[:, names.index(name)] * UNITS[unit] for name, unit in units], axis=1)
    return Columns(t - t[0], a, _at_the_end(a))


def _heads(names: list[str], label: str, line: str) -> tuple[str, list[tuple[str, str]]]:
    """(the time's column, [(acceleration's column, unit)]). Raises InputError for a head that does not say both."""
    if len(names) == 1:
        mark = next((m for m in (";", "\t", "|") if m in line), None)
        hint = "columns are parted by commas" if mark else "write t_s,ax_m_s2,ay_m_s2,az_m_s2"
        raise InputError(f"{label} line 1: one column, {shown(line.strip()[:40])}; {hint}")
    time = next((n for n in names if n in TIMES), None)
    found: list[tuple[str, str]] = []
    for axis in AXES:
        for name in names:
            if name.partition("_")[0] == axis and name.partition("_")[2] in UNITS:
                found.append((name, name.partition("_")[2]))
    known = {time, *(name for name, _ in found)}
    for name in names:
        if name in known:
            if names.count(name) > 1:
                raise InputError(f"{label} column {shown(name)}: stands there twice")
            continue
        guess = re.sub(r"[^a-z]", "", name.lower())
        near = next((a for a in AXES if guess[:2] == a or (guess.endswith(a[1]) and guess[:3] == "acc")), None)
        if near is not None:
            raise InputError(f"{label} column {shown(name)}: write the unit, {near}_m_s2 or {near}_g")
        if guess[:1] == "t":
            raise InputError(f"{label} column {shown(name)}: write the unit, t_s or t_ms")
    if time is None:
        raise InputError(f"{label}: no column of times; write t_s or t_ms over it")
    have = {name.partition("_")[0] for name, _ in found}
    if not {"ax", "ay"} <= have:
        raise InputError(
            f"{label}: no column of accelerations {', '.join(sorted({'ax', 'ay'} - have))}; write ax_m_s2 or ax_g over it"
        )
    return time, found


def _numbers(rows: list[tuple[int, str]], names: list[str], label: str) -> Array:
    """(n, columns). Raises InputError for the first row that is none, or holds what is no number."""
    cells = [line.split(",") for _, line in rows]
    for (number, _), row in zip(rows, cells, strict=True):
        if len(row) != len(names):
            raise InputError(f"{label} line {number}: {len(row)} columns, where the first line names {len(names)}")
    try:
        values = np.array(cells, dtype=np.float64)
        if np.isfinite(values).all():
            return values
    except ValueError:
        pass
    for (number, _), row in zip(rows, cells, strict=True):
        for name, cell in zip(names, row, strict=True):
            try:
                if np.isfinite(float(cell)):
                    continue
            except ValueError:
                pass
            raise InputError(
                f"{label} line {number} column {shown(name)}: {shown(cell.strip()[:30])} is no number; leave the line out"
            )
    raise InputError(f"{label}: holds what is no number")


def _at_the_end(a: Array) -> NDArray[np.bool_]:
    """Which samples stand at the end of the sensor's range: runs of equal values at a column's very top or bottom."""
    out = np.zeros(len(a), np.bool_)
    for column in a.T:
        for end in (column.max(), column.min()):
            if column.max() == column.min():
                continue
            there = np.concatenate([[0], (column == end).astype(np.int64), [0]])
            starts, ends = np.flatnonzero(np.diff(there) == 1), np.flatnonzero(np.diff(there) == -1)
            for first, last in zip(starts, ends, strict=True):
                if last - first >= CLIPPED_ROWS:
                    # The samples beside it are cut as well where the sensor filters.
                    out[max(first - 1, 0) : last + 1] = True
    return out
