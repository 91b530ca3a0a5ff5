"""One line of the order list."""

from __future__ import annotations

from dataclasses import dataclass

ASSUMED = "count assumed, as builders usually do"


@dataclass(frozen=True)
class Item:
    """One line of the list.

    group: heading.  name: what prices go by.  words: for a person.  count: pieces.  length_m: of each piece that is cut
    to length, None where there is nothing to cut.  mass_kg: of all pieces together, None where it is not known.
    cut_from: "bar" when it is cut from bars, "roll" from a roll, "" as it is.  note: what to know.
    """

    group: str
    name: str
    words: str
    count: int
    length_m: float | None = None
    mass_kg: float | None = None
    cut_from: str = ""
    note: str = ""
