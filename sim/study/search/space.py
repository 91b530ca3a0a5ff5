"""The space of a search: knobs, each with its levels; a design is one level of each.

    space = space_of(["belts.part=belt-2mm-6-glass,belt-2mm-9-glass", "frame.height_mm=300..420"])
    space.possible                       # 66: a range counts as 33 levels
    space.settings((1, 32))              # {"belts.part": "belt-2mm-9-glass", "frame.height_mm": 420}

A range is cut into equal steps, so that every space is finite: no design is judged twice, and a small space is judged whole.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from ...errors import ScenarioError
from ...scenario.changes import parse_sets
from ...scenario.fields import tidy
from ...scenario.index import key_at
from ...scenario.telling import unknown_key
from ...scenario.units import spelled

#: A range counts as so many levels, its ends among them.
RANGE_LEVELS = 33
MOST_KNOBS, MOST_LEVELS = 40, 400
EXAMPLE = "--vary belts.part=belt-2mm-6-glass,belt-2mm-9-glass, or --vary frame.height_mm=300..420"

Genes = tuple[int, ...]


@dataclass(frozen=True)
class Knob:
    """One key and its levels, in file units. ranged: whether levels are steps of a range, so that neighbours are alike."""

    key: str
    levels: tuple[Any, ...]
    ranged: bool = False


@dataclass(frozen=True)
class Space:
    """Knobs; a design is a tuple of level numbers, one a knob ("genes")."""

    knobs: tuple[Knob, ...]

    @property
    def possible(self) -> int:
        """How many designs there are."""
        return math.prod(len(knob.levels) for knob in self.knobs)

    def settings(self, genes: Genes) -> dict[str, Any]:
        """A design's keys and values, in file units."""
        return {knob.key: knob.levels[gene] for knob, gene in zip(self.knobs, genes, strict=True)}

    def label(self, genes: Genes) -> str:
        """ "belt-2mm-9-glass, height 420 mm" """
        return ", ".join(_told(key, value) for key, value in self.settings(genes).items())

    def at(self, number: int) -> Genes:
        """The design of a number below `possible`, the last knob running fastest."""
        genes = []
        for knob in reversed(self.knobs):
            number, gene = divmod(number, len(knob.levels))
            genes.append(gene)
        return tuple(reversed(genes))

    def every(self) -> Iterator[Genes]:
        """Every design, the last knob running fastest."""
        return (self.at(number) for number in range(self.possible))

    def neighbours(self, genes: Genes) -> Iterator[tuple[int, Genes]]:
        """Every design that differs in one knob, with that knob's number."""
        for k, knob in enumerate(self.knobs):
            for gene in range(len(knob.levels)):
                if gene != genes[k]:
                    yield k, (*genes[:k], gene, *genes[k + 1 :])


def _told(key: str, value: object) -> str:
    """ "height 420 mm"; of a part its name alone."""
    if isinstance(value, str):
        return value
    last, known = key.rpartition(".")[2], key_at(tuple(key.split(".")))
    unit = known.unit if known is not None else ""
    endings = [unit.lower().replace(" ", "_").replace("/", between) for between in ("_", "_per_")]
    name = next((last.removesuffix(f"_{end}") for end in endings if unit and last.endswith(f"_{end}")), last)
    return f"{name.replace('_', ' ')} {_number(value)} {spelled(unit)}".rstrip()


def _number(value: object) -> str:
    return tidy(value) if isinstance(value, int | float) and not isinstance(value, bool) else str(value).lower()


def space_of(texts: Sequence[str]) -> Space:
    """The space of `KEY=V1,V2` and `KEY=LOW..HIGH` texts. Raises ScenarioError."""
    if not texts:
        raise ScenarioError([f"nothing to search: say what may vary, for example {EXAMPLE}"])
    knobs: list[Knob] = []
    for text in texts:
        key, equals, values = (part.strip() for part in text.partition("="))
        if not equals or not key or not values:
            raise ScenarioError([f"--vary {text[:60]}: write it as key=v1,v2 or key=low..high, for example {EXAMPLE}"])
        knobs.append(_ranged(key, values) if ".." in values else _listed(key, values.split(",")))
    return _space(knobs)


def space_of_table(table: Mapping[str, Any], label: str) -> Space:
    """The space of the file's `[search.vary]`: key = [values] or "low..high". Raises ScenarioError."""
    knobs = []
    for key, wanted in _flat(table):
        if isinstance(wanted, str) and ".." in wanted:
            knobs.append(_ranged(key, wanted, f"{label} [search.vary] {key}"))
        elif isinstance(wanted, list) and len(wanted) >= 2 and all(isinstance(v, str | int | float) for v in wanted):
            knobs.append(_knob(key, wanted, False, f"{label} [search.vary] {key}"))
        else:
            raise ScenarioError(
                [f'{label} [search.vary] {key}: write a list of two values or more, or a range such as "300..420"']
            )
    if not knobs:
        raise ScenarioError([f"{label} [search]: say what may vary, in [search.vary] or with {EXAMPLE}"])
    return _space(knobs)


def _flat(table: Mapping[str, Any], above: str = "") -> Iterator[tuple[str, Any]]:
    for name, value in table.items():
        if isinstance(value, Mapping):
            yield from _flat(value, f"{above}{name}.")
        else:
            yield f"{above}{name}", value


def _space(knobs: Sequence[Knob]) -> Space:
    keys = [knob.key for knob in knobs]
    twice = sorted({key for key in keys if keys.count(key) > 1})
    if twice:
        raise ScenarioError([f"--vary {twice[0]}: it is there twice; give all its values at once"])
    if len(knobs) > MOST_KNOBS:
        raise ScenarioError([f"--vary: {len(knobs)} keys, and {MOST_KNOBS} is the most"])
    return Space(tuple(knobs))


def _listed(key: str, values: Sequence[str]) -> Knob:
    texts = [value.strip() for value in values]
    if len(texts) < 2 or not all(texts):
        raise ScenarioError([f"--vary {key}: give two values or more, for example {EXAMPLE}"])
    return _knob(key, [next(iter(parse_sets([f"{key}={text}"]).values())) for text in texts], False, f"--vary {key}")


def _knob(key: str, levels: Sequence[Any], ranged: bool, who: str) -> Knob:
    name = next(iter(parse_sets([f"{key}=0"])))
    path = tuple(name.split("."))
    if key_at(path) is None:
        raise ScenarioError([f"{who}: {unknown_key(path, 0)}"])
    if name == "title" or name.split(".")[0] in ("variant", "band", "search", "budget", "extra"):
        raise ScenarioError([f"{who}: it makes no other machine; vary what the machine is or how it moves"])
    if len(levels) > MOST_LEVELS:
        raise ScenarioError([f"{who}: {len(levels)} values, and {MOST_LEVELS} is the most; write a range as low..high"])
    kept = list(dict.fromkeys((type(v) is str, v) for v in levels))
    if len(kept) != len(levels):
        raise ScenarioError([f"{who}: the same value is there twice"])
    return Knob(name, tuple(levels), ranged)


def _ranged(key: str, text: str, who: str = "") -> Knob:
    low_text, _, high_text = text.partition("..")
    asked = who or f"--vary {key}"
    try:
        low, high = float(low_text), float(high_text)
    except ValueError:
        raise ScenarioError([f"{asked}={text[:40]}: a range is two numbers, low..high, such as 300..420"]) from None
    if not (math.isfinite(low) and math.isfinite(high) and low < high):
        raise ScenarioError([f"{asked}={text[:40]}: the low must be below the high"])
    whole = low.is_integer() and high.is_integer()
    if whole and high - low < RANGE_LEVELS:  # teeth and the like: every whole number
        return _knob(key, [int(low) + i for i in range(int(high - low) + 1)], True, asked)
    step = (high - low) / (RANGE_LEVELS - 1)
    places = max(0, 2 - math.floor(math.log10(step)))
    levels = [round(low + i * step, places) for i in range(RANGE_LEVELS)]
    levels[-1] = high
    return _knob(key, [int(v) if v.is_integer() else v for v in levels], True, asked)
