"""What a search is asked: from the words of a command, and from the file's [search] where the command says nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from ...errors import ScenarioError
from ...scenario.schema import Scenario
from ...scenario.telling import nearest
from .goals import Goals, goals_of
from .search import SEED, TRIES
from .space import Space, space_of, space_of_table

KEYS = ("vary", "least", "keep", "tries", "seed")


@dataclass(frozen=True)
class Wanted:
    """space, goals: of the search.  tries, seed: see `search`."""

    space: Space
    goals: Goals
    tries: int
    seed: int

    @property
    def judged(self) -> int:
        """How many designs will be judged."""
        return min(self.tries, self.space.possible)


def search_wanted(
    scenario: Scenario,
    vary: Sequence[str] = (),
    least: Sequence[str] = (),
    keep: Sequence[str] = (),
    priced: bool = False,
    tries: int | None = None,
    seed: int | None = None,
) -> Wanted:
    """What to search. What the words say replaces what the file says, key by key. Raises ScenarioError."""
    table = dict(scenario.file.search)
    label = f"{scenario.label} [search]"
    for name in table:
        if name not in KEYS:
            near = nearest(name, KEYS)
            hint = f"did you mean {near}?" if near else f"allowed here: {', '.join(KEYS)}"
            raise ScenarioError([f"{label} {name[:40]}: unknown key; {hint}"])
    if not vary and table.get("vary") is not None and not isinstance(table["vary"], dict):
        raise ScenarioError([f'{label} vary: write a table, [search.vary], and below it "belts.part" = ["...", "..."]'])
    space = space_of_table(table.get("vary", {}), scenario.label) if not vary and "vary" in table else space_of(vary)
    goals = goals_of(
        least or _texts(table.get("least", []), f"{label} least"),
        keep or _texts(table.get("keep", []), f"{label} keep"),
        priced,
    )
    return Wanted(
        space,
        goals,
        _whole(table.get("tries", TRIES), f"{label} tries") if tries is None else tries,
        _whole(table.get("seed", SEED), f"{label} seed") if seed is None else seed,
    )


def _texts(value: Any, who: str) -> list[str]:
    if isinstance(value, str):
        return [value]
    if isinstance(value, list) and all(isinstance(v, str) for v in value):
        return value
    raise ScenarioError([f'{who}: write a list of texts, such as ["judged_um", "price"]'])


def _whole(value: Any, who: str) -> int:
    if isinstance(value, int) and not isinstance(value, bool) and 0 <= value < 2**31:
        return value
    raise ScenarioError([f"{who}: write a whole number"])
