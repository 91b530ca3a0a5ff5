"""What a page says of a design, in words and rows: verdict, facts, findings, the order, what is known how well."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from typing import Any

from beltspring.sim import Comparison, Design, Finding, Order, Report, Spreading, catalogue_rows

ASKED = ("space", "move", "motion", "budget")  # what is asked of a machine is not known of it
SHORT = 4  # numbers of one kind of knowledge that are told


def facts(report: Report, made: Order, finds: Sequence[Finding], order_of: str) -> list[tuple[str, str]]:
    """The numbers a person asks for first."""
    out = []
    which = f" ({order_of})" if order_of not in ("", "as written") else ""
    judged = report.judged
    if judged is not None and judged.judged_m is not None:
        over = f" ({1e6 * (judged.least_m or 0):.0f} to {1e6 * (judged.most_m or 0):.0f} over speeds near its own)"
        out.append((f"{1e6 * judged.judged_m:.0f}", f"µm of ringing, judged{over}"))
    if report.analysis.ripple_spacing_m is not None:
        out.append((f"{1e3 * report.analysis.ripple_spacing_m:.2g}", "mm between ripples"))
    if made.price is not None:
        out.append((f"{made.price:.0f}", f"{made.currency}{which}{', from invented prices' if made.invented else ''}"))
    out.append((f"{made.total_kg:.1f}", f"kg of parts{which}"))
    stops, warns = (sum(f.severity == kind for f in finds) for kind in ("stop", "warn"))
    if stops:
        out.append((str(stops), f"{'thing' if stops == 1 else 'things'} would not work: do that first"))
    if warns:
        out.append(
            (str(warns), f"{'warning' if warns == 1 else 'warnings'}: do that first" if not stops else "warnings")
        )
    if not stops and not warns:
        out.append(("0", "warnings, nothing stops it"))
    return out


def job(report: Report) -> str:
    """What the machine is, in a sentence."""
    d = report.design
    x, y, z = (1e3 * v for v in (d.space.x_m, d.space.y_m, d.space.z_m))
    frame = "a rigid frame" if d.frame is None else f"{d.frame.part} for the frame"
    belts = ", ".join(dict.fromkeys(b.part for b in d.belts.values()))
    rides = "guides" if d.carriage.guide is None else d.carriage.guide.part
    made_of = f"{d.layout}, on {rides}, with {belts} and {frame}"
    return f"Reaches {x:.0f} × {y:.0f} × {z:.0f} mm; {made_of}. Move: {report.plan.description}."


def verdict(report: Report, comparison: Comparison | None, spreading: Spreading | None = None) -> list[str]:
    """The most important sentence first."""
    if comparison is not None:
        first, *others = comparison.sentences
        if spreading is not None and spreading.verdict is not None:
            others.insert(1, spreading.verdict)
        return [*others[:3], first] if others else [first]
    return list(report.sentences[:3])


def findings(finds: Sequence[Finding], asked: int) -> list[dict[str, Any]]:
    """Stops and warnings with their remedy, then how many other rules found nothing, then how the belts hum."""
    out: list[dict[str, Any]] = []
    for kind, tag in (("stop", "stop"), ("warn", "warning")):
        for f in finds:
            if f.severity == kind:
                out.append({"bad": True, "tag": tag, "words": _sentence(f.words), "change": f"Change: {f.change}."})
    loud = {f.rule for f in finds if f.severity != "note"}
    out.append(
        {
            "bad": False,
            "tag": "good",
            "words": f"{asked - len(loud)} other rules were asked and stop nothing.",
            "change": "",
        }
    )
    hum = [f for f in finds if f.rule == "belt-tune" and f.value is not None]
    if hum:
        spans = "; ".join(f"{f.where} {f.value:.0f} Hz" for f in hum[:3])
        words = "With the tool in mid-reach, plucked spans hum at their pretension:"
        out.append({"bad": False, "tag": "tune by ear", "words": words, "change": f"{spans}."})
    return out


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:].rstrip(".") + "."


def order_groups(made: Order) -> list[dict[str, Any]]:
    """The order list, group by group."""
    groups = []
    for name, lines in groupby(made.lines, key=lambda line: line.item.group):
        rows = []
        for line in lines:
            item = line.item
            price = "in bars" if line.in_bars else "–" if line.price is None else f"{line.price:.2f}"
            long = "" if item.length_m is None else f"{1e3 * item.length_m:.1f}".removesuffix(".0")
            what = f"{item.words} ({item.note})" if item.note else item.words
            rows.append({"what": what, "count": item.count, "mm": long, "price": price})
        groups.append({"name": name.capitalize(), "lines": rows})
    return groups


def bars(made: Order) -> list[dict[str, str]]:
    """What is cut from which bar."""
    out = []
    for kind in made.bars:
        for bar in kind.cutting.bars:
            cuts = " + ".join(f"{1e3 * p:.1f}".removesuffix(".0") for p in bar.pieces_m)
            left = f"{1e3 * bar.offcut_m:.0f} left"
            out.append({"name": kind.name, "mm": f"{1e3 * bar.length_m:g}", "cuts": f"{cuts}; {left}"})
    return out


def order_notes(made: Order) -> list[str]:
    """Sums and what is not listed."""
    total = f"In all {made.total_kg:.2f} kg, of it printed {made.printed_kg:.2f} kg."
    if made.price is not None:
        total += (
            f" {made.price:.2f} {made.currency}{' from INVENTED prices; put your own in' if made.invented else ''}."
        )
    return [total, *(_sentence(n.replace("?.", "?")) for n in made.notices)]


def assumed(design: Design, bands: dict[str, tuple[float, float]]) -> list[tuple[str, str]]:
    """How well numbers are known: written by the person, then the parts' uncertain numbers by the mark of their source."""
    written = [o for o in design.origins if o.origin in ("file", "set", "variant") and isinstance(o.value, int | float)]
    measured = [
        f"{o.key} = {o.value:g} ({bands[o.key][0]:g} to {bands[o.key][1]:g})" for o in written if o.key in bands
    ]
    given = [
        f"{o.key} = {o.value:g}"
        for o in written
        if o.key not in bands and o.key.split(".")[0] not in ("space", "move", "motion")
    ]
    out = [("given with a band", "; ".join(measured) + ".")] if measured else []
    if given:
        out.append(("given", "; ".join(given) + ". Given by whoever wrote the file, and taken as exact."))
    used = {o.value for o in design.origins if isinstance(o.value, str)}
    by_mark: dict[str, list[str]] = {}
    for row in catalogue_rows():
        if row.part in used and row.band is not None:
            span = f"{row.value:g} {row.unit} ({row.band[0]:g} to {row.band[1]:g})".replace(" ratio", "")
            by_mark.setdefault(row.mark, []).append(f"{row.part} {row.key} {span}")
    for mark, named in by_mark.items():
        more = f", and {len(named) - SHORT * 2} more" if len(named) > SHORT * 2 else ""
        out.append((mark, "; ".join(named[: SHORT * 2]) + more + "."))
    out.append(
        (
            "how sure",
            "Frequencies are only as good as these numbers; differences between two designs are better than either.",
        )
    )
    return out


def sources(design: Design, finds: Sequence[Finding]) -> list[str]:
    """Where the parts' numbers and the limits come from, each once."""
    used = {o.value for o in design.origins if isinstance(o.value, str)}
    told = [f"{r.part}: {r.source}" for r in catalogue_rows() if r.part in used and r.band is not None]
    told += [f"limit of {f.rule}: {f.basis}" for f in finds if f.severity != "note"]
    return list(dict.fromkeys(told))
