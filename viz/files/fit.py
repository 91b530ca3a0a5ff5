"""A fit as `--json` and fit.json give it, and the sheet of what to measure; the keys are fixed, other tools read them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from beltspring.sim import Fitted, fit_report, learned_words, number_words

from .fit_read import write_curves
from .plain import clean, six, write_json

if TYPE_CHECKING:
    from .folder import Folder


def fit_entry(found: Fitted) -> dict[str, Any]:
    """A fit. give_or_take, low and high hold for 19 of 20 machines, in the number's own unit; shares are of 1."""
    entry: dict[str, Any] = clean(
        {
            "title": found.title,
            "layout": found.layout,
            "detail": found.detail,
            "measured": found.measured.label,
            "explains": found.explains,
            "checked": found.checked,
            "interrupted": found.interrupted,
            "refused": found.refused or None,
            "chi2": six(found.chi2),
            "parameters": [
                {
                    "key": p.key,
                    "keys": list(p.keys),
                    "unit": p.unit,
                    "before": six(p.before),
                    "after": six(p.after),
                    "give_or_take": six(p.give_or_take),
                    "band": [six(p.low), six(p.high)],
                    "band_before": [six(p.was_low), six(p.was_high)],
                    "informed": p.informed,
                    "words": learned_words(p),
                }
                for p in found.parameters
            ],
            "apart": [
                {"keys": list(a.keys), "correlation": six(a.correlation), "would_help": a.would_help}
                for a in found.apart
            ],
            "records": [
                {
                    "file": r.file,
                    "use": r.use,
                    "unexplained": six(r.unexplained),
                    "unexplained_before": six(r.unexplained_before),
                    "chi2": six(r.chi2),
                    "clock": six(r.clock),
                    "gain": six(r.gain),
                    "left_out": six(r.left_out),
                    "left_handed": r.mirrored,
                }
                for r in found.records
            ],
            "numbers": [
                {
                    "name": n.name,
                    "unit": n.unit,
                    "measured": six(n.measured),
                    "give_or_take": six(n.give),
                    "before": six(n.before),
                    "after": six(n.after),
                    "words": number_words(n),
                }
                for n in found.numbers
            ],
        }
    )
    return entry


def write_fit(found: Fitted, folder: Folder) -> None:
    """report.txt, fit.json and curves.json; fitted.toml only where the model makes what was measured."""
    (folder / "report.txt").write_text(fit_report(found), encoding="utf-8")
    write_json(fit_entry(found), folder / "fit.json")
    write_curves(found.records, folder)
    if found.explains and not found.interrupted:
        (folder / "fitted.toml").write_text(found.toml, encoding="utf-8")
