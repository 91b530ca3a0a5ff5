"""Filling a scenario: for each key the value that holds, who decided it, and the value in SI. The doorstep of units."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from ..errors import ScenarioError
from ..scenario.fields import Key, tidy
from ..scenario.index import EACH, all_keys, dotted, key_at, keys_of
from ..scenario.schema import Scenario
from ..scenario.telling import choice_rule, nearest, problem
from ..scenario.units import to_si
from .catalogue import Part, catalogue
from .design import Drawn, Origin
from .keys import part_names
from .kinds import KINDS

Path = tuple[str, ...]


class Completion:
    """The values of one scenario as they are decided, with their origins; a work piece of `resolve`.

    Values go by path, in file units; `si` gives a decided value in SI by the unit its key has in the schema.
    drawn: numbers that stand in place of those told.  uses: uncertain numbers taken from parts, (kind, part, key), each with
    the paths it fills.  known: whether its names of drives and parts have been looked over before.
    """

    def __init__(
        self, scenario: Scenario, drives: Sequence[str], drawn: Drawn | None = None, known: bool = False
    ) -> None:
        self.scenario = scenario
        self.drives = tuple(drives)
        self.drawn = drawn or Drawn()
        self.catalogue = catalogue().changed(self.drawn.parts) if self.drawn.parts else catalogue()
        self.uses: dict[tuple[str, str, str], list[Path]] = {}
        self.notices: list[str] = list(scenario.notices)
        self._decided: dict[Path, Origin] = {}
        self._left_out: list[Path] = []
        if not known:
            self._check_drives()
            self._check_part_names()

    def written(self, path: Path) -> Any:
        """The value the person wrote at a path, None where there is none."""
        return self._in_file(path) if path in self.scenario.origins else None

    def use(self, part: Part, key: str, path: Path | None = None) -> None:
        """Note that an uncertain number of a part is used. path: of the file's key that it fills, if there is one."""
        if key in KINDS[part.kind].uncertain and key in part.numbers and part.numbers[key].value > 0:
            paths = self.uses.setdefault((part.kind, part.name, key), [])
            paths += [] if path is None else [path]

    def decided(self, path: Path) -> Any:
        """The value that holds at a path so far, None where there is none."""
        return self._decided[path].value if path in self._decided else None

    def origin(self, path: Path) -> str:
        """Who decided the value at a path."""
        return self._decided[path].origin

    def told(self, path: Path) -> Any:
        """The same as it is told, whatever is drawn in its place."""
        return None if path in self.drawn.keys else self.decided(path)

    def decide(self, path: Path, value: Any, origin: str, note: str = "") -> Any:
        """Set the value that holds at a path, in file units."""
        value = self.drawn.keys.get(path, value)
        self._decided[path] = Origin(dotted(path), value, origin, note)
        return value

    def value(self, path: Path, part: Part | None = None, times: float = 1, note: str = "") -> Any:
        """The value at a path: as written, else the schema's default, else `times` the part's own number.

        note: what to say of a value taken from the part. Raises KeyError where none of the three has one: a gap in
        this program, not in the scenario.
        """
        if path in self._decided:
            return self._decided[path].value
        found = self._person(path)
        if found is not None:
            return self.decide(path, *found)
        inherited = self._inherited(path)
        if inherited is not None:
            return self.decide(path, *inherited)
        default = self._in_file(path)
        if default is not None:
            return self.decide(path, default, "default")
        if part is None:
            raise KeyError(dotted(path))
        self.use(part, path[-1], path)
        quantity = part.numbers[path[-1]]
        value = quantity.value if times == 1 else round(quantity.value * times, 9)
        count = f"{tidy(times)} x {tidy(quantity.value)}; " if times != 1 else ""
        return self.decide(path, value, "part", f"{part.name}: {count}{note or quantity.source.words}")

    def value_or(self, path: Path, computed: Any, note: str, origin: str = "computed") -> Any:
        """The value at a path as written (or inherited from the table above), else a computed one."""
        found = self._person(path) or self._inherited(path)
        return self.decide(path, *found) if found is not None else self.decide(path, computed, origin, note)

    def si(self, path: Path, part: Part | None = None, times: float = 1) -> float:
        """`value` in SI units, by the unit the schema gives this key."""
        key = key_at(path)
        assert key is not None, dotted(path)
        return to_si(self.value(path, part, times), key.unit)

    def part(self, path: Path) -> Part | None:
        """The part named at a path, None for the choice that switches it off."""
        key = key_at(path)
        kind = key.names if key else None
        assert kind is not None, dotted(path)
        return self.catalogue.find(kind, self.value(path))

    def refuse_overrides(self, table: Path, named_by: str, why: str, keep: Sequence[str] = ()) -> None:
        """Refuse written overrides of a part that has no such values. Raises ScenarioError."""
        problems = [
            self.problem((*table, name), f"has no effect, {why}; leave it out or choose another {named_by}")
            for name, key in keys_of(table).items()
            if key.overrides[:1] == (named_by,) and name not in keep and self.written((*table, name)) is not None
        ]
        if problems:
            raise ScenarioError(problems)

    def idle(self, path: Path, why: str) -> None:
        """Tell, without refusing, that a written setting does nothing."""
        if self.written(path) is not None:
            self.notices.append(f"{dotted(path)} does nothing here: {why}")

    def leave_out(self, start: Path, why: str) -> None:
        """Tables or keys that this kind of machine has no use for: told of where written, in no list of values."""
        self._left_out.append(start)
        for path in self.scenario.origins:
            if path[: len(start)] == start:
                self.idle(path, why)

    def problem(self, path: Path, rule: str) -> str:
        """One sentence about the value at a path."""
        return problem(self.scenario.where(path), path, self._in_file(path), rule)

    def origins(self) -> list[Origin]:
        """Every value in file order. What the machine is still to compute has its place, with the value None."""
        found: list[Origin] = []
        for path, key in all_keys():
            self._take(path, key, found)
            table = path[:-1]
            if len(table) == 1 and table[0] in EACH and path[-1] == list(keys_of(table))[-1]:
                for drive in self.drives:
                    for name, own in keys_of((*table, drive)).items():
                        self._take((*table, drive, name), own, found)
        return found

    def _take(self, path: Path, key: Key, found: list[Origin]) -> None:
        if any(path[: len(start)] == start for start in self._left_out):
            return
        of_drive = len(path) == 3 and path[0] in EACH
        if path in self.scenario.origins or (not of_drive and self._in_file(path) is not None):
            self.value(path)
        if path in self._decided and self._decided[path].value is not None:
            found.append(self._decided[path])
        elif key.by_machine and not (path[0] == "frame" and self.value(("frame", "part")) == KINDS["frames"].off):
            found.append(Origin(dotted(path), None, "computed"))

    def _in_file(self, path: Path) -> Any:
        if path in self.drawn.keys:
            return self.drawn.keys[path]
        inner: Any = self.scenario.file
        for name in path:
            inner = getattr(inner, name, None)
            if inner is None:
                return None
        return inner

    def _person(self, path: Path) -> tuple[Any, str, str] | None:
        """The value at this very path if a person wrote it, with origin and note."""
        where = self.scenario.origins.get(path)
        return None if where is None else (self._in_file(path), where.kind, where.label)

    def _inherited(self, path: Path) -> tuple[Any, str, str] | None:
        """For a key of [belts.a]: what [belts] says, unless a has a part of its own that this key would override."""
        if len(path) != 3 or path[0] not in EACH:
            return None
        above, key = (path[0], path[2]), key_at(path)
        if key and key.overrides and (self.written(above) is None or self._own_part(path[:2], key)):
            return None
        default = self._in_file(above)
        return self._person(above) or (None if default is None else (default, "default", ""))

    def _own_part(self, table: Path, key: Key) -> bool:
        own = self.written((*table, key.overrides[0]))
        return own is not None and own != self.value((table[0], key.overrides[0]))

    def _check_drives(self) -> None:
        """Refuse a drive that the layout does not have; tell of one that the file wrote for another layout of its own."""
        problems, layout = [], self.scenario.layout
        other = self.scenario.where(("layout",)).kind != "file"
        for table in EACH:
            for name in getattr(self.scenario.file, table).model_extra or {}:
                if name not in self.drives:
                    where = next((w for p, w in self.scenario.origins.items() if p[:2] == (table, name)), None)
                    if other and (where is None or where.kind == "file"):
                        mine = ", ".join(self.drives)
                        self.notices.append(f"{table}.{name} does nothing here: the {table} of {layout} are {mine}")
                        continue
                    near = nearest(name, [*self.drives, *keys_of((table,))])
                    hint = f"did you mean {near}? " if near else ""
                    known = ", ".join(f"[{table}.{drive}]" for drive in self.drives)
                    label = where.label if where else self.scenario.label
                    problems.append(f"{label} [{table}.{name}]: {hint}the {table} of {layout} have {known}")
        if problems:
            raise ScenarioError(problems)

    def _check_part_names(self) -> None:
        problems = []
        paths = [path for path, _ in all_keys()]
        paths += [(table, drive, "part") for table in EACH for drive in self.drives]
        for path in paths:
            key, name = key_at(path), self._in_file(path)
            if key is None or key.names is None or name is None:
                continue
            names = part_names(path, key.names)
            if name not in names:
                problems.append(self.problem(path, choice_rule(name, names)))
        if problems:
            raise ScenarioError(problems)


def off(kind: str) -> str:
    """Why a part's values do nothing when it is switched off."""
    return f"since {KINDS[kind].off} {KINDS[kind].off_meaning}"
