"""What a comparison comes to, for a person who decides: one sentence, how sure it is, what speaks against it, a row a design.

The same words stand wherever a comparison is shown at a glance; size ("a quarter less") and certainty ("likely: 101 of 128
machines") are told apart. What is not known yet is left out, never guessed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..analyse.reading import duration, length
from ..chain.heard import sounding
from ..chain.judged import Judged
from ..trace import Trace
from .compare import Comparison
from .designs import Checked, Priced, Weighed
from .report import Report
from .spread import SURE, paired, sureness
from .sure import Spreading
from .verdict import AS_GOOD, MUCH_LONGER, longer_words

Array = NDArray[np.float64]

#: Up to which ratio of ringing which words are used: by themselves, and before a design's name.
AMOUNTS = (
    (0.06, "hardly any", "hardly any of the ringing of"),
    (0.15, "a tenth of it", "a tenth of the ringing of"),
    (0.29, "a quarter of it", "a quarter of the ringing of"),
    (0.41, "a third of it", "a third of the ringing of"),
    (0.58, "about half", "about half the ringing of"),
    (0.71, "a third less", "a third less ringing than"),
    (0.82, "a quarter less", "a quarter less ringing than"),
    (AS_GOOD, "a little less", "a little less ringing than"),
    (1.05, "about the same", "about the same ringing as"),
    (1.18, "a little more", "a little more ringing than"),
    (1.29, "a quarter more", "a quarter more ringing than"),
    (1.40, "a third more", "a third more ringing than"),
    (1.75, "half more", "half more ringing than"),
    (2.50, "twice as much", "twice the ringing of"),
)
SURE_WORDS = {"yes": "sure", "likely": "likely", "no": "not sure", "same": "the same"}
#: A spring with less than this share of the energy does not decide.
DECIDES = 0.5


def amount_words(ratio: float) -> tuple[str, str]:
    """How much one rings beside another, by itself and before the other's name."""
    for limit, alone, before in AMOUNTS:
        if ratio < limit:
            return alone, before
    times = f"{ratio:.0f} times"
    return f"{times} as much", f"{times} the ringing of"


@dataclass(frozen=True)
class DesignRow:
    """A design in a comparison. Lengths in m, frequencies in Hz, times in s, masses in kg.

    own_m: peak of its run as asked.  spread_m: 8 of 10 machines.  against, sure: beside the first, in words, "" where not
    known.  rings_hz: as told of X and Y.  fades_s: until both have faded; None where one does not.
    priced: None without prices.  starred, beaten_by: see `Comparison`.  troubles: lost steps, slack, an early end.
    """

    label: str
    judged: Judged | None
    own_m: float | None
    spread_m: tuple[float, float] | None
    against: str
    sure: str
    rings_hz: tuple[float | None, float | None]
    weighed: Weighed
    fades_s: float | None
    move_s: float
    checked: Checked
    priced: Priced | None
    starred: bool
    beaten_by: str
    troubles: tuple[str, ...]


@dataclass(frozen=True)
class Headline:
    """sentence: which to take.  certainty, why: "Sure", "Likely", ... and the numbers that decide; "" until machines are asked.
    buts: what speaks against it, the weightiest first.  shared: warnings that every design has."""

    sentence: str
    certainty: str
    why: str
    buts: tuple[str, ...]
    shared: tuple[str, ...]


def rows_of(comparison: Comparison, spreading: Spreading | None = None) -> tuple[DesignRow, ...]:
    """A row for each design, in the order asked."""
    return tuple(_row(comparison, spreading, i) for i in range(len(comparison.labels)))


def _row(comparison: Comparison, spreading: Spreading | None, i: int) -> DesignRow:
    report, judged = comparison.reports[i], comparison.judged[i]
    ringing = [r for r in report.analysis.ringing.values() if r is not None]
    fades = [
        r.fades_to_5_percent_s for r in ringing if r.frequency_hz
    ]  # an axis that does not swing has nothing to fade
    slower = max((f for f in fades if f is not None), default=None) if fades and None not in fades else None
    spread = None
    if spreading is not None and (both := spreading.judged_um[i]) is not None:
        spread = (both[0] * 1e-6, both[1] * 1e-6)
    return DesignRow(
        comparison.labels[i],
        judged,
        max((r.peak_m for r in ringing if r.axis != "z"), default=None),
        spread,
        _against(comparison, i),
        _sure_beside_first(comparison, spreading, i),
        (_told_hz(report, "x"), _told_hz(report, "y")),
        comparison.weighed[i],
        slower,
        report.plan.move_s,
        comparison.checked[i],
        comparison.priced[i],
        comparison.starred[i],
        comparison.beaten_by[i],
        troubles_of(report.trace),
    )


def _told_hz(report: Report, axis: str) -> float | None:
    found = report.analysis.ringing.get(axis)
    return found.frequency_hz if found is not None else None


def troubles_of(trace: Trace) -> tuple[str, ...]:
    """What went wrong in a run, shortly: "motor b loses 16 steps", "belt a slack for 12 ms"; worst first."""
    out = ["the run ended early"] if trace.stopped_at_s is not None else []
    for slip in trace.slips:
        lost = f"loses {slip.lost_steps} steps" if slip.lost_steps else f"is {slip.most_steps_off} steps off"
        out.append(f"motor {slip.motor.upper()} {lost}")
    slack = trace.slack_s.items()
    out += [f"belt {belt.upper()} slack for {duration(s)}" for belt, s in slack if s > 0]
    return tuple(out)


def _against(comparison: Comparison, i: int) -> str:
    first, own = comparison.judged[0], comparison.judged[i]
    if own is None or own.judged_m is None or troubles_of(comparison.reports[i].trace):
        return "no verdict"
    if i == 0:
        return "the one to beat"
    if first is None or not first.judged_m:
        return ""
    return amount_words(own.judged_m / first.judged_m)[0]


def _sure_beside_first(comparison: Comparison, spreading: Spreading | None, i: int) -> str:
    if spreading is None or i == 0 or _against(comparison, i) == "no verdict":
        return ""
    pair = spreading.pairs[i - 1]
    first, own = comparison.judged[0], comparison.judged[i]
    less = pair.difference >= 0
    one, other = (own, first) if less else (first, own)
    turned = pair if less else paired(spreading.spreads[0], spreading.spreads[i])
    known = one is not None and other is not None
    sure = sureness(turned, one.peaks_m, other.peaks_m) if known and one and other else None
    if sure is None:
        return ""
    if sure == "same":
        return "the same"
    speeds = _speeds(comparison, i if less else 0, 0 if less else i)
    if sure == "likely" and turned.less >= SURE * turned.of and speeds[1]:
        # Every machine says so, but not every speed: that is why it is no more than likely.
        return f"likely: {speeds[0]} of {speeds[1]} speeds"
    return f"{SURE_WORDS[sure]}: {turned.less} of {turned.of}"


def headline(comparison: Comparison, spreading: Spreading | None = None) -> Headline:
    """Which design to take, how sure that is and what speaks against it."""
    rows = rows_of(comparison, spreading)
    shared = (
        tuple(rule for rule in rows[0].checked.warnings if all(rule in row.checked.warnings for row in rows[1:]))
        if len(rows) > 1
        else ()
    )
    best = comparison.best
    if best is None:
        stopped = [row.label for row in rows if row.checked.stops]
        why = f" check stops {_listed(stopped)}" if len(stopped) == len(rows) else " nothing rings that could be judged"
        return Headline(f"No verdict:{why}.", "", "", (), shared)
    other = 0 if best != 0 else next((i for i in comparison.order if i != 0), None)
    if other is None:
        return Headline(
            f"{_named(rows[best].label)} is judged {length(_judged(comparison, best))}.", "", "", (), shared
        )
    sentence = _sentence(comparison, best, other)
    certainty, why = _certainty(comparison, spreading, best, other)
    return Headline(sentence, certainty, why, tuple(_buts(comparison, rows, best, other)), shared)


def _judged(comparison: Comparison, i: int) -> float:
    found = comparison.judged[i]
    return found.judged_m if found is not None and found.judged_m is not None else 0.0


def _named(label: str) -> str:
    clean = label.replace("\t", " ")
    return clean[:1].upper() + clean[1:]


def _quoted(label: str) -> str:
    clean = label.replace("\t", " ")
    return f"\u201c{clean}\u201d"


def _sentence(comparison: Comparison, best: int, other: int) -> str:
    mine, theirs = comparison.judged[best], comparison.judged[other]
    name, against = comparison.labels[best], comparison.labels[other]
    if mine is None or theirs is None or not theirs.judged_m or mine.judged_m is None:
        return f"{_named(name)} rings least."
    if max(mine.judged_m, theirs.judged_m) < 1e-6:
        return "None of them rings by a micrometre."
    numbers = f"judged {length(mine.judged_m)} against {length(theirs.judged_m)}"
    ratio = mine.judged_m / theirs.judged_m
    if ratio >= AS_GOOD:
        return f"{_named(name)} and {_quoted(against)} ring alike, {numbers}."
    return f"{_named(name)}: {amount_words(ratio)[1]} {_quoted(against)}, {numbers}."


def _certainty(comparison: Comparison, spreading: Spreading | None, best: int, other: int) -> tuple[str, str]:
    if spreading is None or spreading.pair is None or spreading.sure is None:
        return "", ""
    pair, sure = spreading.pair, spreading.sure
    if sure == "same":
        median = f"the median difference over {pair.of} machines is {100 * abs(pair.difference):.0f} %"
        return "As good as the same", f"{median}."
    less, speeds = _speeds(comparison, best, other)
    at = f", and at {less} of {speeds} speeds" if speeds else ""
    name = {"yes": "Sure", "likely": "Likely", "no": "Not sure"}[sure]
    return name, f"it rings less in {pair.less} of {pair.of} machines that these parts may make{at}."


def _speeds(comparison: Comparison, best: int, other: int) -> tuple[int, int]:
    """At how many of the judged speeds a design rings less than another, and of how many."""
    a, b = comparison.judged[best], comparison.judged[other]
    if a is None or b is None or a.by_corners or a.peaks_m.shape != b.peaks_m.shape:
        return 0, 0
    both = np.isfinite(a.peaks_m) & np.isfinite(b.peaks_m)
    return int((a.peaks_m[both] < b.peaks_m[both]).sum()), int(both.sum())


def _buts(comparison: Comparison, rows: Sequence[DesignRow], best: int, other: int) -> list[str]:
    out = []
    if rows[best].checked.warnings:
        own = [rule for rule in rows[best].checked.warnings if rule not in rows[other].checked.warnings]
        if own:
            out.append(f"check warns of {_listed(own)} with it.")
    for i, row in enumerate(rows):
        longer = row.move_s / rows[0].move_s
        least = row.judged.judged_m if row.judged is not None else None
        if longer > MUCH_LONGER and least is not None and least < _judged(comparison, best):
            free = " is free and" if _only_motion(comparison, i) else ""
            out.append(f"{_quoted(row.label)}{free} rings less, {length(least)}, and takes {longer_words(longer)}.")
    out += _lucky_speeds(comparison, best, other)
    out += _no_belt(comparison)
    return out


def _only_motion(comparison: Comparison, i: int) -> bool:
    """Whether a design differs from the first in how it is driven alone: that costs nothing."""
    keys = [d.key for d in comparison.differences if d.values[i] != d.values[0]]
    return bool(keys) and all(key.startswith("motion.") for key in keys)


def _lucky_speeds(comparison: Comparison, best: int, other: int) -> list[str]:
    """Where the other one happens to ring less."""
    a, b = comparison.judged[best], comparison.judged[other]
    if a is None or b is None or a.speeds_m_s is None or a.peaks_m.shape != b.peaks_m.shape or a.slipping_m_s:
        return []
    speeds = np.linspace(*a.speeds_m_s, len(a.peaks_m))
    less = b.peaks_m < a.peaks_m
    edges = np.flatnonzero(np.diff(np.concatenate([[0], less.astype(int), [0]])))
    runs = [(first, last - 1) for first, last in zip(edges[::2], edges[1::2], strict=True)]
    if not runs:
        return []
    first, last = max(runs, key=lambda run: run[1] - run[0])
    at = (
        f"at {1e3 * speeds[first]:.0f}"
        if first == last
        else f"from {1e3 * speeds[first]:.0f} to {1e3 * speeds[last]:.0f}"
    )
    return [f"{at} mm/s {_quoted(comparison.labels[other])} happens to ring less."]


def _no_belt(comparison: Comparison) -> list[str]:
    """Where belts are compared, but another spring decides."""
    if not any(d.key.startswith("belts.") for d in comparison.differences):
        return []
    found = sounding(comparison.reports[0].outcome)
    holds = found.mode.holds if found is not None and found.mode is not None else ()
    if not holds or holds[0].what.startswith("the belt") or holds[0].share < DECIDES:
        return []
    return [f"what rings is {holds[0].what} ({100 * holds[0].share:.0f} %), no belt."]


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}" if names else ""
