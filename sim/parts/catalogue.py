"""The parts catalogue: TOML files beside this one, read once, every number with its unit, source and trust."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache
from importlib import resources
from typing import Any

from ..errors import PartError
from ..scenario.units import to_si
from .kinds import KINDS, MARKS, Kind


@dataclass(frozen=True)
class Source:
    """Where a number comes from. mark: a key of MARKS.  why: the reasoning behind an estimate, else ""."""

    mark: str
    text: str
    why: str = ""

    @property
    def words(self) -> str:
        """The source as one line: text, trust and reasoning."""
        return f"{self.text} ({MARKS[self.mark]}{': ' + self.why if self.why else ''})"


@dataclass(frozen=True)
class Quantity:
    """A number of a part in its catalogue unit.

    band: (low, high) that 19 of 20 specimens keep, None where no source gives one.  band_source: where the band comes from.
    """

    value: float
    unit: str
    band: tuple[float, float] | None
    source: Source
    band_source: Source

    @property
    def si(self) -> float:
        """The number in SI units."""
        return to_si(self.value, self.unit)


@dataclass(frozen=True)
class Part:
    """One part. numbers: by key, as its kind demands.  words: such as the cord.  caution: what to tell its user."""

    kind: str
    name: str
    description: str
    numbers: Mapping[str, Quantity]
    words: Mapping[str, str]
    caution: str = ""

    def si(self, key: str) -> float:
        """A number in SI units; KeyError when this part has no such number."""
        return self.numbers[key].si

    def value(self, key: str) -> float:
        """A number in its catalogue unit; KeyError when this part has no such number."""
        return self.numbers[key].value


@dataclass(frozen=True)
class Catalogue:
    """All parts, by kind and name."""

    parts: Mapping[str, Mapping[str, Part]]

    def names(self, kind: str) -> tuple[str, ...]:
        """Every name a scenario may give for this kind, the switch-off choice last."""
        off = KINDS[kind].off
        return (*self.parts[kind], *((off,) if off else ()))

    def find(self, kind: str, name: str) -> Part | None:
        """The part of that name; None for the kind's switch-off choice. Raises PartError with the nearest spelling."""
        if name == KINDS[kind].off:
            return None
        part = self.parts[kind].get(name)
        if part is None:
            near = difflib.get_close_matches(name, self.names(kind), n=1)
            hint = f"did you mean {near[0]}? " if near else ""
            raise PartError(f"no part {name!r} among the {kind}; {hint}there are: {', '.join(self.names(kind))}")
        return part

    def get(self, kind: str, name: str) -> Part:
        """The part of that name. Raises PartError where there is none."""
        part = self.find(kind, name)
        if part is None:
            raise PartError(f"{name!r} is no part among the {kind}: it {KINDS[kind].off_meaning}")
        return part

    def changed(self, numbers: Mapping[tuple[str, str, str], float]) -> Catalogue:
        """A catalogue in which some numbers are others. numbers: (kind, part, key) -> value in its catalogue unit."""
        parts = dict(self.parts)
        for (kind, name, key), value in numbers.items():
            part = parts[kind][name]
            there = {**part.numbers, key: replace(part.numbers[key], value=value)}
            parts[kind] = {**parts[kind], name: replace(part, numbers=there)}
        return Catalogue(parts)

    def __iter__(self) -> Iterator[Part]:
        for parts in self.parts.values():
            yield from parts.values()


@dataclass(frozen=True)
class Row:
    """One number of the catalogue as the `parts` command lists it."""

    kind: str
    part: str
    description: str
    key: str
    value: float
    unit: str
    band: tuple[float, float] | None
    mark: str
    source: str
    why: str
    band_source: str


def rows(kind: str | None = None) -> list[Row]:
    """Every number of the catalogue, or of one kind, in catalogue order."""
    found = []
    for part in catalogue():
        if kind not in (None, part.kind):
            continue
        for key, q in part.numbers.items():
            source = q.source
            found.append(
                Row(
                    part.kind,
                    part.name,
                    part.description,
                    key,
                    q.value,
                    q.unit,
                    q.band,
                    MARKS[source.mark],
                    source.text,
                    source.why,
                    q.band_source.words if q.band and q.band_source is not source else "",
                )
            )
    return found


@cache
def catalogue() -> Catalogue:
    """The catalogue that comes with the program. Raises PartError for a file that does not keep its own rules."""
    folder = resources.files(__package__)
    parts = {}
    for name, kind in KINDS.items():
        text = folder.joinpath(f"{name}.toml").read_text(encoding="utf-8")
        parts[name] = read_parts(text, kind, f"{name}.toml")
    _check_references(parts)
    return Catalogue(parts)


def read_parts(text: str, kind: Kind, label: str) -> dict[str, Part]:
    """The parts of one catalogue file. Raises PartError, naming file, part and key, for what a part must not lack."""
    try:
        tree = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise PartError(f"{label}: {error}") from None
    sources = {name: _source(entry, f"{label} [sources.{name}]") for name, entry in tree.pop("sources", {}).items()}
    parts = {name: _part(name, entry, kind, sources, f"{label} [{name}]") for name, entry in tree.items()}
    if kind.off in parts:
        raise PartError(f"{label} [{kind.off}]: this name is the choice that switches the {kind.name} off")
    numbers = [q for part in parts.values() for q in part.numbers.values()]
    used = {id(source) for q in numbers for source in (q.source, q.band_source)}
    idle = [name for name, source in sources.items() if id(source) not in used]
    if idle:
        raise PartError(f"{label} [sources.{idle[0]}]: no number of this file uses it")
    return parts


def _source(entry: Any, at: str) -> Source:
    if not isinstance(entry, dict) or not {"mark", "text"} <= set(entry) <= {"mark", "text", "why"}:
        raise PartError(f"{at}: a source has mark and text, and why when it is an estimate")
    if entry["mark"] not in MARKS:
        raise PartError(f"{at} mark = {entry['mark']!r}: must be one of {', '.join(MARKS)}")
    if not str(entry["text"]).strip():
        raise PartError(f"{at}: text is empty; say where the number comes from")
    if entry["mark"] == "estimate" and not str(entry.get("why", "")).strip():
        raise PartError(f"{at}: an estimate needs why")
    return Source(entry["mark"], entry["text"], entry.get("why", ""))


def _part(name: str, entry: Any, kind: Kind, sources: Mapping[str, Source], at: str) -> Part:
    if not isinstance(entry, dict):
        raise PartError(f"{at}: must be a table")
    numbers, words, texts = {}, {}, {"description": "", "caution": ""}
    for key, value in entry.items():
        unit = kind.unit(key)
        if unit is not None:
            numbers[key] = _quantity(value, unit, sources, f"{at} {key}")
        elif key in kind.words:
            if not isinstance(value, str) or (kind.words[key] and value not in kind.words[key]):
                raise PartError(f"{at} {key} = {value!r}: must be one of {', '.join(kind.words[key]) or 'the names'}")
            words[key] = value
        elif key in texts and isinstance(value, str):
            texts[key] = value
        else:
            raise PartError(f"{at}: {key} is nothing that {kind.name} have")
    lacking = [key for key in (*kind.numbers, "description") if key not in entry]
    if lacking:
        raise PartError(f"{at}: {lacking[0]} is missing")
    for key in kind.uncertain:
        _check_band(numbers.get(key), key in kind.follows, f"{at} {key}")
    return Part(kind.name, name, texts["description"], numbers, words, texts["caution"])


def _quantity(entry: Any, unit: str, sources: Mapping[str, Source], at: str) -> Quantity:
    if not isinstance(entry, dict) or not set(entry) <= {"value", "unit", "band", "source", "band_source"}:
        raise PartError(f"{at}: a number is written {{ value, unit, band, source, band_source }}")
    if "source" not in entry:
        raise PartError(f"{at}: has no source; a number without a source does not load")
    for name in ("source", "band_source"):
        if name in entry and entry[name] not in sources:
            raise PartError(f"{at} {name} = {entry[name]!r}: no [sources.{entry[name]}] in this file")
    value = entry.get("value")
    if not isinstance(value, int | float) or isinstance(value, bool) or not 0 <= value < float("inf"):
        raise PartError(f"{at} value = {value!r}: must be a number, 0 or more")
    if entry.get("unit") != unit:
        raise PartError(f"{at} unit = {entry.get('unit')!r}: must be {unit!r}")
    band = entry.get("band")
    if band is not None and not (isinstance(band, list) and len(band) == 2 and band[0] <= value <= band[1]):
        raise PartError(f"{at} band = {band!r}: must be two numbers around the value {value!r}")
    source, band_source = sources[entry["source"]], sources[str(entry.get("band_source", entry["source"]))]
    return Quantity(value, unit, tuple(band) if band else None, source, band_source)


def _check_band(quantity: Quantity | None, follows: bool, at: str) -> None:
    """A number that moves an answer must say how well it is known; one of zero is left out of the model."""
    if quantity is None or quantity.value == 0.0:
        return
    if quantity.band is None and not follows:
        raise PartError(f"{at}: has no band; it moves what a machine does, so say the low and high that 19 of 20 keep")
    if quantity.band is not None and quantity.band[0] <= 0.0:
        raise PartError(f"{at} band: its low must be above 0, as the value is")


def _check_references(parts: Mapping[str, Mapping[str, Part]]) -> None:
    """Parts that name another part must name one that there is."""
    for frame in parts["frames"].values():
        if frame.words.get("material") not in parts["materials"]:
            raise PartError(f"frames.toml [{frame.name}] material: must be one of {', '.join(parts['materials'])}")
