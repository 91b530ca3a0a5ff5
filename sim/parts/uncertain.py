"""Which numbers of a design are known within a band only: those taken from parts, and those [band] names."""

from __future__ import annotations

from collections.abc import Collection, Iterable

from ..errors import ScenarioError
from ..scenario.bands import BAND, TABLES, bands_of, outside
from ..scenario.fields import tidy
from ..scenario.index import EACH, Path, dotted, key_at
from .catalogue import Catalogue, Quantity
from .completion import Completion
from .design import Design, Uncertain
from .kinds import KINDS


def uncertain_of(c: Completion, detail: str, used_parts: Collection[str]) -> tuple[Uncertain, ...]:
    """Every uncertain number of a completed scenario, those of the file's [band] last.

    detail: of the model; what does nothing at "simple" is left out.  used_parts: belts and motors that there are; the
    tables of all name others where each drive has a part of its own. Raises ScenarioError for a band without its value.
    """
    banded = _banded(c)
    reached = {tuple(key.split(".")) for number in banded.values() for key in number.keys}
    found = []
    for (kind, name, key), paths in c.uses.items():
        own = sorted((p for p in dict.fromkeys(paths) if p not in reached), key=_place)
        if (paths and not own) or (detail == "simple" and own and all(_only_full(p) for p in own)):
            continue
        if kind in EACH and name not in used_parts:
            continue
        found.append(part_number(c.catalogue, kind, name, key, [dotted(p) for p in own]))
    return (*found, *(u for p, u in banded.items() if not (detail == "simple" and _only_full(p))))


def _place(path: Path) -> int:
    """Where a key's table stands in the file, so that a number has the same name in whichever order it was asked for."""
    return TABLES.index(path[0]) if path[0] in TABLES else len(TABLES)


def key_bands(design: Design, numbers: Iterable[Uncertain]) -> dict[str, tuple[float, float]]:
    """(low, high) of the values of a completed scenario that these numbers fill, by key, in file units."""
    values = {o.key: o.value for o in design.origins}
    found = {}
    for number in numbers:
        for key in number.keys:
            held = values.get(key)
            # A guide of two rods has twice the friction of the one that the part tells.
            if isinstance(held, int | float) and number.value > 0:
                times = held / number.value
                found[key] = (number.low * times, number.high * times)
            elif key in values:
                found[key] = (number.low, number.high)
    return found


def part_number(catalogue: Catalogue, kind: str, name: str, key: str, keys: Iterable[str] = ()) -> Uncertain:
    """A number of a part with its band. keys: where the file has it."""
    there = catalogue.parts[kind][name].numbers
    leader = KINDS[kind].follows.get(key, key)
    own, first = there[key], there[leader]
    low, high = own.band or _as_wide(own, first)
    named = tuple(keys) or (f"{kind}.{name}.{key}",)
    reason, draw = first.band_source.words, (kind, leader, first.band_source.text)
    return Uncertain(named[0], named, own.value, low, high, own.unit, reason, (kind, name, key), draw)


def _as_wide(own: Quantity, first: Quantity) -> tuple[float, float]:
    """The band of a number that follows another of its part: as wide, by its logarithm."""
    assert first.band is not None
    return own.value * first.band[0] / first.value, own.value * first.band[1] / first.value


def _only_full(path: Path) -> bool:
    key = key_at(path)
    return key is not None and key.full_only


def _banded(c: Completion) -> dict[Path, Uncertain]:
    """The numbers of the file's [band], each with the value that holds."""
    found, problems = {}, []
    for path, (low, high) in bands_of(c.scenario).items():
        name, key = dotted(path), key_at(path)
        at = f"{c.scenario.label} [{BAND}] {name} = [{tidy(low)}, {tidy(high)}]"
        value = c.decided(path)
        if path[0] in EACH and len(path) == 3 and path[1] not in c.drives:
            known = ", ".join(f"{path[0]}.{drive}.{path[2]}" for drive in c.drives)
            problems.append(f"{at}: the {path[0]} of {c.scenario.layout} have {known}")
        elif value is None and key is not None and key.by_machine:
            problems.append(f"{at}: {name} is computed from the parts; write its measured value beside the band")
        elif value is None:
            c.notices.append(f"{BAND}.{name} does nothing here: the number is not used")
        elif rule := outside(c.told(path), low, high):
            problems.append(f"{at}: {rule}")
        elif key is not None:
            reason = f"written in {c.scenario.label}"
            keys = (name, *(dotted(p) for p in _alike(c, path, value)))
            found[path] = Uncertain(name, keys, value, low, high, key.unit, reason, ("file", name), ("file", name))
    if problems:
        raise ScenarioError(problems)
    return found


def _alike(c: Completion, path: Path, value: object) -> list[Path]:
    """For a key of all belts or motors the same key of each with a table of its own, where it holds the same number and
    nobody wrote it or a band for it there: who is not sure of the one is not sure of the other."""
    if len(path) != 2 or path[0] not in EACH:
        return []
    bands, own = bands_of(c.scenario), [(path[0], drive, path[1]) for drive in c.drives]
    return [p for p in own if p not in bands and c.written(p) is None and c.decided(p) == value]
