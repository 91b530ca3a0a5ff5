"""Which uncertain number decides how far an answer spreads, from draws at hand, and how to measure that number.

First-order share of a number: variance of the answer's mean given the number, over the whole variance (Sobol's first-order
index). Estimated from draws that were made anyway, cut into classes of equal size along the number (Plischke, Borgonovo and
Smith, European Journal of Operational Research 226, 2013, 536-550, from memory); what classes show by chance alone is taken
off as in the analysis of variance (omega squared; any text on statistics).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ..parts.design import Uncertain

Array = NDArray[np.float64]

CLASSES = 8


def first_order(shares: Array, answer: Array, classes: int = CLASSES) -> Array:
    """First-order share of each column of `shares` (draws, columns) in the variance of `answer` (draws,), 0 to 1.

    Draws whose answer is nan are left out; all zero where the answer does not vary, or too few are left.
    """
    known = np.isfinite(answer)
    y, count = answer[known], int(known.sum())
    if count < 4 * classes or np.ptp(y) <= 1e-9 * np.abs(y).max():
        return np.zeros(shares.shape[1])
    out = np.zeros(shares.shape[1])
    for column in range(shares.shape[1]):
        groups = np.array_split(y[np.argsort(shares[known, column], kind="stable")], classes)
        out[column] = _between(y, groups)
    return np.clip(out, 0.0, 1.0)


def _between(y: Array, groups: Sequence[Array]) -> float:
    """Omega squared: the share of y's variance that its groups explain, what chance alone shows taken off."""
    total = float(((y - y.mean()) ** 2).sum())
    between = sum(len(g) * (g.mean() - y.mean()) ** 2 for g in groups)
    within = (total - between) / (len(y) - len(groups))
    return float((between - (len(groups) - 1) * within) / (total + within))


def grouped(answer: Array, level: Sequence[int]) -> float:
    """First-order share of a number that takes a few levels in the variance of the answer, (n,), 0 to 1."""
    levels = np.asarray(level)
    groups = [answer[levels == one] for one in np.unique(levels)]
    if len(groups) < 2 or len(answer) <= len(groups) or np.ptp(answer) <= 1e-9 * np.abs(answer).max():
        return 0.0
    return min(1.0, max(0.0, _between(answer, groups)))


#: An arm gives way with its joints: what stretches of itself is measured with them.
ARM = (
    "hang a known weight on an arm held upright by its joints and read the give on a dial gauge; write "
    "delta.arm_stiffness_n_per_mm"
)
#: How to measure a number and what to write then, cheapest first; by the last word of its key. Common practice, no source.
HOW: dict[str, str] = {
    "ea_n": "lock the motors, pull the carriage along X with a spring scale beyond its friction and read the give on a dial "
    "gauge; write belts.ea_n",
    "arms.ea_n": ARM,
    "joint_n_per_mm": ARM,
    "joint_mass_g": "weigh an arm with its joints; write delta.arm_mass_g",
    "arm_damping": "record how a step rings down with an accelerometer on the tool; write delta.arm_damping",
    "pretension_n": "pluck a free strand and take the pitch of its tone; write belts.pretension_n",
    "mass_g_m": "weigh a metre of the belt; write belts.mass_g_m",
    "friction_n": "pull it slowly along its guide with a spring scale, the belts off; write friction_n of that guide",
    "static_ratio": "pull it with a spring scale until it breaks away, the belts off; write friction_static_n of that guide",
    "presliding_um": "record a small step with an accelerometer on the tool; write presliding_um of that guide",
    "stribeck_mm_s": "record steps at several speeds with an accelerometer on the tool; write stribeck_mm_s of that guide",
    "stiffness_n_per_mm": "push the carriage across its guide with a spring scale and read the give on a dial gauge; write "
    "stiffness_n_per_mm of that guide",
    "stiffness_nm_per_rad": "push at the nozzle's tip with a spring scale and read the give on a dial gauge; write "
    "stiffness_nm_per_rad of that guide",
    "damping": "record how a step rings down with an accelerometer on the tool; write the damping",
    "holding_torque_nm": "turn the powered motor out of step with a lever and a spring scale; write motors.holding_torque_nm",
    "rated_current_a": "read the motor's data sheet; write motors.rated_current_a",
    "resistance_ohm": "measure a phase with an ohmmeter; write motors.resistance_ohm",
    "inductance_mh": "measure a phase with an inductance meter, or read the data sheet; write motors.inductance_mh",
    "rotor_inertia_g_cm2": "read the motor's data sheet; write motors.rotor_inertia_g_cm2",
    "detent_nm": "turn the unpowered motor with a lever and a spring scale; write motors.detent_nm",
    "stiffness_vertical_n_per_mm": "put a known weight on the machine over a foot and read how far it sinks; write "
    "feet.stiffness_vertical_n_per_mm",
    "stiffness_sideways_n_per_mm": "push the machine's base sideways with a spring scale and read the give on a dial gauge; "
    "write feet.stiffness_sideways_n_per_mm",
    "inertia_g_mm2": "weigh an idler's turning ring and measure it; write idlers.inertia_g_mm2",
    "z_stiffness_n_per_mm": "put a known weight on the bed and read how far it sinks; write bed.z_stiffness_n_per_mm",
}
#: What makes the frame sway is measured all at once.
SWAY = (
    "push the frame's top sideways with a spring scale, the base held, and read the sway on a dial gauge, in X and in Y; "
    "write frame.stiffness_x_n_per_mm and frame.stiffness_y_n_per_mm"
)
OF_FRAME = ("joints", "materials", "frames", "panels")


def how_to_measure(number: Uncertain) -> str:
    """How to measure a number and which key to write then, in one sentence without a stop."""
    last = number.draw[1].rpartition(".")[2]
    if number.of[0] == "mass" or last in ("mass_g", "top_mass_g", "base_mass_g"):
        return f"weigh it; write {number.key}"
    if (number.of[0] in OF_FRAME or number.key.startswith("frame.")) and last != "damping":
        return SWAY
    if last == "damping":
        return HOW["damping"].removesuffix("the damping") + number.key
    return HOW.get(f"{number.of[0]}.{last}") or HOW.get(last, f"measure it; write {number.key}")


#: What a number is, in words; by the last word of its key.
CALLED: dict[str, str] = {
    "ea_n": "stiffness of the belts",
    "arms.ea_n": "stiffness of the arms",
    "joint_n_per_mm": "stiffness of the arms' joints",
    "joint_mass_g": "mass of the arms' joints",
    "arm_damping": "damping of the arms",
    "pretension_n": "pretension of the belts",
    "install_tension_n": "pretension of the belts",
    "mass_g_m": "mass of the belts",
    "friction_n": "friction of the guides",
    "friction_static_n": "break-away friction",
    "static_ratio": "break-away friction",
    "presliding_um": "presliding of the guides",
    "stribeck_mm_s": "friction at low speed",
    "stiffness_n_per_mm": "stiffness of the guides",
    "stiffness_nm_per_rad": "tilting stiffness of the guides",
    "holding_torque_nm": "torque of the motors",
    "rated_current_a": "rated current of the motors",
    "resistance_ohm": "resistance of the motors",
    "inductance_mh": "inductance of the motors",
    "rotor_inertia_g_cm2": "inertia of the rotors",
    "detent_nm": "detent of the motors",
    "inertia_g_mm2": "inertia of the idlers",
    "joint_nm_per_rad": "the frame's corners",
    "other_size": "the frame's corners, being of another size",
    "elastic_gpa": "modulus of the frame's material",
    "i_strong_mm4": "section of the frame's members",
    "torsion_mm4": "torsion of the frame's members",
    "end_n_per_mm": "ends of the frame's diagonals",
    "screw_n_per_mm": "screws of the frame's panels",
    "shear_gpa": "shear of the frame's panels",
    "stiffness_vertical_n_per_mm": "feet, upright",
    "stiffness_sideways_n_per_mm": "feet, sideways",
}
DAMPINGS = {"belts": "belts", "motors": "rotors", "guides": "guides", "frames": "frame", "feet": "feet"}


def plain_name(number: Uncertain) -> str:
    """What is uncertain, in words: "stiffness of the belts"."""
    last = number.draw[1].rpartition(".")[2]
    if last == "damping":
        kind = number.of[0] if number.of[0] in DAMPINGS else number.key.partition(".")[0]
        return f"damping of the {DAMPINGS.get(kind, kind)}"
    if number.of[0] == "mass":
        return f"mass of the {number.of[1]}"
    return CALLED.get(f"{number.of[0]}.{last}") or CALLED.get(last, number.key)


def told_shares(shares: Array, draws: int) -> Array:
    """First-order shares (k,) with nothing for those that chance alone may show. Shares of numbers drawn apart add up to 1 at
    most; estimates of many that all stand out may come to more, by chance, and are brought to it in proportion."""
    told = np.where(shares >= least_share(draws), shares, 0.0)
    return np.asarray(told / max(1.0, float(told.sum())))


def least_share(draws: int, classes: int = CLASSES) -> float:
    """The share that chance alone seldom reaches, two sigma of a number that decides nothing; never under 5 %."""
    return max(0.05, 2 * float(np.sqrt(2 * (classes - 1))) / draws)
