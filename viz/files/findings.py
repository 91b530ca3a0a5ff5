"""Findings of a check as `--json` and check.json give them."""

from __future__ import annotations

from beltspring.sim import Finding, Findings

from .plain import Json, clean, six


def findings_entry(found: Findings) -> Json:
    """`check --json`: the findings, gravest first; cautions stand at the end of what to change."""
    entry: Json = clean({"findings": [finding_entry(f) for f in found.findings]})
    return entry


def finding_entry(finding: Finding) -> Json:
    """One finding for JSON, its numbers to six figures."""
    return {
        "rule": finding.rule,
        "severity": finding.severity,
        "where": finding.where,
        "value": six(finding.value),
        "limit": six(finding.limit),
        "unit": finding.unit,
        "basis": finding.basis,
        "change": f"{finding.change}. Caution: {finding.caution}" if finding.caution else finding.change,
    }
