"""What designs may differ in: the settings that matter, each with sensible values to start from."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from beltspring.sim import catalogue

from ..draw import text
from .session import Session
from .settings import SETTINGS, Setting


@dataclass(frozen=True)
class Design:
    """One design to compare. changes: what it writes over the scenario.  label: "value<tab>unit" or a name.

    variant: of the scenario's file, "" for none.  base: index of the opened scenario it starts from.
    """

    label: str
    changes: Mapping[str, Any]
    variant: str = ""
    base: int = 0


@dataclass(frozen=True)
class Difference:
    """One thing designs may differ in.

    start: the designs to begin with.  choices: (label, file value) to pick from; empty for numbers, given by `setting`.
    """

    name: str
    key: str
    start: Callable[[], list[Design]]
    choices: tuple[tuple[str, Any], ...] = ()
    setting: Setting | None = None


PARTS = (
    ("Belt", "belts.part", "belts", ("belt-2mm-6-glass", "belt-2mm-9-glass", "belt-2mm-6-steel")),
    ("Motor", "motors.part", "motors", ("motor-17-34", "motor-17-40", "motor-17-48")),
    ("Frame", "frame.part", "frames", ("printed", "slot-2020", "slot-4040")),
)
GUIDES = ("wheels", "rod-8-pair", "rail-12")


def differences(sessions: list[Session]) -> list[Difference]:
    """What the opened scenarios can be compared in, most telling first."""
    session = sessions[0]
    out: list[Difference] = []
    if len(sessions) > 1:
        out.append(Difference("Scenarios as opened", "", lambda: _opened(sessions)))
    variants = tuple(getattr(session.scenario, "variants", ()))
    if variants:
        out.append(Difference("Variants in the file", "", lambda: _variants(variants)))
    for name, key, kind, start in PARTS:
        if session.default(key) is not None:
            out.append(_parts(session, name, key, kind, start, {}))
    if session.default("carriage.guide") is not None:
        # At detail simple a guide has no stiffness: comparing guides there would show nothing of what matters.
        out.append(_parts(session, "Guides", "carriage.guide", "guides", GUIDES, {"detail": "full"}))
    for setting in SETTINGS:
        if setting.shown(session.default(setting.key)) is not None:
            out.append(Difference(setting.label, setting.key, _numbers(session, setting), (), setting))
    return out


def _opened(sessions: list[Session]) -> list[Design]:
    return [Design(s.base.result.title, dict(s.changes), base=k) for k, s in enumerate(sessions[:6])]


def _variants(names: tuple[str, ...]) -> list[Design]:
    return [Design("as written", {}), *(Design(name, {}, variant=name) for name in names[:5])]


def part_label(name: str) -> str:
    """ "6 mm, glass" of a belt, else the part's own name."""
    pieces = name.split("-")
    if name.startswith("belt-") and len(pieces) == 4:
        return f"{pieces[2]} mm {pieces[3]} belt"
    return name


def _parts(
    session: Session, name: str, key: str, kind: str, start: tuple[str, ...], also: dict[str, Any]
) -> Difference:
    known = [p for p in catalogue().names(kind) if p not in ("rigid", "ideal")]
    now = session.value(key)
    first = [p for p in start if p in known]
    if now in known and now not in first:
        first = [now, *first][:3]
    choices = tuple((part_label(p), p) for p in known)
    table = key.split(".")[0]

    def designs() -> list[Design]:
        kept = {k: v for k, v in session.changes.items() if not k.startswith(f"{table}.") or k == key}
        return [Design(part_label(p), {**kept, key: p, **also, **_both_guides(key, p)}) for p in first]

    return Difference(name, key, designs, choices)


def _both_guides(key: str, part: str) -> dict[str, Any]:
    return {"gantry.guide": part} if key == "carriage.guide" else {}


def _numbers(session: Session, setting: Setting) -> Callable[[], list[Design]]:
    def designs() -> list[Design]:
        now = setting.shown(session.value(setting.key)) or setting.range.low
        values = [setting.range.rounded(now * k) for k in (0.5, 1.0, 2.0)]
        return [number_design(setting, session, v) for v in sorted(set(values))]

    return designs


def number_design(setting: Setting, session: Session, value: float) -> Design:
    """A design with one number changed."""
    label = f"{text.number(value, setting.range.decimals)}\t{setting.range.unit}"
    return Design(label, {**session.changes, setting.key: setting.file_value(value)})


EQUAL = {
    "motion.acceleration_mm_s2": "{} mm/s²",
    "carriage.mass_g": "carriage {} g",
    "gantry.mass_g": "gantry {} g",
    "belts.ea_n": "belt stiffness {} kN",
    "belts.pretension_n": "pretension {} N",
}


def equal_words(results: list[Any]) -> list[str]:
    """What is equal in all completed designs: "square 60 mm at 150 mm/s", "carriage 320 g", "pretension 16 N", ...

    results: of every design; a value that one of them has differently, or not at all, is not listed.
    """
    moves = {str(result.plan.description) for result in results}
    parts = list(moves) if len(moves) == 1 else []
    have = [{o.key: o.value for o in result.design.origins} for result in results]
    for setting in SETTINGS:
        values = [values.get(setting.key) for values in have]
        if setting.key not in EQUAL or not values or values[0] is None or any(v != values[0] for v in values):
            continue
        shown = setting.shown(values[0])
        if shown is not None:
            parts.append(EQUAL[setting.key].format(text.plain(shown)))
    return parts
