"""trace.csv: channels over time, a row for each instant kept."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from beltspring.sim import Rows, Trace

ROWS_AT_ONCE = 20_000


def trace_columns(trace: Trace) -> list[str]:
    """The columns of trace.csv."""
    return columns_of(trace.motors, trace.runs)


def columns_of(motors: Sequence[str], runs: Sequence[tuple[str, str]]) -> list[str]:
    """The columns of trace.csv for a machine's motors and runs (belt, run)."""
    places = [f"{what}_{axis}_mm" for what in ("asked", "commanded", "tool") for axis in "xyz"]
    turns = [column for name in motors for column in (f"motor_{name}_deg", f"motor_{name}_nm")]
    return ["t_s", *places, *turns, *(f"belt_{belt}_{run}_n" for belt, run in runs)]


class TraceFile:
    """trace.csv, written as rows come: ten digits keep positions to well under a nanometre.

    line_width_m: of a program, whose last column is the printed line: its width where material is laid, else 0.
    """

    def __init__(self, path: Path, columns: list[str], line_width_m: float | None) -> None:
        self._path = path
        self._columns = [*columns, "line_width_mm"] if line_width_m is not None else columns
        self._line_width_m = line_width_m
        self._format = ",".join(["%.10g"] * len(self._columns)) + "\n"

    def __enter__(self) -> TraceFile:
        self._file = self._path.open("w", encoding="utf-8", newline="\n")
        self._file.write(",".join(self._columns) + "\n")
        return self

    def add(self, rows: Rows | Trace) -> None:
        """Write rows, a block at a time."""
        for start in range(0, len(rows.t_s), ROWS_AT_ONCE):
            part = slice(start, start + ROWS_AT_ONCE)
            blocks = [rows.t_s[part, None], *(1e3 * a[part] for a in (rows.asked, rows.commanded, rows.tool))]
            for j in range(rows.motor_rad.shape[1]):
                blocks += [np.degrees(rows.motor_rad[part, j : j + 1]), rows.motor_nm[part, j : j + 1]]
            blocks.append(rows.tension_n[part])
            if self._line_width_m is not None:
                blocks.append(np.where(rows.depositing[part], 1e3 * self._line_width_m, 0.0)[:, None])
            table = np.hstack(blocks)
            self._file.write((self._format * len(table)) % tuple(table.ravel().tolist()))

    def __exit__(self, *_: object) -> None:
        self._file.close()


def write_trace(trace: Trace, path: Path) -> None:
    """trace.csv of a trace that is there whole."""
    width = trace.line_width_m if trace.source_line.any() else None
    with TraceFile(path, trace_columns(trace), width) as file:
        file.add(trace)
