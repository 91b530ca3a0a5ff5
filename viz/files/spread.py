"""A spread as `--json` and spread.json give it; the keys are fixed, other tools read them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from beltspring.sim import Pair, Spread


def better_entries(labels: Sequence[str], pairs: Sequence[Pair]) -> list[dict[str, Any]]:
    """Every design after the first against it: in how many machines it rings less, in how many the same."""
    told = zip(labels[1:], pairs, strict=True)
    return [{"label": label, "than": labels[0], "of_draws": p.less, "same": p.same, "known": p.of} for label, p in told]


def spread_entry(found: Spread, better: Sequence[dict[str, Any]] = ()) -> dict[str, Any]:
    """One design over all its machines; low and high are the 10th and 90th percentile."""
    answers = {name: {"low": a.low, "middle": a.middle, "high": a.high} for name, a in found.answers.items()}
    return {
        "draws": found.draws,
        "seed": found.seed,
        "answers": answers,
        "shares": [{"key": s.key, "keys": list(s.keys), "share": s.share, "measure": s.measure} for s in found.shares],
        "slipping": found.slipping,
        "failed": found.failed,
        "better": list(better),
    }
