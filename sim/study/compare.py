"""Several designs under the same move: what differs, what that does, and which one a builder would pick."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ..analyse.reading import length
from ..analyse.ringing import Ringing
from ..analyse.terms import OFF_LINE
from ..chain.chain import Outcome
from ..chain.heard import sounding
from ..chain.judged import Judged, judge_outcomes
from ..model.facts import held_stiffness
from ..model.left_out import left_out_words
from ..order.prices import INVENTED_WORDS, Prices
from ..practice import SEEN_M
from .designs import AS_WRITTEN, Candidate, Checked, Priced, Weighed, by_rule, priced, weighed
from .report import Report
from .rounded import cost_of_shaping, roundest_m
from .verdict import alike_words, beaten, best_first, best_of, verdict_words


@dataclass(frozen=True)
class Difference:
    """A key of the file in which the designs differ, with each design's value in file units, in their order."""

    key: str
    values: tuple[object, ...]


@dataclass(frozen=True)
class Comparison:
    """labels, reports, stiffness_n_m, checked, priced, weighed, beaten, remarks: one entry a design, in the order asked.

    stiffness_n_m: of the held tool in (X, Y), None where ideal. The reports carry the judged ringing, all at the first one's
    shares of their speed.  priced: None without prices.  beaten: the number of the design that is better in one of ringing,
    time and price, and in none worse; its own where none is, None where it is no choice.  remarks: what of each is other
    than was asked for.
    refused: designs that cannot be built.  sentences: what differs and what that does, in words.  order: numbers of the
    designs, best first, those that `check` stops last.  best: the number of the design to take, None where nothing was
    judged or everything is stopped.
    """

    labels: tuple[str, ...]
    reports: tuple[Report, ...]
    stiffness_n_m: tuple[tuple[float | None, float | None], ...]
    differences: tuple[Difference, ...]
    sentences: tuple[str, ...]
    order: tuple[int, ...]
    best: int | None
    checked: tuple[Checked, ...]
    priced: tuple[Priced | None, ...]
    weighed: tuple[Weighed, ...]
    beaten: tuple[int | None, ...]
    remarks: tuple[tuple[str, ...], ...]
    refused: tuple[Candidate, ...] = ()

    @property
    def judged(self) -> tuple[Judged | None, ...]:
        """Judged ringing of each design."""
        return tuple(r.judged for r in self.reports)

    @property
    def unbeaten(self) -> tuple[bool, ...]:
        """Which designs no other beats."""
        return tuple(by == i for i, by in enumerate(self.beaten))

    @property
    def starred(self) -> tuple[bool, ...]:
        """Which of them are worth a mark: none where most that may be chosen would bear it, for then it tells nothing."""
        few = 2 * sum(self.unbeaten) <= sum(by is not None for by in self.beaten)
        return tuple(one and few for one in self.unbeaten)

    @property
    def beaten_by(self) -> tuple[str, ...]:
        """By which design each is beaten; "" where by none."""
        return tuple("" if by is None or by == i else self.labels[by] for i, by in enumerate(self.beaten))

    @property
    def star_words(self) -> str:
        """What the star means; where it would tell nothing, which designs are beaten and by which; "" where none is."""
        if any(self.starred):
            return f"*: no other design beats it in {self.unbeaten_in} together."
        pairs = [f"“{self.labels[i]}” (by “{by}”)" for i, by in enumerate(self.beaten_by) if by]
        return f"Beaten in {self.unbeaten_in} together: {', '.join(pairs)}." if pairs else ""

    @property
    def unbeaten_in(self) -> str:
        """In what a design is beaten or not: money too where every price is known."""
        known = all(p is not None and p.price is not None for p in self.priced)
        return "ringing, time and price" if known else "ringing and time"

    @property
    def price_words(self) -> tuple[str, ...]:
        """What the prices leave out, and whose they are; nothing without prices."""
        costs = [p for p in self.priced if p is not None]
        missing = list(dict.fromkeys(name for p in costs for name in p.unpriced))
        said = [f"Without a price, left out of every sum: {', '.join(missing)}."] if missing else []
        invented = any(p.order is not None and p.order.invented for p in costs)
        return (*said, INVENTED_WORDS) if invented else tuple(said)


def compare(
    labels: Sequence[str],
    reports: Sequence[Report],
    prices: Prices | None = None,
    tried: Sequence[Candidate] = (),
) -> Comparison:
    """What several reports of the same move say together; at least one. They are judged anew, all at the same speeds.

    tried: the candidates they were made of, and those that cannot be built.
    """
    outcomes = [r.outcome for r in reports]
    stiffness = tuple(held_stiffness(o.system, o.middle) for o in outcomes)
    differences = _differences(outcomes)
    judged = judge_outcomes(outcomes)
    told = tuple(r.judged_as(its) for r, its in zip(reports, judged, strict=True))
    checks = tuple(by_rule(r.findings) for r in told)
    costs = tuple(priced(r.machine, prices) for r in told)
    stopped = [one.stops for one in checks]
    order, best = best_first(judged, stopped), best_of(judged, outcomes, stopped)
    follows = _what_follows(labels, outcomes, stiffness)
    verdict = [*verdict_words(labels, outcomes, judged, best, stopped), *alike_words(labels, judged, differences)]
    sentences = (_what_differs(_changed(differences, outcomes)), *verdict, *follows)
    remarks = {one.label: one.remarks for one in tried}
    return Comparison(
        tuple(labels), told, stiffness, differences, sentences, order, best, checks, costs,
        tuple(weighed(r.outcome.system, r.outcome.modes) for r in told),
        beaten(judged, [o.plan.move_s for o in outcomes], costs, stopped),
        tuple(remarks.get(label, ()) for label in labels),
        tuple(one for one in tried if not one.stands),
    )  # fmt: skip


def _differences(outcomes: Sequence[Outcome]) -> tuple[Difference, ...]:
    """Keys that somebody wrote (in the file, a variant, or by --set or --vary) with values that are not all equal."""
    tables = [{o.key: o for o in outcome.design.origins} for outcome in outcomes]
    found = []
    for key in dict.fromkeys(key for table in tables for key in table):
        origins = [table.get(key) for table in tables]
        written = any(o is not None and o.origin in ("file", "set", "variant") for o in origins)
        values = tuple(None if o is None else o.value for o in origins)
        if written and key != "title" and any(v != values[0] for v in values):
            found.append(Difference(key, values))
    return tuple(found)


def _changed(differences: tuple[Difference, ...], outcomes: Sequence[Outcome]) -> tuple[Difference, ...]:
    """The differences that somebody asked for; what only follows from them (overrides a new part drops) left out."""
    asked = {o.key for outcome in outcomes for o in outcome.design.origins if o.origin in ("set", "variant")}
    return tuple(d for d in differences if d.key in asked) or differences


def _what_differs(differences: tuple[Difference, ...]) -> str:
    if not differences:
        return "Nothing differs: the designs are the same."
    # The keys of one shaper change together; told one by one they would hide that only the shapers differ.
    names = list(dict.fromkeys("motion.shaper" if d.key.startswith("motion.shaper.") else d.key for d in differences))
    if len(names) == 1:
        return f"Only {names[0]} differs; everything else is the same."
    if len(names) > 4:
        return f"{len(names)} values of the file differ; everything else is the same."
    return f"{', '.join(names[:-1])} and {names[-1]} differ; everything else is the same."


def _what_follows(
    labels: Sequence[str], outcomes: Sequence[Outcome], stiffness: Sequence[tuple[float | None, float | None]]
) -> list[str]:
    out = [*_stiffest(labels, stiffness), _quietest(labels, outcomes)]
    out += _quiet_but_round(labels, outcomes)
    out += cost_of_shaping(labels, outcomes)
    for label, outcome in zip(labels, outcomes, strict=True):
        found = sounding(outcome)
        if found is not None:
            out.append(f"{label}: {found.words}.")
    for label, outcome in zip(labels, outcomes, strict=True):
        out += [f"{label}: {s}" for s in outcome.analysis.sentences if s.startswith(("Belt ", "Motor ", "The run "))]
    return out + _left_out(labels, outcomes)


def _left_out(labels: Sequence[str], outcomes: Sequence[Outcome]) -> list[str]:
    """What the simple model leaves out, once where it is the same of all designs."""
    told = [left_out_words(outcome.machine) for outcome in outcomes]
    if len(set(told)) == 1:
        return told[:1] if told[0] else []
    alike = {words: [x for x, its in zip(labels, told, strict=True) if its == words] for words in told if words}
    return [f"{', '.join(names)}: {words}" for words, names in alike.items()]


def _stiffest(labels: Sequence[str], stiffness: Sequence[tuple[float | None, float | None]]) -> list[str]:
    """Which design holds the tool stiffest, in one sentence for both axes where it is the same one.

    Nothing where an axis of some design has no stiffness, or where all are equal within one percent.
    """
    found: list[tuple[str, str]] = []
    for axis, name in enumerate("XY"):
        known = [(value[axis] or 0.0, label) for value, label in zip(stiffness, labels, strict=True)]
        best, worst = max(v for v, _ in known), min(v for v, _ in known)
        if worst == 0.0 or best < 1.01 * worst:
            continue
        winners = " and ".join(label for v, label in known if v > 0.99 * best)
        found.append((winners, f"{best / 1e3:.3g} N/mm at the tool in {name}, the softest {worst / 1e3:.3g}"))
    if len(found) == 2 and found[0][0] == found[1][0]:
        return [f"Stiffest: {found[0][0]}, with {found[0][1]}; {found[1][1].replace(' at the tool', '')}."]
    return [f"Stiffest: {label}, with {words}." for label, words in found]


def _peaks(labels: Sequence[str], outcomes: Sequence[Outcome]) -> list[tuple[float, str, Ringing]]:
    """Of each design that has any ringing the larger peak of both axes, m, its label, and that axis' ringing."""
    peaks = []
    for label, outcome in zip(labels, outcomes, strict=True):
        known = [r for r in outcome.analysis.ringing.values() if r is not None and r.axis != "z"]
        if known:
            top = max(known, key=lambda r: r.peak_m)
            peaks.append((top.peak_m, label, top))
    return peaks


def _quietest(labels: Sequence[str], outcomes: Sequence[Outcome]) -> str:
    """Which design rings least, judged by the larger peak of both axes."""
    peaks = _peaks(labels, outcomes)
    if len(peaks) < 2:
        return "There is no ringing to compare."
    least, most = min(peaks, key=lambda p: p[0]), max(peaks, key=lambda p: p[0])
    if most[0] < 1e-6:
        return "None of them rings: every tool comes to rest within 1 µm."
    if most[0] < 1.02 * least[0]:
        return f"They ring alike, {length(most[0])} at most."
    tone = f" in {least[2].axis.upper()}" + (f" at {least[2].frequency_hz:.3g} Hz" if least[2].frequency_hz else "")
    loudest = most[1] if most[1] == AS_WRITTEN else f"with {most[1]}"
    worst = f"{length(most[0])} in {most[2].axis.upper()} {loudest}"
    return f"Least at the file's own speed: {least[1]}, {length(least[0])}{tone}; most: {worst}."


def _quiet_but_round(labels: Sequence[str], outcomes: Sequence[Outcome]) -> list[str]:
    """A warning where the design that rings least pays for it: its shapers cut corners by more than is plain to see."""
    peaks = _peaks(labels, outcomes)
    if len(peaks) < 2:
        return []
    peak, label, _ = min(peaks, key=lambda p: p[0])
    outcome = outcomes[labels.index(label)]
    worst = roundest_m(outcome)
    off = outcome.analysis.path.across_max_m
    if worst <= max(SEEN_M, peak):
        return []
    best = min(range(len(outcomes)), key=lambda i: outcomes[i].analysis.path.across_max_m)
    words = f"But the shapers of {label} round corners by {length(worst)} and the tool goes {length(off)} {OFF_LINE}"
    straight = outcomes[best].analysis.path.across_max_m
    if labels[best] == label or straight > 0.98 * off:
        return [f"{words}, the least of all."]
    return [f"{words}; {labels[best]} keeps nearest to it, {length(straight)} off at most."]
