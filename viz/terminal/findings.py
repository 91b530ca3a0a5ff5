"""Findings of a check as a person reads them, and as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from beltspring.sim import Finding, Findings
from rich.console import Group
from rich.padding import Padding
from rich.text import Text

from .tables import number

STYLES = {"stop": "bold red", "warn": "yellow", "note": "dim"}
HEADS = {
    "stop": "Stop: will not work as it is",
    "warn": "Warn: will disappoint",
    "note": "Note: good to know",
}


def findings_page(report: Findings, out: str | None) -> Any:
    """A report on the terminal: stops and warnings with what to change, notes in a line each, what was asked at the end."""
    parts: list[Any] = [Text.assemble((report.title, "bold"), f"\n{_tally(report)}")]
    for severity in ("stop", "warn"):
        listed = [f for f in report.findings if f.severity == severity]
        if listed:
            parts += [Text(), Text(HEADS[severity], style=STYLES[severity])]
            parts += [Padding(_full(f), (0, 0, 0, 2)) for f in listed]
    notes = [f for f in report.findings if f.severity == "note"]
    if notes:
        parts += [Text(), Text(HEADS["note"], style="bold")]
        parts += [Padding(Text(line), (0, 0, 0, 2)) for line in _notes(notes)]
    cautions = list(dict.fromkeys(f.caution for f in report.findings if f.caution))
    if cautions:
        parts += [Text(), Text("Caution", style="bold"), *(Padding(Text(c), (0, 0, 0, 2)) for c in cautions)]
    fine = ", ".join(rule.name for rule in report.passed)
    parts += [Text(), Text(f"Nothing to stop or warn of: {fine or 'none of the rules'}.", style="dim")]
    parts += [Text("Calculated numbers are estimates, not a certificate of safety.", style="dim")]
    if out:
        parts += [Text(f"Written to {out}: check.json, scenario.toml")]
    return Group(*parts)


def _tally(report: Findings) -> str:
    counts = {s: sum(f.severity == s for f in report.findings) for s in STYLES}
    rules = f"{len(report.asked)} rules asked"
    if not counts["stop"] and not counts["warn"]:
        return f"{rules}: nothing to stop or to warn of"
    return (
        f"{rules}: {_many(counts['stop'], 'stop')}, {_many(counts['warn'], 'warning')}, {_many(counts['note'], 'note')}"
    )


def _many(count: int, word: str) -> str:
    return f"{count} {word}{'' if count == 1 else 's'}"


def _full(finding: Finding) -> Text:
    out = Text()
    out.append(f"{finding.rule}: ", style="bold")
    out.append(f"{_sentence(finding.words)}{_measure(finding)}\n")
    out.append(f"  Change: {finding.change}.\n")
    out.append(f"  Limit from: {finding.basis}.", style="dim")
    return out


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:] + "."


def _measure(finding: Finding) -> str:
    if finding.value is None or finding.limit is None:
        return ""
    return f" [{number(finding.value)} against {number(finding.limit)} {finding.unit}]".replace(" ratio]", "]")


def _notes(notes: Sequence[Finding]) -> list[str]:
    """A line for each note; the notes of the belts' spans share one line a belt."""
    lines = []
    for rule in dict.fromkeys(f.rule for f in notes):
        mine = [f for f in notes if f.rule == rule]
        if rule != "belt-tune":
            lines += [f"{rule}: {_sentence(f.words)}" for f in mine]
            continue
        lines.append("belt-tune: With the tool in mid-reach the spans hum, when plucked, at")
        lines += [f"  {number(f.value)} Hz: {f.where}" for f in mine]
    return lines
