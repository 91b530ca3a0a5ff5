"""`check`: every rule asked of a scenario."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from ..chain.chain import Outcome
from ..scenario.schema import Scenario
from ..simulate.run import Progress
from . import arms, bed, belts, carriage, drives, frame, guides, prints, rubbing, tension
from .finding import ORDER, Finding, Rule
from .subject import Subject

RULES: tuple[Rule, ...] = (
    *rubbing.RULES,
    *belts.RULES,
    *tension.RULES,
    *drives.RULES,
    *guides.RULES,
    *frame.RULES,
    *prints.RULES,
    *bed.RULES,
    *carriage.RULES,
    *arms.RULES,
)


AXIS, AXES = re.compile(r"along X\b"), re.compile(r"\bX\b")


@dataclass(frozen=True)
class Findings:
    """Findings, the gravest first, otherwise in the order of the rules.  asked: every rule.  title: of the machine."""

    title: str
    findings: tuple[Finding, ...]
    asked: tuple[Rule, ...]

    @property
    def stops(self) -> bool:
        """Whether something stops the design."""
        return any(f.severity == "stop" for f in self.findings)

    @property
    def passed(self) -> tuple[Rule, ...]:
        """Rules that found nothing to stop or to warn of."""
        told = {f.rule for f in self.findings if f.severity != "note"}
        return tuple(rule for rule in self.asked if rule.name not in told)

    @property
    def stop_line(self) -> str | None:
        """One line for a run whose design is stopped; None if nothing stops it."""
        stops = [f for f in self.findings if f.severity == "stop"]
        if not stops:
            return None
        rules = list(dict.fromkeys(f.rule for f in stops))
        more = f" and {len(rules) - 1} more" if len(rules) > 1 else ""
        return f"This design will not work as it is: {stops[0].words} ({rules[0]}{more}); see `beltspring check`."


def check(scenario: Scenario, outcome: Outcome | None = None, progress: Progress | None = None) -> Findings:
    """Ask every rule of a scenario. outcome: its own move, if it has been simulated already.

    Raises InputError where the scenario describes no machine at all.
    """
    return judge(Subject(scenario, outcome, progress))


def judge(subject: Subject) -> Findings:
    """Ask every rule of a subject."""
    found = [finding for rule in RULES for finding in both_axes(rule.judge(subject))]
    found.sort(key=lambda f: ORDER.index(f.severity))
    return Findings(subject.machine.title, tuple(found), RULES)


def both_axes(found: list[Finding]) -> list[Finding]:
    """The findings of one rule; two that say the same of X and of Y are one."""
    out: list[Finding] = []
    for one in found:
        twin = next((k for k, other in enumerate(out) if _same_but_axis(other, one)), None)
        if twin is None:
            out.append(one)
            continue
        other = out[twin]
        change = other.change if other.change == one.change else f"along X: {other.change}; along Y: {one.change}"
        words = AXIS.sub("along X and along Y", other.words, count=1)
        out[twin] = replace(other, words=words, change=change, where=AXES.sub("X and Y", other.where, count=1))
    return out


def _same_but_axis(x: Finding, y: Finding) -> bool:
    """Whether x says of X what y says of Y, to the figures that are told."""
    if "along X" not in x.words or "along Y" not in y.words or x.places or y.places:
        return False
    return x.severity == y.severity and x.words.replace("along X", "along Y", 1) == y.words and x.basis == y.basis
