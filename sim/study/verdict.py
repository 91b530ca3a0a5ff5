"""Which of several designs to take, by their judged ringing and by how long their move takes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from ..analyse.reading import length
from ..chain.chain import Outcome
from ..chain.judged import Judged
from .designs import Priced

#: How much longer than the first a design's move may take and still be called the best, as a ratio.
MUCH_LONGER = 1.01
#: From this ratio of judged ringing on the less one is no better than the other.
AS_GOOD = 0.95


def longer_words(ratio: float) -> str:
    """ "16 % longer", "1.3 % longer": to two digits, so that what is over a limit does not read as at it."""
    percent = 100 * (ratio - 1)
    return f"{percent:.2g} % longer" if percent < 99.5 else f"{percent:.0f} % longer"


def best_first(judged: Sequence[Judged | None], stopped: Sequence[Sequence[str]] = ()) -> tuple[int, ...]:
    """Numbers of designs, the least judged ringing first, those without a verdict after them, stopped ones last.

    stopped: of each design the rules that stop it.
    """
    known = [j.judged_m if j is not None and j.judged_m is not None else np.inf for j in judged]
    return tuple(sorted(range(len(known)), key=lambda i: (bool(stopped) and bool(stopped[i]), known[i], i)))


def best_of(
    judged: Sequence[Judged | None], outcomes: Sequence[Outcome], stopped: Sequence[Sequence[str]] = ()
) -> int | None:
    """The number of the design that is judged to ring least among those that take hardly longer than the first.

    stopped: of each design the rules that stop it; then it is no choice.
    """
    longest = MUCH_LONGER * outcomes[0].plan.move_s
    for i in best_first(judged, stopped):
        one = judged[i]
        if one is None or one.judged_m is None or (stopped and stopped[i]):
            continue
        if outcomes[i].plan.move_s <= longest and outcomes[i].trace.stopped_at_s is None:
            return i
    return None


def beaten(
    judged: Sequence[Judged | None],
    moves_s: Sequence[float],
    costs: Sequence[Priced | None],
    stopped: Sequence[Sequence[str]],
) -> tuple[int | None, ...]:
    """Which design beats each: better in one of judged ringing, time of the move and price, and in none worse.

    Of several the one that rings least; itself where none does; None for one without a verdict or that a rule stops, which
    beats nobody either. Prices count where all are known.
    """
    prices = [None if c is None else c.price for c in costs]
    known = all(p is not None for p in prices)
    values = [
        (j.judged_m, moves_s[i], prices[i] if known else 0.0)
        if j is not None and j.judged_m and not stopped[i]
        else None
        for i, j in enumerate(judged)
    ]
    out: list[int | None] = []
    for i, mine in enumerate(values):
        better = [k for k, other in enumerate(values) if mine and other and _beats(other, mine)]
        out.append(None if mine is None else min(better, key=lambda k: values[k] or (), default=i))
    return tuple(out)


def _beats(one: Sequence[Any], other: Sequence[Any]) -> bool:
    return all(a <= b for a, b in zip(one, other, strict=True)) and any(a < b for a, b in zip(one, other, strict=True))


#: Peaks this close, by their ratio, are the same.
ALIKE = 1e-9


def alike_words(labels: Sequence[str], judged: Sequence[Judged | None], differences: Sequence[object]) -> list[str]:
    """Which designs do not differ in a simulated move at all, although something was changed."""
    if not differences:
        return []
    left, said = list(range(len(labels))), []
    while left:
        first, *rest = left
        group = [first, *(i for i in rest if _same(judged[first], judged[i]))]
        left = [i for i in left if i not in group]
        if len(group) > 1:
            names = ", ".join(labels[i] for i in group[:-1])
            said.append(f"{names} and {labels[group[-1]]} do not differ in a simulated move: see `beltspring check`.")
    return said


def _same(one: Judged | None, other: Judged | None) -> bool:
    if one is None or other is None or one.peaks_m.shape != other.peaks_m.shape:
        return False
    return bool(np.allclose(one.peaks_m, other.peaks_m, rtol=ALIKE, atol=0.0, equal_nan=True))


def verdict_words(
    labels: Sequence[str],
    outcomes: Sequence[Outcome],
    judged: Sequence[Judged | None],
    best: int | None,
    stopped: Sequence[Sequence[str]] = (),
) -> list[str]:
    """Which design to take, and which ring less but take longer, or are stopped by `check`."""
    if best is None or len(labels) < 2:
        rules = list(dict.fromkeys(rule for rules in stopped for rule in rules))
        if stopped and all(stopped):
            return [f"None to take: `check` stops them all ({', '.join(rules)})."]
        return []
    own = judged[best]
    assert own is not None
    assert own.judged_m is not None
    worst = max((j.judged_m for j in judged if j is not None and j.judged_m is not None), default=0.0)
    if worst < 1e-6:
        return []
    how = "its corners" if own.by_corners else "speeds near its own"
    if worst < 1.02 * own.judged_m:
        return [f"Judged over {how}, they ring alike, {length(worst)}."]
    first, others = judged[0], []
    if best != 0 and first is not None and first.judged_m is not None:
        others.append(f"{labels[0]} {length(first.judged_m)}")
    if first is None or first.judged_m != worst:
        others.append(f"the worst {length(worst)}")
    beside = f" ({', '.join(others)})" if others else ""
    said = [f"Best, judged over {how}: {labels[best]}, {length(own.judged_m)}{beside}."]
    if best != 0 and first is not None and first.judged_m and own.judged_m >= AS_GOOD * first.judged_m:
        both = f"{labels[best]}, {length(own.judged_m)}, and {labels[0]}, {length(first.judged_m)}, ring alike"
        worst_words = f"; {others[-1]}" if len(others) > 1 else ""
        said = [f"{both}, judged over {how}{worst_words}."]
    for i, (label, outcome, one) in enumerate(zip(labels, outcomes, judged, strict=True)):
        if one is None or one.judged_m is None or one.judged_m >= own.judged_m:
            continue
        if stopped and stopped[i]:
            said.append(f"{label} rings less, {length(one.judged_m)}, but `check` stops it ({', '.join(stopped[i])}).")
            continue
        longer = outcome.plan.move_s / outcomes[0].plan.move_s
        if longer > MUCH_LONGER:
            said.append(f"{label} rings less, {length(one.judged_m)}, but takes {longer_words(longer)}.")
    return said
