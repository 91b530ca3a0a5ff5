"""A fit's curves, written and read back with its folder: its records with their curves, and what was learned in words."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from beltspring.sim import FitCurves, FitRecord, InputError

from .plain import clean

if TYPE_CHECKING:
    from .folder import Folder

CURVES = "curves.json"


@dataclass(frozen=True)
class RecordSaved:
    """A record of a fit; as `FitRecord`."""

    file: str
    unexplained: float
    unexplained_before: float
    curves: FitCurves


@dataclass(frozen=True)
class FitSaved:
    """What a fit left. learned: in words.  scenario: fitted.toml, None where the model cannot make what was measured.

    numbers: single measurements beside the model before and after, in words.
    """

    records: tuple[RecordSaved, ...]
    learned: tuple[str, ...]
    scenario: Path | None
    numbers: tuple[str, ...] = ()


def write_curves(records: Sequence[FitRecord], folder: Folder) -> None:
    """Every record's curves as curves.json, s and m/s2."""
    entry = [
        {
            "file": r.file,
            "axis": r.curves.axis,
            "unexplained": float(r.unexplained),
            "unexplained_before": float(r.unexplained_before),
            "t_s": np.round(r.curves.t_s, 6).tolist(),
            **{name: np.round(getattr(r.curves, name), 4).tolist() for name in ("measured", "before", "after")},
        }
        for r in records
    ]
    # A number to a line would make it many times as long.
    (folder / CURVES).write_text(json.dumps(clean(entry), ensure_ascii=False, allow_nan=False) + "\n", encoding="utf-8")


def read_fit(folder: Path) -> FitSaved:
    """Read it. Raises InputError where there is no fit, or one that is broken or from before its curves were kept."""
    try:
        told = json.loads((folder / "fit.json").read_text(encoding="utf-8"))
        kept = json.loads((folder / CURVES).read_text(encoding="utf-8"))
        learned = tuple(str(p["words"]) for p in told["parameters"] if p["informed"])
        numbers = tuple(str(n["words"]) for n in told.get("numbers", ()) if "words" in n)
        records = tuple(
            RecordSaved(
                str(r["file"]),
                float(r["unexplained"]),
                float(r["unexplained_before"]),
                FitCurves(str(r["axis"]), *(np.array(r[k], float) for k in ("t_s", "measured", "before", "after"))),
            )
            for r in kept
        )
        if any(len(r.curves.t_s) < 2 or len({len(v) for v in _arrays(r.curves)}) != 1 for r in records):
            raise ValueError
    except OSError:
        raise InputError(
            f"{folder.name}: not a fit's folder; `beltspring fit --out` writes fit.json and {CURVES}"
        ) from None
    except (ValueError, KeyError, TypeError):
        raise InputError(f"{folder.name}: its fit.json or {CURVES} is broken; run the fit again") from None
    scenario = folder / "fitted.toml"
    return FitSaved(records, learned, scenario if scenario.is_file() else None, numbers)


def _arrays(curves: FitCurves) -> tuple[Any, ...]:
    return curves.t_s, curves.measured, curves.before, curves.after
