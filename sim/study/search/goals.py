"""What a search is to make least, and what it must keep."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ...errors import ScenarioError

#: What can be made least or kept: unit as told, meaning.
ANSWERS: dict[str, tuple[str, str]] = {
    "judged_um": ("µm", "ringing at speeds near the move's own, root mean square"),
    "path_rms_um": ("µm", "how far the tool is off its line, root mean square over the move"),
    "price": ("", "what the order list costs, with --prices"),
    "job_s": ("s", "how long the move takes"),
    "mass_g": ("g", "what moves with the tool, in the heavier axis"),
}
#: Known before anything is simulated.
KNOWN_FIRST = ("price", "job_s", "mass_g")
MOST_GOALS = 3
_RULE = re.compile(r"^\s*([a-z_]+)\s*(<=?|>=?)\s*([0-9.eE+-]+)\s*$")


@dataclass(frozen=True)
class Rule:
    """An answer that must stay below a limit, or above it."""

    answer: str
    below: bool
    limit: float

    def broken(self, value: float | None) -> float:
        """By what share of its limit an answer breaks it; 0 where it keeps it, 1 where there is no answer."""
        if value is None:
            return 1.0
        over = value - self.limit if self.below else self.limit - value
        return max(0.0, over) / max(abs(self.limit), 1e-12)

    @property
    def words(self) -> str:
        """ "price < 300" """
        return f"{self.answer} {'<' if self.below else '>'} {self.limit:g}"


@dataclass(frozen=True)
class Goals:
    """least: names of ANSWERS, the first decides which design is told first.  keep: rules."""

    least: tuple[str, ...]
    keep: tuple[Rule, ...]

    @property
    def asked(self) -> frozenset[str]:
        """Every answer that is needed."""
        return frozenset((*self.least, *(rule.answer for rule in self.keep)))

    def amiss(self, answers: Mapping[str, float | None], only: Sequence[str] | None = None) -> float:
        """By how much all rules together are broken. only: rules of these answers."""
        return sum(rule.broken(answers.get(rule.answer)) for rule in self.keep if only is None or rule.answer in only)


def goals_of(least: Sequence[str], keep: Sequence[str], priced: bool) -> Goals:
    """Goals from their texts. priced: whether there is a price file. Raises ScenarioError."""
    names = [name.strip() for text in least for name in text.split(",") if name.strip()]
    wanted = list(dict.fromkeys(names or (["judged_um", "price"] if priced else ["judged_um"])))
    for name in wanted:
        _known(name, "--least", priced)
    if len(wanted) > MOST_GOALS:
        raise ScenarioError([f"--least: {len(wanted)} answers, and {MOST_GOALS} is the most"])
    rules = []
    for text in keep:
        found = _RULE.match(text)
        try:
            limit = float(found[3]) if found else None
        except ValueError:
            limit = None
        if found is None or limit is None:
            raise ScenarioError([f'--keep {text[:60]!r}: write it as an answer and its limit, such as "price<300"'])
        _known(found[1], "--keep", priced)
        rules.append(Rule(found[1], found[2].startswith("<"), limit))
    return Goals(tuple(wanted), tuple(rules))


def _known(name: str, who: str, priced: bool) -> None:
    if name not in ANSWERS:
        raise ScenarioError([f"{who} {name[:40]}: no such answer; there are {', '.join(ANSWERS)}"])
    if name == "price" and not priced:
        raise ScenarioError([f"{who} price: prices come from a price file, give it with --prices"])
