"""One thing to change about a design, and the next larger part of a family."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

from ..parts.catalogue import Part, catalogue

Settings = dict[str, Any]
#: "machine": parts and lengths.  "motion": how it is driven, which costs time or round corners and nothing else.
Kind = Literal["machine", "motion"]


@dataclass(frozen=True)
class Change:
    """One thing to change. settings: dotted keys in file units.  words: what it makes of the machine, "9 mm belts".

    family: what of the machine it is about; of one family a builder takes one change.  listed: whether an order list shows
    what it costs.
    """

    settings: Settings
    words: str
    family: str
    kind: Kind = "machine"
    listed: bool = True


def next_up(kind: str, now: str, size: Callable[[Part], float], same: Callable[[Part, Part], bool]) -> Part | None:
    """The next larger part of the same family, None where it is the largest."""
    parts = catalogue().parts[kind]
    own = parts.get(now)
    if own is None:
        return None
    family = sorted((p for p in parts.values() if same(p, own) and size(p) > size(own)), key=size)
    return family[0] if family else None
