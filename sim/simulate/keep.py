"""What is kept of a run: all of it, or of a long job a thinned trace with every ring-down worth a look in full. SI units.

A keeper is handed the rows of each stretch as it is simulated. It decides what stays in memory; whoever wants to see
every row of a long job (the path error, trace.csv) is handed it as well, by `run(watchers=...)` or by standing in
front of the keeper.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from ..model.system import Array, System
from ..plan.plan import PlanStretch
from ..trace import Rows, StretchExtremes, rest_weights, span_of

#: A run of more rows than this is a long job: of those a thinned trace is kept unless the scenario says otherwise.
LONG_ROWS = 200_000
#: Rows a thinned trace keeps of the whole run, evenly spread; what rings is kept beside them.
MOST_ROWS = 100_000
#: Rows that wait until it is decided what of them is kept.
MOST_WAITING = 20_000
#: Ring-downs kept for each axis, those with the largest peak first. More than analysis looks at.
MOST_RINGDOWNS = 8
#: A stand-still counts as a ring-down from this long on; it is kept in full for so long.
SHORTEST_S, LONGEST_S = 0.020, 5.0


def rows_of(
    system: System, start: Array, t: Array, asked: Array, commanded: Array, out: Array, stretch: PlanStretch | None
) -> Rows:
    """Rows from what a loop recorded. start: (m,) motor angles at the start, rad.  out: (n, out_width), see `commands`."""
    s, n, r = system, system.n, len(system.runs)
    q = out[:, :n]
    tool = tool_places(s, q, commanded)
    theta = s.motor_command(commanded)
    angle = theta.copy()
    for j, motor in enumerate(s.motors):
        if motor.row is not None:
            angle[:, j] = q @ motor.row
    lines = getattr(stretch, "source_line", None)
    return Rows(
        t_s=t,
        asked=asked,
        commanded=commanded,
        tool=tool,
        motor_rad=angle - start,
        motor_nm=out[:, 2 * n + r :],
        motor_lag_rad=angle - theta,
        tension_n=out[:, 2 * n : 2 * n + r],
        q=q,
        speeds=out[:, n : 2 * n],
        depositing=np.zeros(len(t), np.bool_) if stretch is None else stretch.depositing(t),
        source_line=np.zeros(len(t), np.int32) if lines is None else lines(t),
        off_path=np.zeros((len(t), 0)),
    )


def tool_places(system: System, q: Array, commanded: Array) -> Array:
    """Places of the tool, (n, 3) m, at coordinates q (n, n_dof); commanded (n, 3): where the model does not move it."""
    tool = commanded.copy()
    moved = system.tool_at(q) if np.any(system.work_turn) else system.tool_zero + q @ system.tool_rows.T
    for axis in range(3):
        if system.tool_moves[axis]:
            tool[:, axis] = moved[:, axis]
    return tool


class Keeper(Protocol):
    """Decides what of a run stays in memory."""

    thinned: bool

    def add(self, rows: Rows, extremes: StretchExtremes, stretch: PlanStretch) -> None:
        """Take in a stretch, in order."""
        ...

    def done(self) -> tuple[list[Rows], list[StretchExtremes]]:
        """What is kept, in order of time."""
        ...


@dataclass
class KeepAll:
    """Every row and every stretch."""

    thinned: bool = False
    rows: list[Rows] = field(default_factory=list)
    stretches: list[StretchExtremes] = field(default_factory=list)

    def add(self, rows: Rows, extremes: StretchExtremes, stretch: PlanStretch) -> None:
        self.rows.append(rows)
        self.stretches.append(extremes)

    def done(self) -> tuple[list[Rows], list[StretchExtremes]]:
        return self.rows, self.stretches


@dataclass
class _Entry:
    """A piece of the run. number: (k,) place of each row in the whole run.  stride: every how many-th row is left."""

    extremes: StretchExtremes
    rows: list[Rows]
    number: list[NDArray[np.int64]]
    stride: int = 1


class KeepThinned:
    """A thinned trace of a run of any length: evenly spread rows, and all rows of the ring-downs with the largest peak.

    Stretches between those ring-downs are put together, so that the extremes of every step still count; the memory
    taken does not depend on how long the run is.
    """

    thinned = True

    def __init__(self, system: System, extreme_names: tuple[str, ...], most_rows: int | None = None) -> None:
        self.columns = [extreme_names.index(f"tool_{a}") for a in "xy"]
        self.most_rows, self.stride = MOST_ROWS if most_rows is None else most_rows, 1
        self.entries: list[_Entry] = []
        self.count = self.waiting = 0
        self.peaks: dict[tuple[int, float], float] = {}

    def add(self, rows: Rows, extremes: StretchExtremes, stretch: PlanStretch) -> None:
        number = np.arange(self.count, self.count + len(rows))
        self.count += len(rows)
        rows, stride = replace(rows), 1  # of its own: it is emptied where it is joined with others
        if not any(extremes.resting[:2]):
            # No ring-down can be in it, so it need not wait to be thinned.
            stride = self.stride
            first = -int(number[0]) % stride if len(rows) else 0
            rows, number = rows[first::stride], number[first::stride]
        self.entries.append(_Entry(extremes, [rows], [number], stride))
        self.waiting += len(rows)
        if self.waiting > MOST_WAITING or len(self.entries) > 4000:
            self._settle(last=False)

    def done(self) -> tuple[list[Rows], list[StretchExtremes]]:
        self._settle(last=True)
        rows = [r for e in self.entries for r in e.rows if len(r)]
        for entry in self.entries:
            entry.rows = []
        return [Rows.joined(rows)] if rows else [], [e.extremes for e in self.entries]

    def _settle(self, last: bool) -> None:
        """Thin and put together what will not be looked at closely."""
        wanted = self._wanted(last)
        while 1 + (self.count - 1) // self.stride > self.most_rows:
            self.stride *= 2
        out: list[_Entry] = []
        entries, self.entries = self.entries[::-1], []
        for i in range(len(entries)):
            entry = entries.pop()  # what has been thinned is let go of at once
            if i in wanted:
                entry = self._watched(entry, wanted[i])
                out.append(entry)
                continue
            entry = self._thin(entry, np.inf)
            before = out[-1] if out else None
            if before is not None and before.stride == entry.stride and not any(before.extremes.resting):
                before.extremes = _together(before.extremes, entry.extremes)
                before.rows += entry.rows
                before.number += entry.number
            else:
                e = entry.extremes
                out.append(
                    _Entry(
                        StretchExtremes(e.t0, e.t1, (False, False, False), e.low, e.high),
                        entry.rows,
                        entry.number,
                        entry.stride,
                    )
                )
        for entry in out:
            if len(entry.rows) > 64 or last:
                entry.rows, entry.number = [Rows.joined(entry.rows)], [np.concatenate(entry.number)]
        self.entries = out
        self.waiting = 0

    def _wanted(self, last: bool) -> dict[int, float]:
        """Entries that belong to a ring-down to keep -> the time until which all its rows are kept."""
        found: dict[int, float] = {}
        for axis in range(2):
            groups: list[list[int]] = []
            for i, entry in enumerate(self.entries):
                if not entry.extremes.resting[axis]:
                    continue
                if groups and groups[-1][-1] == i - 1:
                    groups[-1].append(i)
                else:
                    groups.append([i])
            going_on = None if last or not self.entries[-1].extremes.resting[axis] else len(self.entries) - 1
            ranked = sorted(groups, key=lambda g: self._rank(g, axis, g[-1] != going_on), reverse=True)
            kept = ranked[:MOST_RINGDOWNS]
            if not last and groups and groups[-1][-1] == len(self.entries) - 1 and groups[-1] not in kept:
                kept = [*kept, groups[-1]]
            for group in kept:
                until = self.entries[group[0]].extremes.t0 + LONGEST_S
                for i in group:
                    found[i] = max(found.get(i, 0.0), until)
        return found

    def _rank(self, group: list[int], axis: int, ended: bool) -> tuple[bool, float]:
        """Whether a stand-still is long enough to look at, and how far the tool goes from where it comes to rest, m.

        Worked out as soon as it has ended, from rows that are still whole; before, the swing is what the peak may reach.
        """
        own = [self.entries[i] for i in group]
        start, end = own[0].extremes.t0, own[-1].extremes.t1
        low, high = span_of([e.extremes for e in own], self.columns[axis])
        peak = self.peaks.get((axis, start))
        if peak is None and ended:
            end_s = min(end, start + LONGEST_S)
            half_s = 0.5 * (start + end_s)
            parts = [r for e in own for r in e.rows]
            t = np.concatenate([r.t_s for r in parts])
            late = slice(*np.searchsorted(t, (half_s, end_s + 1e-9)))
            weight = rest_weights(t[late], half_s, end_s)
            if weight is not None:
                rest = float(weight @ np.concatenate([r.tool[:, axis] for r in parts])[late] / weight.sum())
                peak = self.peaks[axis, start] = max(high - rest, rest - low, 0.0)
        return end - start >= SHORTEST_S, high - low if peak is None else peak

    def _watched(self, entry: _Entry, until_s: float) -> _Entry:
        return entry if entry.extremes.t1 <= until_s else self._thin(entry, until_s)

    def _thin(self, entry: _Entry, until_s: float) -> _Entry:
        """Leave only every so many rows; those before `until_s` stay, if that is a time."""
        if entry.stride == self.stride:
            return entry
        rows, number = [], []
        parts = entry.rows[::-1]
        entry.rows = []
        for n in entry.number:
            part = parts.pop()
            stay = n % self.stride == 0
            if np.isfinite(until_s):
                stay |= part.t_s <= until_s
            rows.append(part[stay])
            number.append(n[stay])
        return _Entry(entry.extremes, rows, number, 1 if np.isfinite(until_s) else self.stride)


def _together(a: StretchExtremes, b: StretchExtremes) -> StretchExtremes:
    low, high = np.minimum(a.low, b.low), np.maximum(a.high, b.high)
    return StretchExtremes(a.t0, b.t1, (False, False, False), low, high)
