"""A comparison as `--json`, compare.json and a table of its own give it; the keys are fixed, other tools read them."""

from __future__ import annotations

import csv
import io
from typing import Any

from beltspring.sim import Comparison, Spreading

from .plain import Json, clean, six
from .spread import better_entries, spread_entry
from .summary import judged_entry, summary


def compare_entry(comparison: Comparison, spreading: Spreading | None = None) -> Json:
    """What differs, the reading, and for each design, best first, what it does, costs and what `run --json` gives.

    spreading: the designs as the machines they may turn out to be; None where nobody asked for it. Designs that cannot be
    built stand last, with the reason and everything else null.
    """
    first = comparison.reports[0]
    entry: Json = clean(
        {
            "title": first.design.title,
            "move": first.plan.description,
            "differs": [{"key": d.key, "values": list(d.values)} for d in comparison.differences],
            "reading": list(comparison.sentences),
            "best": None if comparison.best is None else comparison.labels[comparison.best],
            "verdict": None if spreading is None else spreading.verdict,
            "sure": None if spreading is None else spreading.sure,
            "of_draws": None if spreading is None or spreading.pair is None else spreading.pair.less,
            "spread": None
            if spreading is None
            else spread_entry(spreading.spreads[0], better_entries(comparison.labels, spreading.pairs)),
            "designs": designs_entry(comparison, spreading),
        }
    )
    return entry


def designs_entry(comparison: Comparison, spreading: Spreading | None = None) -> list[dict[str, Any]]:
    """A dictionary for each design, best first, those that cannot be built last."""
    built = [_design(comparison, i, spreading) for i in comparison.order]
    refused: list[dict[str, Any]] = [
        {**dict.fromkeys(built[0]), "name": one.label, "refused": one.refused, "unbeaten": False, "remarks": []}
        for one in comparison.refused
    ]
    return [*built, *refused]


def _design(comparison: Comparison, i: int, spreading: Spreading | None) -> dict[str, Any]:
    report, weighed, checked = comparison.reports[i], comparison.weighed[i], comparison.checked[i]
    price = comparison.priced[i]
    ringing = [report.analysis.ringing.get(axis) for axis in "xy"]
    fades = [None if r is None else r.fades_to_5_percent_s for r in ringing]
    known = [f for f in fades if f is not None]
    return {
        "name": comparison.labels[i],
        **judged_entry(comparison.judged[i]),
        "price": None if price is None or price.price is None else round(price.price, 2),
        "without_price": [] if price is None else list(price.unpriced),
        "check": {
            "stops": len(checked.stops),
            "warnings": len(checked.warnings),
            "rules": [*checked.stops, *checked.warnings],
        },
        "refused": None,
        "against_first": against_first(comparison, i),
        "sure_against_first": None if spreading is None or i == 0 else spreading.sures[i - 1],
        "unbeaten": comparison.unbeaten[i],
        "frequencies_hz": dict(zip(("x", "y", "frame"), map(six, weighed.tones_hz), strict=True)),
        "fades_to_5_percent_ms": max(known) * 1e3 if known and len(known) == len(fades) else None,
        "moving_mass_g": dict(zip("xyz", (1e3 * kg for kg in weighed.moving_kg), strict=False)),
        "mass_g": six(1e3 * weighed.mass_kg),
        "move_s": report.plan.move_s,
        "stiffness_n_per_mm": dict(
            zip("xy", (None if k is None else k / 1e3 for k in comparison.stiffness_n_m[i]), strict=True)
        ),
        "remarks": list(comparison.remarks[i]),
        **({} if spreading is None else {"spread": spread_entry(spreading.spreads[i])}),
        "run": summary(report),
    }


def against_first(comparison: Comparison, i: int) -> float | None:
    """Judged ringing beyond the first design's as a share of it; None for the first, and where either is not known."""
    first, own = comparison.judged[0], comparison.judged[i]
    if i == 0 or first is None or own is None or own.judged_m is None or not first.judged_m:
        return None
    return own.judged_m / first.judged_m - 1.0


COLUMNS = (
    "name", "judged_um", "least_um", "most_um", "most_at_mm_s", "against_first", "sure_against_first", "price", "stops",
    "warnings", "rules", "unbeaten", "x_hz", "y_hz", "frame_hz", "fades_to_5_percent_ms", "x_moving_g", "y_moving_g",
    "mass_g", "move_s", "x_n_per_mm", "y_n_per_mm", "refused",
)  # fmt: skip


def compare_csv(comparison: Comparison, spreading: Spreading | None = None) -> str:
    """The designs as CSV, best first, a row each; what is not known is empty."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for one in clean(designs_entry(comparison, spreading)):
        flat = dict(one)
        for key in ("frequencies_hz", "moving_mass_g", "stiffness_n_per_mm", "check"):
            inner = flat.pop(key) or {}
            tail = {"frequencies_hz": "_hz", "moving_mass_g": "_moving_g", "stiffness_n_per_mm": "_n_per_mm"}.get(
                key, ""
            )
            flat |= {f"{name}{tail}": value for name, value in inner.items()}
        flat["rules"] = " ".join(flat.get("rules") or [])
        writer.writerow("" if flat.get(name) is None else flat[name] for name in COLUMNS)
    return out.getvalue()
