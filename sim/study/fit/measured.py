"""The file of what was measured on a machine: strict TOML, the unit in every key. Values leave it in SI units."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path
from typing import Any

from ...errors import InputError
from ...files import name_of, parse_toml, read_text
from ...scenario.index import key_at
from ...scenario.telling import nearest, shown
from ...scenario.units import to_si
from .columns import Columns, read_columns
from .fields import Field, read_table
from .sound import read_pitch

LARGEST_BYTES, MOST_OF_A_KIND = 500_000, 200
#: What a measurement may change of what was asked of the machine; never of the machine.
ASKED = ("move", "motion")
#: Two sigma where nobody writes them (our choice): a ruler; a tuner or a phone; a spring scale and a dial gauge; a kitchen
#: scale.
RIPPLE_MM, PITCH_SHARE, PUSH_SHARE, WEIGHED_SHARE = 0.05, 0.02, 0.05, 0.01
Set = dict[str, Any]


@dataclass(frozen=True)
class Ripples:
    """Spacing of ripples on a printed corner, m, of an axis (0 X, 1 Y) that was told to stop, at a speed, m/s."""

    axis: int
    speed_m_s: float
    spacing_m: float
    give_m: float
    set: Set = field(default_factory=dict)


@dataclass(frozen=True)
class Pitch:
    """Pitch of a plucked strand, Hz. belt, run: its names.  free_m: length that swings.  sound: file it was taken from, or ""."""

    belt: str
    run: str
    free_m: float
    hertz: float
    give_hz: float
    sound: str = ""


@dataclass(frozen=True)
class Push:
    """What the tool, or the frame's top, gives along an axis under a force, powered motors at rest, beyond friction. N, m.

    at_m: where the tool stands in X and Y; None: the middle of its reach.
    """

    axis: int
    force_n: float
    give_m: float
    give_or_take_m: float
    on: str = "tool"
    at_m: tuple[float, float] | None = None


@dataclass(frozen=True)
class Weighed:
    """A number of the file that was weighed or measured by itself, in its own unit."""

    key: str
    value: float
    give: float


@dataclass(frozen=True)
class Recording:
    """A record of an accelerometer. on: "tool" or "bed".  at_m: (3,), of the sensor from the nozzle, or the bed's middle.

    checks: held out, only predicted.
    """

    name: str
    columns: Columns
    on: str
    at_m: tuple[float, float, float]
    set: Set
    checks: bool = False


@dataclass(frozen=True)
class Measured:
    """Everything one file tells. label: the file, for messages."""

    label: str
    ripples: tuple[Ripples, ...] = ()
    pitch: tuple[Pitch, ...] = ()
    push: tuple[Push, ...] = ()
    weighed: tuple[Weighed, ...] = ()
    record: tuple[Recording, ...] = ()


_GIVE = "two sigma"
_SET = Field("what was asked of the machine for it", table=True, default={})
_AXIS = Field("the axis", choices=("x", "y"))
FIELDS: dict[str, dict[str, Field]] = {
    "ripples": {
        "axis": _AXIS,
        "speed_mm_s": Field("the speed the wall was printed with", 1, 2000),
        "spacing_mm": Field("from crest to crest", 0.01, 100),
        "give_or_take_mm": Field(_GIVE, 0.001, 50, default=RIPPLE_MM),
        "set": _SET,
    },
    "pitch": {
        "run": Field('belt and run, such as "a left"', text=True),
        "free_mm": Field("length of the strand that swings", 10, 5000),
        "hz": Field("its pitch", 1, 5000, default=None),
        "sound": Field("a WAV file of it", text=True, default=None),
        "give_or_take_hz": Field(_GIVE, 0.001, 1000, default=None),
    },
    "push": {
        "axis": _AXIS,
        "force_n": Field("the force", 0.1, 2000),
        "gives_um": Field("how far it gives, beyond break-away", 0.1, 100_000),
        "give_or_take_um": Field(_GIVE, 0.01, 100_000, default=None),
        "on": Field("what is pushed", choices=("tool", "frame"), default="tool"),
        "at_mm": Field("where the tool stands in X and Y", -3000, 3000, count=2, default=None),
    },
    "weighed": {
        "key": Field("the number's key in the scenario", text=True),
        "value": Field("what was found, in the key's unit"),
        "give_or_take": Field(_GIVE, 0, 1e9, default=None),
    },
    "record": {
        "file": Field("a CSV file", text=True),
        "on": Field("the body that carries the sensor", choices=("tool", "bed"), default="tool"),
        "at_mm": Field("of the sensor from the nozzle, or from the bed's middle", -2000, 2000, count=3, default=[0, 0, 0]),
        "set": _SET,
        "use": Field("fit it, or only predict it", choices=("fit", "check"), default="fit"),
    },
}  # fmt: skip


def read_measured(path: str | Path) -> Measured:
    """What a file tells, the files it names read. path: a file, or the name of one that ships.

    Raises InputError, one sentence a problem.
    """
    where = _found(path)
    label = name_of(where.name, 60)
    tree = parse_toml(read_text(where, "a file of measurements", LARGEST_BYTES, _CSV_HINT), label, "[[ripples]]")
    return measured_of(tree, label, where.parent)


def _found(path: str | Path) -> Path:
    """A file, or the one that ships under that name."""
    where = Path(path)
    if len(where.parts) == 1 and not where.suffix and not where.exists():
        shipped = resources.files("beltspring.scenarios").joinpath("measured", f"{where.name}.toml")
        if shipped.is_file():
            return Path(str(shipped))
    return where


_CSV_HINT = "; the samples of a sensor go into a CSV file that a [[record]] names"


def measured_of(tree: Mapping[str, Any], label: str, folder: Path) -> Measured:
    """The same from a tree of tables. folder: what the files it names are relative to."""
    problems: list[str] = []
    made: dict[str, list[Any]] = {kind: [] for kind in FIELDS}
    for kind, tables in tree.items():
        if kind not in FIELDS:
            near = nearest(kind, tuple(FIELDS))
            known = f"did you mean [[{near}]]?" if near else "there are " + ", ".join(f"[[{k}]]" for k in FIELDS)
            problems.append(f"{label}: unknown table [[{kind if kind.isprintable() else shown(kind)}]]; {known}")
            continue
        if not isinstance(tables, list):
            problems.append(f"{label} [{kind}]: write [[{kind}]] with double brackets, for each measurement one")
            continue
        if len(tables) > MOST_OF_A_KIND:
            problems.append(f"{label}: {len(tables)} tables [[{kind}]]; {MOST_OF_A_KIND} are the most")
            continue
        for i, table in enumerate(tables):
            at = f"{label} [[{kind}]] number {i + 1}" if len(tables) > 1 else f"{label} [[{kind}]]"
            values, wrong = read_table(table, FIELDS[kind], at)
            problems += wrong
            if not wrong:
                try:
                    made[kind].append(_MAKE[kind](values, at, folder))
                except InputError as error:
                    problems += str(error).split("\n")
    if problems:
        raise InputError("\n".join(problems[:10]))
    if not any(made.values()):
        kinds = ", ".join(f"[[{kind}]]" for kind in FIELDS)
        raise InputError(f"{label}: nothing was measured; write one of {kinds}")
    return Measured(label, *(tuple(made[kind]) for kind in FIELDS))


def _asked(changes: Mapping[str, Any], at: str) -> Set:
    """The changes of `set`, as dotted keys. Raises InputError where they are none of what is asked of the machine."""
    flat: Set = {}
    for name, value in changes.items():
        inner = {f"{name}.{k}": v for k, v in value.items()} if isinstance(value, Mapping) else {name: value}
        flat |= inner
    for key in flat:
        if key.partition(".")[0] not in ASKED:
            raise InputError(
                f"{at} set: {key} is no part of what was asked; only keys of {' and '.join(ASKED)} belong here, and what the"
                " machine is, is the same for all measurements"
            )
    return flat


def _ripples(v: dict[str, Any], at: str, _: Path) -> Ripples:
    changes = _asked(v["set"], at) | {"motion.speed_mm_s": v["speed_mm_s"]}
    return Ripples(
        "xy".index(v["axis"]), v["speed_mm_s"] / 1e3, v["spacing_mm"] / 1e3, v["give_or_take_mm"] / 1e3, changes
    )


def _pitch(v: dict[str, Any], at: str, folder: Path) -> Pitch:
    belt, _, run = v["run"].strip().partition(" ")
    if not run:
        raise InputError(f'{at} run = {shown(v["run"])}: write belt and run, such as "a left"')
    if (v["hz"] is None) == (v["sound"] is None):
        raise InputError(f"{at}: write either hz, or sound with the name of a WAV file")
    hertz = v["hz"] if v["sound"] is None else read_pitch(folder / v["sound"])
    give = v["give_or_take_hz"] if v["give_or_take_hz"] is not None else PITCH_SHARE * hertz
    return Pitch(belt, run.strip(), v["free_mm"] / 1e3, float(hertz), float(give), v["sound"] or "")


def _push(v: dict[str, Any], at: str, _: Path) -> Push:
    give = v["give_or_take_um"] if v["give_or_take_um"] is not None else PUSH_SHARE * v["gives_um"]
    place = None if v["at_mm"] is None else (v["at_mm"][0] / 1e3, v["at_mm"][1] / 1e3)
    return Push("xy".index(v["axis"]), float(v["force_n"]), v["gives_um"] / 1e6, give / 1e6, v["on"], place)


def _weighed(v: dict[str, Any], at: str, _: Path) -> Weighed:
    key = key_at(tuple(v["key"].split(".")))
    if key is None or key.low is None or key.high is None:
        raise InputError(
            f"{at} key = {shown(v['key'])}: no such number; write a key as in the scenario, such as carriage.mass_g"
        )
    if not key.low <= v["value"] <= key.high or v["value"] <= 0:
        raise InputError(f"{at} value = {shown(v['value'])}: {v['key']} must be {key.allowed} {key.unit}, above 0")
    give = v["give_or_take"] or WEIGHED_SHARE * v["value"]
    return Weighed(v["key"], float(v["value"]), float(give))


def _record(v: dict[str, Any], at: str, folder: Path) -> Recording:
    x, y, z = (to_si(c, "mm") for c in v["at_mm"])
    columns = read_columns(folder / v["file"])
    return Recording(v["file"], columns, v["on"], (x, y, z), _asked(v["set"], at), v["use"] == "check")


_MAKE: dict[str, Callable[[dict[str, Any], str, Path], Any]] = {
    "ripples": _ripples,
    "pitch": _pitch,
    "push": _push,
    "weighed": _weighed,
    "record": _record,
}


def counted(measured: Measured) -> str:
    """How many of each there are, in words: "2 spacings of ripples, 1 push"."""
    one = {"ripples": "spacing of ripples"}
    many = {"ripples": "spacings of ripples", "pitch": "pitches", "push": "pushes", "record": "records"}
    kinds = {kind: len(getattr(measured, kind)) for kind in FIELDS}
    return ", ".join(f"{n} {(one if n == 1 else many).get(kind, kind)}" for kind, n in kinds.items() if n)
