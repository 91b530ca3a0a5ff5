"""What could be changed about a design, one thing at a time: the next part up in each family, and the file's own keys.

Nothing here is judged: whether a change helps is for the simulation to say. A change never names what the design has
already, and never a key that does nothing at its level of detail.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from ..machine.machine import Machine
from ..parts.catalogue import Part, catalogue
from ..parts.design import Design
from ..scenario.fields import tidy
from ..scenario.schema import Scenario
from .improve_change import Change, next_up
from .improve_frame import frame_changes

#: How much lighter a carriage is tried, and how much gentler a motion.
LIGHTER, GENTLER = 0.8, 0.7
SHAPERS = ("zero-vibration", "zero-slope")


def changes(scenario: Scenario, machine: Machine) -> list[Change]:
    """Every single change to try on a design, those of its machine first."""
    design = machine.design
    found = [
        *_belts(scenario, design), *_pulleys(design), *_motors(scenario, design), *_guides(machine),
        *frame_changes(design), *_feet(design), *_arms(design), *_heights(design), *_lighter(design),
        *_gentler(scenario),
    ]  # fmt: skip
    return [c for c in found if not _idle(scenario, c)]


def _idle(scenario: Scenario, change: Change) -> bool:
    """Whether the file says all of it already."""
    tree: Any = scenario.tree

    def held(path: list[str]) -> Any:
        inner = tree
        for name in path:
            inner = inner.get(name) if isinstance(inner, dict) else None
        return inner

    return all(held(key.split(".")) == value for key, value in change.settings.items())


# Parts


def _each(scenario: Scenario, table: str, parts: dict[str, str]) -> Iterator[tuple[str, list[str]]]:
    """Each part of a table of drives that is in use, with the keys that name it. parts: by drive."""
    own = getattr(scenario.file, table).model_extra or {}
    for name in dict.fromkeys(parts.values()):
        keys = [
            f"{table}.{drive}.part" if drive in own and own[drive].part is not None else f"{table}.part"
            for drive, part in parts.items()
            if part == name
        ]
        yield name, list(dict.fromkeys(keys))


def _belts(scenario: Scenario, design: Design) -> Iterator[Change]:
    all_belts = catalogue().parts["belts"]
    for name, keys in _each(scenario, "belts", {d: b.part for d, b in design.belts.items()}):
        own = all_belts[name]
        which = _which(keys, "belts")
        wider = next_up("belts", name, lambda p: p.value("width_mm"), lambda a, b: a.words["cord"] == b.words["cord"])
        if wider is not None:
            yield Change(dict.fromkeys(keys, wider.name), f"{tidy(wider.value('width_mm'))} mm {which}", which)
        for part in all_belts.values():
            if part.value("width_mm") == own.value("width_mm") and part.value("ea_n") > own.value("ea_n"):
                yield Change(dict.fromkeys(keys, part.name), f"{which} with {part.words['cord']} cord", which)
    for drive, belt in design.belts.items():
        usual = all_belts[belt.part].value("install_tension_n")
        key = _tension_key(scenario, drive)
        if belt.pretension_n < 0.95 * usual and (key != "belts.pretension_n" or drive == next(iter(design.belts))):
            words = f"belts at {tidy(usual)} N, the usual pretension of {belt.part}"
            yield Change({key: usual}, words, "pretension")


def _tension_key(scenario: Scenario, drive: str) -> str:
    own = (scenario.file.belts.model_extra or {}).get(drive)
    return f"belts.{drive}.pretension_n" if own is not None and own.pretension_n is not None else "belts.pretension_n"


def _which(keys: list[str], plural: str) -> str:
    """ "belts", or "belt x" where only some have that part."""
    drives = [key.split(".")[1] for key in keys]
    return plural if "part" in drives else f"{plural.removesuffix('s')} {' and '.join(drives)}"


def _motors(scenario: Scenario, design: Design) -> Iterator[Change]:
    real = {d: m for d, m in design.motors.items() if m is not None}
    for name, keys in _each(scenario, "motors", {d: m.part for d, m in real.items()}):
        stronger = next_up("motors", name, lambda p: p.value("holding_torque_nm"), lambda a, b: True)
        if stronger is not None:
            which = _which(keys, "motors")
            yield Change(dict.fromkeys(keys, stronger.name), f"{stronger.name} {which}", which)
    weak = {tidy(m.rated_current_a): m for m in real.values() if m.current_a < 0.95 * m.rated_current_a}
    if len(weak) == 1 and len(weak) == len({m.part for m in real.values()}):
        (motor,) = weak.values()
        yield Change(
            {"motors.current_a": motor.rated_current_a},
            f"motors at their rated current, {tidy(motor.rated_current_a)} A",
            "current",
        )


def _pulleys(design: Design) -> Iterator[Change]:
    now = set(design.pulley_teeth.values())
    if len(now) != 1:
        return
    for part in catalogue().parts["pulleys"].values():
        teeth = int(part.value("teeth"))
        if teeth not in now:
            yield Change({"motors.pulley_teeth": teeth}, f"motor pulleys of {teeth} teeth", "pulleys")


def _guides(machine: Machine) -> Iterator[Change]:
    """The next guide up of the same kind, and the smallest rail in place of rods or wheels."""
    design = machine.design
    rails = [p for p in catalogue().parts["guides"].values() if p.words["type"] == "rail"]
    for kind in dict.fromkeys(body.kind for body in machine.bodies if body.driven):
        guide = getattr(getattr(design, kind, None), "guide", None)
        if guide is None:
            continue
        size: Callable[[Part], float] = lambda p: p.value("line_mass_kg_m")  # noqa: E731
        larger = next_up("guides", guide.part, size, lambda a, b: a.words["type"] == b.words["type"])
        for part in [larger, *(rails[:1] if guide.kind != "rail" else [])]:
            if part is not None:
                yield Change({f"{kind}.guide": part.name}, f"{part.name} for the {kind}", f"guide of the {kind}")


def _feet(design: Design) -> Iterator[Change]:
    if design.feet is None or design.detail == "simple":
        return
    stiffer = next_up("feet", design.feet.part, lambda p: p.value("stiffness_vertical_n_per_mm"), lambda a, b: True)
    if stiffer is not None:
        yield Change({"feet.part": stiffer.name}, stiffer.name, "feet")


def _arms(design: Design) -> Iterator[Change]:
    if design.arms is None:
        return
    stiffer = next_up("arms", design.arms.part, lambda p: p.value("ea_n"), lambda a, b: True)
    if stiffer is not None:
        yield Change({"delta.arm": stiffer.name}, f"arms of {stiffer.name}", "arms")


# Lengths and masses


def _heights(design: Design) -> Iterator[Change]:
    carriage = design.carriage
    if design.detail == "simple" or design.arms is not None or carriage.guide is None:
        return
    if abs(carriage.belt_above_guide_m - carriage.mass_centre_above_guide_m) > 1e-4:
        height = 1e3 * carriage.mass_centre_above_guide_m
        yield Change(
            {"carriage.belt_above_guide_mm": float(tidy(height))},
            f"belts at the height of the carriage's mass centre, {tidy(round(height, 3))} mm above the guide",
            "height of the belts",
        )


def _lighter(design: Design) -> Iterator[Change]:
    """The moving tool a fifth lighter: by what is written of it, so that what is computed stays computed."""
    values = {o.key: o for o in design.origins}
    whole, tool = values.get("carriage.mass_g"), "carriage.tool_mass_g"
    if design.arms is not None:
        tool, whole = "delta.effector_mass_g", None
        mass = 1e3 * design.arms.effector_mass_kg
        words = f"a platform of {tidy(_round(LIGHTER * mass))} g, a fifth lighter"
        yield Change({tool: _round(LIGHTER * mass)}, words, "mass", listed=False)
        return
    if whole is None or not isinstance(whole.value, int | float):
        return
    mass = float(whole.value)
    words = f"a carriage of {tidy(_round(LIGHTER * mass))} g, a fifth lighter"
    if whole.origin != "computed":
        yield Change({"carriage.mass_g": _round(LIGHTER * mass)}, words, "mass", listed=False)
        return
    left = 1e3 * design.carriage.tool_mass_kg - (1 - LIGHTER) * mass
    if left >= 0:
        yield Change({tool: _round(left)}, f"{words}, with a tool of {tidy(_round(left))} g", "mass", listed=False)


def _round(grams: float) -> float:
    return float(f"{grams:.4g}")


# Motion


def _gentler(scenario: Scenario) -> Iterator[Change]:
    motion = scenario.file.motion
    for key, unit, now in (
        ("acceleration_mm_s2", "mm/s²", motion.acceleration_mm_s2),
        ("speed_mm_s", "mm/s", motion.speed_mm_s),
    ):
        value = float(f"{GENTLER * now:.2g}")
        name = key.partition("_")[0]
        words = f"{name} {tidy(value)} {unit} instead of {tidy(now)}"
        yield Change({f"motion.{key}": value}, words, name, "motion")
    for kind in SHAPERS:
        shaper = {"kind": kind, "frequency_hz": "auto"}
        settings = {f"motion.shaper.{axis}.{key}": value for axis in "xy" for key, value in shaper.items()}
        yield Change(settings, f"{kind} shapers on both axes, tuned to the machine", "shapers", "motion")
