"""What drives: belts, motors and idlers, as records in SI units; see `design`."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class BeltSpec:
    """One belt. ea_n: force per unit strain of one strand, N. damping: ratio of the belt mode. mass_kg_m: per metre.

    carriage_raise_m: its clamps above the level its wheels run it at.
    """

    part: str
    pitch_m: float
    width_m: float
    height_m: float
    tooth_height_m: float
    pitch_line_m: float
    cord: str
    ea_n: float
    pretension_n: float
    damping: float
    mass_kg_m: float
    working_tension_n: float
    min_pulley_teeth: int
    profile: str = "curved"
    carriage_raise_m: float = 0.0


@dataclass(frozen=True)
class MotorSpec:
    """One stepper motor with its driver; `None` in its place means an ideal motor.

    holding_torque_nm: data-sheet value, both phases at rated_current_a.  current_a: peak of the sine current.
    viscous_nm_s: rotor damping b.  Torque constant and limits follow in sim/model/motor.py.
    body_m: side of its square body.  length_m: length of the body.  stepped: its command comes in whole microsteps.
    """

    part: str
    holding_torque_nm: float
    rated_current_a: float
    rotor_inertia_kg_m2: float
    resistance_ohm: float
    inductance_h: float
    detent_nm: float
    rotor_damping_ratio: float
    mass_kg: float
    body_m: float
    shaft_load_n: float
    current_a: float
    supply_v: float
    microsteps: int
    rotor_teeth: int = 50
    length_m: float = 0.0
    stepped: bool = False


@dataclass(frozen=True)
class IdlerSpec:
    """teeth: of a toothed idler.  smooth_diameter_m: outside diameter of a smooth one.  Inertia about its own axis, kg m2.

    width_m: between the flanges.  at_teeth: "toothed" | "smooth", what runs on the belts' toothed side.
    pitch_m, profile: of the toothed ones; None = the belt's.
    """

    teeth: int
    smooth_diameter_m: float
    inertia_kg_m2: float
    mass_kg: float
    flange_diameter_m: float
    width_m: float
    at_teeth: str = "toothed"
    pitch_m: float | None = None
    profile: str | None = None
