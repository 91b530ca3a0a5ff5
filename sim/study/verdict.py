"""Which of several designs to take, by their judged ringing and by how long their move takes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..analyse.reading import length
from ..chain.chain import Outcome
from ..chain.judged import Judged

#: How much longer than the first a design's move may take and still be called the best, as a ratio.
MUCH_LONGER = 1.01


def best_first(judged: Sequence[Judged | None]) -> tuple[int, ...]:
    """Numbers of designs, the least judged ringing first, those without a verdict last in their own order."""
    known = [j.judged_m if j is not None and j.judged_m is not None else np.inf for j in judged]
    return tuple(sorted(range(len(known)), key=lambda i: (known[i], i)))


def best_of(
    judged: Sequence[Judged | None], outcomes: Sequence[Outcome], stopped: Sequence[bool] | None = None
) -> int | None:
    """The number of the design that is judged to ring least among those that take hardly longer than the first.

    stopped: designs that a rule stops, which are no choice.
    """
    longest = MUCH_LONGER * outcomes[0].plan.move_s
    for i in best_first(judged):
        one = judged[i]
        if one is None or one.judged_m is None:
            return None
        if (
            outcomes[i].plan.move_s <= longest
            and outcomes[i].trace.stopped_at_s is None
            and not (stopped and stopped[i])
        ):
            return i
    return None


def verdict_words(
    labels: Sequence[str], outcomes: Sequence[Outcome], judged: Sequence[Judged | None], best: int | None
) -> list[str]:
    """Which design to take, and which ring less but take longer."""
    if best is None or len(labels) < 2:
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
    for label, outcome, one in zip(labels, outcomes, judged, strict=True):
        longer = outcome.plan.move_s / outcomes[0].plan.move_s
        if longer > MUCH_LONGER and one is not None and one.judged_m is not None and one.judged_m < own.judged_m:
            said.append(f"{label} rings less, {length(one.judged_m)}, but takes {100 * (longer - 1):.0f} % longer.")
    return said
