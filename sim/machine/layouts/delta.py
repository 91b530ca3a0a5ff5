"""Linear delta: three carriages on columns carry the tool on pairs of arms, each carriage on a belt of its own.

Each belt is a loop along its column as under a moving bed: motor below on the base, idler above on the frame, the strand
at the right as seen from the middle is clamped, so that a motor that turns counter-clockwise seen from there lifts. Arms
are springs (sim/model/PHYSICS.md, section 7).
"""

from __future__ import annotations

from ...parts.design import Design
from .. import chassis
from .. import wheels as w
from ..arm import Arm
from ..machine import Belt, Clamp, Machine, Motor, Wheel, Wrap
from ..tower_chassis import tower_machine
from ..towers import FOOT_Z, Stand, Tower, out, stand_of

DRIVES = ("a", "b", "c")
MOTOR_Z = -0.045  # of the motors' shafts; the bed's top is at 0
IDLER_ABOVE_M = 0.025  # wheel centre above the highest carriage
UP = (0.0, 0.0, 1.0)


def build(d: Design) -> Machine:
    """The machine at mid-reach. Raises MachineError where the columns are too short."""
    assert d.arms is not None
    stand = stand_of(d, d.arms)
    idler_z = stand.highest_z + IDLER_ABOVE_M
    what = "the columns, which carry the carriages up to the top of the reach,"
    chassis.need_room(d, "height_mm", d.frame_size.height_m, idler_z + 0.015 - FOOT_Z, what)
    wheels = {wheel.name: wheel for tower in stand.towers for wheel in _wheels(tower, idler_z)}
    belts = [_belt(tower) for tower in stand.towers]
    motors = [_motor(tower, wheels) for tower in stand.towers]
    return tower_machine(d, stand, wheels, belts, motors, [_arm(stand, tower) for tower in stand.towers])


def _wheels(tower: Tower, top_z: float) -> tuple[Wheel, Wheel]:
    """The motor's pulley and the idler, placed so that the clamped strand stays upright."""
    d, name = tower.d, tower.name
    above, spec = d.carriage.belt_above_guide_m, d.belts[name]
    beside = w.pulley_radius(d, name) - w.toothed_radius(d, spec)
    idler = w.toothed_idler(d, spec, f"idler {name.upper()}", "frame", tower.at(above, beside, top_z))
    return w.pulley(d, name, "base", tower.at(above, 0.0, MOTOR_Z)), idler


def _belt(tower: Tower) -> Belt:
    """Down from the carriage round the motor, up and over the idler, down to the carriage; its plane is seen from the middle."""
    d, name, upper = tower.d, tower.name, tower.name.upper()
    spec, half, beside = d.belts[name], d.carriage.depth_m / 2, w.pulley_radius(d, name)
    above = d.carriage.belt_above_guide_m + spec.carriage_raise_m
    lower, higher = (
        Clamp(end, f"carriage {name}", tower.at(above, beside, tower.guide_z + sign * half))
        for end, sign in (("lower", -1), ("upper", 1))
    )
    wraps = (Wrap(f"motor {upper}", -1), Wrap(f"idler {upper}", -1))
    return Belt(name, lower, wraps, higher, spec, "right", 0, (tower.right, UP))


def _motor(tower: Tower, wheels: dict[str, Wheel]) -> Motor:
    """Its shaft points outward, its body lies under the bed."""
    wheel, face = wheels[f"motor {tower.name.upper()}"], w.motor_face(tower.d, MOTOR_Z)
    return Motor(tower.name, "base", wheel.name, tower.d.motors[tower.name], wheel.centre, face)


def _arm(stand: Stand, tower: Tower) -> Arm:
    """The pair of arms from a carriage down to the platform."""
    a = stand.arms
    ends = (
        (f"carriage {tower.name}", tower.at(a.carriage_offset_m, 0.0, stand.guide_z)),
        ("effector", out(a.effector_radius_m, tower.degrees, stand.platform_z)),
    )
    return Arm(tower.name, ends, 2 * a.arm_mass_kg, 2 * a.arm_stiffness_n_m, a.damping_ratio, a.spacing_m)
