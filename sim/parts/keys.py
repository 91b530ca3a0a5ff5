"""Every key of the scenario file with unit, range, choices, default and meaning, as schema and catalogue have them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from ..errors import InputError
from ..scenario.fields import Key
from ..scenario.index import EACH, Path, all_keys, dotted, key_at, keys_of, table_at, tables
from ..scenario.motion import OWN_CHOICES
from ..scenario.telling import nearest, range_words
from .catalogue import catalogue
from .kinds import KINDS

#: Keys whose value depends on the move that is chosen: what it is for each pattern.
BY_PATTERN = {name: {p: own[name] for p, own in OWN_CHOICES.items() if name in own}
              for name in dict.fromkeys(name for own in OWN_CHOICES.values() for name in own)}  # fmt: skip


@dataclass(frozen=True)
class KeyFact:
    """One key. path, table: where it stands.  unit: "" for counts and words.  low, high: of a number, in its unit.

    choices: what may be chosen, () where it is free.  default: None where there is no fixed one.  required: must be written.
    instead: where the value comes from when nobody writes it.  each: also in [<table>.<drive>], for one belt or motor.
    full_only: does nothing in the textbook model.
    """

    path: Path
    meaning: str
    unit: str
    low: float | None
    high: float | None
    choices: tuple[str | int, ...]
    allowed: str
    default: Any
    required: bool
    instead: str
    each: bool
    full_only: bool

    @property
    def name(self) -> str:
        """The key as it is written after --set."""
        return dotted(self.path)

    def range_words(self) -> str:
        """What may be written: "10 to 3000 mm", or the choices."""
        return ", ".join(str(choice) for choice in self.choices) if self.choices else self.allowed


def key_facts(of: str = "") -> list[KeyFact]:
    """Every key in file order, or those of a table, or a key of that name or dotted name.

    Raises InputError for a name that is neither, with the nearest.
    """
    every = [fact for path, _ in all_keys() if (fact := key_fact(path)) is not None]
    wanted = of.strip().strip("[]")
    if not wanted:
        return every
    exact = key_fact(tuple(wanted.split(".")))
    found = (
        [exact]
        if exact is not None
        else [f for f in every if f.path[: len(wanted.split("."))] == tuple(wanted.split("."))]
    )
    if found:
        return found
    named = [f for f in every if f.path[-1] == wanted]
    if named:
        return named
    names = [*(dotted(t) for t in tables() if t), *(f.name for f in every), *(f.path[-1] for f in every)]
    near = nearest(wanted, list(dict.fromkeys(names)))
    hint = f"did you mean {near}?" if near else "`beltspring keys` lists them all"
    raise InputError(f"{wanted!r} is no table and no key of a scenario; {hint}")


def key_fact(path: Path) -> KeyFact | None:
    """What is known of the key at a path, [belts.<drive>] included; None where there is no such key."""
    key, table = key_at(path), table_at(path[:-1])
    if key is None or table is None:
        return None
    field = table.model_fields[path[-1]]
    choices = part_names(path, key.names) if key.names else key.choices() if key.choices else ()
    required = field.is_required()
    default = None if required else field.default
    each = len(path) == 2 and path[0] in EACH and path[-1] in keys_of((path[0], "*"))
    return KeyFact(
        path=path,
        meaning=key.meaning,
        unit="" if key.unit == "ratio" else key.unit,
        low=key.low,
        high=key.high,
        choices=choices,
        allowed=range_words(key),
        default=default,
        required=required,
        instead="" if required or default is not None else _instead(path, key),
        each=each,
        full_only=key.full_only,
    )


def part_names(path: Path, kind: str) -> tuple[str, ...]:
    """Names that a key may give of its kind of part: panels may be diagonals of profile, printed things take plastics."""
    names = catalogue().names(kind)
    if path[:2] == ("frame", "panels"):
        bars = (n for n in catalogue().names("frames") if n not in (*names, KINDS["frames"].off))
        names = (*names, *bars)
    if path[-1] == "material":
        names = tuple(n for n in names if catalogue().get("materials", n).words["use"] == "printed")
    return names


def _instead(path: Path, key: Key) -> str:
    """Where a value comes from that nobody wrote."""
    if len(path) == 3 and path[0] in EACH:
        return f"that of [{path[0]}]"
    if path[-1] in BY_PATTERN and path[0] == "move":
        return ", ".join(f"{value:g} ({pattern})" for pattern, value in BY_PATTERN[path[-1]].items())
    if key.by_machine:
        return "computed from the parts"
    known = INSTEAD.get(path[-1])
    if known is not None:
        return known
    return f"that of {key.overrides[0]}" if key.overrides else "not used"


#: Where values come from that no part has and that no default is written for, by key.
INSTEAD = {
    "lines": "2, but 1 under a carriage on wheels or a rail",
    "blocks": "1",
    "ends": "clamped",
    "shaft": "h6",
    "spacing_mm": "the layout's",
    "apart_mm": "the layout's",
    "friction_static_n": "friction_n times the guide's own ratio",
    "belt_above_guide_mm": "clear of guide and belts, 16 at least",
    "tower_radius_mm": "from the reach and the platform",
    "arm_mm": "from towers and reach",
    "arm_stiffness_n_per_mm": "from arm and joints",
    "arm_mass_g": "from arm and joints",
    "z_stiffness_n_per_mm": "computed from the screw or belt",
    "arms": "the frame's part",
    "pretension_n": "what the belt's part is put on with",
    "current_a": "0.8 of the rated current",
    "pulley_pitch_mm": "its belt's",
    "pulley_profile": "its belt's",
    "pitch_mm": "their belt's",
    "profile": "their belt's",
    "screws": "12",
    "diagonals": "a sheet",
    "base": "the frame's part",
    "columns": "the frame's part",
    "top": "the frame's part",
    "material": "usual for the part",
    "width_mm": "from reach, carriage and belts",
    "depth_mm": "from reach, carriage and motors",
    "height_mm": "from reach, bed and carriage",
    "slot": "v",
    "bore": "round",
    "size_mm": "60, on a small machine half of the reach",
    "pattern": "a program is run",
    "gcode": "the pattern is run",
}
