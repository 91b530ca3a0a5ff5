"""Ways on that several rules name: only keys the file has, and never what the machine already is."""

from __future__ import annotations

from ..machine.machine import Motor
from ..parts.catalogue import catalogue
from ..parts.design import BeltSpec, FrameSpec
from .subject import Subject

#: What a printed part is printed from where it gets warm, hardest first: by the catalogue's service temperature.
FILLED = "petg-carbon"


def listed(ways: list[str]) -> str:
    """ "a", "a or b", "a, b or c"."""
    return f"{', '.join(ways[:-1])} or {ways[-1]}" if len(ways) > 1 else ways[0]


def _numbers(kind: str, number: str) -> dict[str, float]:
    """A number of every part of a kind that has it; what stands for no part at all ("rigid", "ideal") left out."""
    known = catalogue()
    out = {}
    for name in known.names(kind):
        if name in ("rigid", "ideal"):
            continue
        part = known.get(kind, name)
        if number in part.numbers:
            out[name] = float(part.numbers[number].value)
    return out


def stronger_belt(spec: BeltSpec) -> list[str]:
    """The least of the belts of its profile that bear more, where there is one."""
    bears = _numbers("belts", "working_tension_n")
    more = {name: load for name, load in bears.items() if load > 1.01 * spec.working_tension_n}
    least = min(more, key=lambda name: (more[name], name), default=None)
    return [f'a belt that bears more (belts.part = "{least}")'] if least is not None else []


def better_corners(spec: FrameSpec | None) -> list[str]:
    """The stiffest corner joint of the catalogue, where this one is softer."""
    stiffness = _numbers("joints", "joint_nm_per_rad")
    best = max(stiffness, key=lambda name: stiffness[name], default=None)
    if (
        spec is None
        or spec.kind == "printed"
        or best is None
        or spec.joints == best
        or stiffness[best] <= spec.joint_nm_rad
    ):
        return []
    return [
        f'plates on both sides of each corner (frame.joints = "{best}")'
        if best == "plates"
        else f'frame.joints = "{best}"'
    ]


def closed_sides(subject: Subject, axis: int) -> list[str]:
    """Panels or diagonals that shear with an axis and are not there yet; thicker ones where all are.

    A rear alone leaves the open front behind it, unless a top ties them. Two columns have nothing to screw a sheet to:
    there only diagonals at the sides hold.
    """
    spec = subject.design.frame
    if spec is None:
        return []
    if subject.machine.column_radius_m is not None:  # between three columns panels are not modelled
        return ["thicker columns (frame.columns)"]
    there = {panel.place for panel in spec.panels}
    if subject.machine.gantry_height_m is not None:
        return [] if axis == 0 or "sides" in there else ["diagonals (frame.panels.sides)"]
    missing = [place for place in (("sides",) if axis == 1 else ("rear", "top")) if place not in there]
    if axis == 0 and "front" in there and "rear" in missing:
        missing.remove("rear")
    if missing:
        return [f"panels or diagonals ({' and '.join(f'frame.panels.{place}' for place in missing)})"]
    return ["thicker panels"]


def bears_more(bears_degc: float) -> list[str]:
    """The material of the catalogue that bears most warmth, where that is more than this one does."""
    degc = _numbers("materials", "service_degc")
    best = max(degc, key=lambda name: degc[name])
    return [f'frame.material = "{best}", which bears {degc[best]:.0f} °C'] if degc[best] > bears_degc else []


def longer_motor(motor: Motor) -> list[str]:
    """A motor of the catalogue with more torque, where there is one."""
    if motor.spec is None:
        return []
    torque = _numbers("motors", "holding_torque_nm")
    more = [n for n, nm in torque.items() if nm > torque.get(motor.spec.part, 0.0)]
    return [f'a longer motor (motors.part = "{min(more, key=lambda n: torque[n])}")'] if more else []


def more_torque(motor: Motor) -> str:
    """What gives a motor torque to spare."""
    ways = [
        "a lower motion.acceleration_mm_s2",
        "a lower motion.speed_mm_s",
        "more motors.current_a",
        "more motors.supply_v",
    ]
    return listed([*ways, *longer_motor(motor)])
