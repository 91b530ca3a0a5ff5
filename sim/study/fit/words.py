"""What a fit found, in words: the report a person reads at the bench."""

from __future__ import annotations

from ...scenario.units import spelled
from .found import Fitted, Learned, NumberFound, RecordFound
from .measured import counted

SHOWN_APART = 6


def headline(found: Fitted) -> list[str]:
    """Whether the model makes what was measured, and how well: one sentence each, the most important first."""
    out = []
    if found.interrupted:
        out.append("Interrupted: what follows is the best so far, and how sure it is was not worked out.")
    if found.refused:
        out.append(f"Not fitted: {found.refused}.")
    else:
        out.append(f"The model makes what was measured ({counted(found.measured)}).")
    out += [record_words(r) for r in found.records]
    if not found.refused and not found.checked:
        checks = [r for r in found.records if r.use == "check"]
        if checks:
            out.append(
                "The held-out record is met better than before, but not within its noise: use the numbers with care."
            )
        else:
            out.append(
                "Not checked: no record was held out, and a wrong answer can fit what it was made from. Record another move and "
                'write use = "check" with it.'
            )
    return out


def record_words(r: RecordFound) -> str:
    """What is left of one record."""
    held = "held out, " if r.use == "check" else ""
    said = (
        f"{r.file} ({held}{r.curves.axis}): {100 * r.unexplained:.1f} % of it unexplained, {100 * r.unexplained_before:.0f} % "
        f"before; its clock runs {abs(1 - r.clock) * 100:.2f} % {'slow' if r.clock > 1 else 'fast'}, its gain is {r.gain:.3f}"
    )
    if r.left_out > 0:
        said += f", {100 * r.left_out:.1f} % of its samples are clipped and left out"
    if r.mirrored:
        said += "; its axes are left-handed: two are swapped, or one has the wrong sign"
    return said + "."


def number_text(value: float) -> str:
    """A value to four figures, without exponent in everyday sizes."""
    text = f"{value:.4g}"
    return f"{value:.0f}" if "e+" in text else text


def unit_words(unit: str) -> str:
    """A file's unit behind a number, as it is written everywhere else: " µm", " g cm²"; a ratio has none."""
    return f" {spelled(unit)}".rstrip()


def share_of(low: float, high: float, value: float) -> str:
    """How far a value may be off, in per cent of it."""
    if not value:
        return "±" + number_text(high)
    share = 50 * (high - low) / value
    return f"± {share:.2g} %" if share < 10 else f"± {share:.0f} %"


def learned_words(p: Learned) -> str:
    """One number: "frame.stiffness_y_n_per_mm: 1600 → 981 N/mm ± 1.2 % (before ± 70 %)"."""
    unit = unit_words(p.unit)
    before = share_of(p.was_low, p.was_high, p.before)
    if not p.informed:
        return (
            f"{p.key}: {number_text(p.after)}{unit} {share_of(p.low, p.high, p.after)} (not informed; before {before})"
        )
    now = f"{number_text(p.after)}{unit} {share_of(p.low, p.high, p.after)}"
    if p.lopsided:
        now = f"{number_text(p.after)}{unit}, {p.low:.3g} to {p.high:.3g}"
    return f"{p.key}: {number_text(p.before)} → {now} (before {before})"


def apart_words(found: Fitted) -> list[str]:
    """What cannot be told apart, and what would help."""
    out = []
    for pair in found.apart[:SHOWN_APART]:
        a, b = pair.keys
        out.append(f"{a} and {b} cannot be told apart (correlation {pair.correlation:.2f}); {pair.would_help}.")
    if len(found.apart) > SHOWN_APART:
        out.append(f"{len(found.apart) - SHOWN_APART} more pairs are in fit.json.")
    return out


def number_words(n: NumberFound) -> str:
    """One single measurement beside the model before and after."""
    unit = unit_words(n.unit)
    said = f"{n.name}: {number_text(n.measured)} ± {number_text(n.give)}{unit}"
    return f"{said}; {number_text(n.before)} → {number_text(n.after)}{unit}"


def report(found: Fitted) -> str:
    """The whole report as text."""
    informed = [p for p in found.parameters if p.informed]
    rest = [p for p in found.parameters if not p.informed]
    lines = [found.title, f"{found.layout}, detail {found.detail}, measured: {counted(found.measured)}", ""]
    lines += headline(found)
    if found.numbers:
        lines += ["", "Measured, and what the model says of it before and after:"]
        lines += [f"  {number_words(n)}" for n in found.numbers]
    lines += ["", "Learned (± holds for 19 of 20 machines measured like this):" if informed else "Nothing was learned."]
    lines += [f"  {learned_words(p)}" for p in informed]
    if rest:
        lines += ["", "Not informed: what was measured says no more of these than was known."]
        lines += [f"  {learned_words(p)}" for p in rest]
    apart = apart_words(found)
    if apart:
        lines += ["", *apart]
    lines += ["", f"{found.runs} machines tried from {found.starts} start{'s' if found.starts > 1 else ''}."]
    return "\n".join(lines) + "\n"
