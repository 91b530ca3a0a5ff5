"""Arms, towers and platform of a machine on arms: the part of `resolve` that reads [delta].

Lengths nobody gives come from the reach (all our choice, no published rule was found): towers 45 mm beyond the platform's
joints at the rim, arms that still stand 28 degrees there.
"""

from __future__ import annotations

import math

from ..errors import ScenarioError
from ..scenario.fields import tidy
from ..scenario.index import keys_of
from .completion import Completion
from .design import ArmsSpec

BEYOND_RIM_MM, LOWEST_DEG, ROUND_MM = 45.0, 28.0, 5.0
NO_ARMS = "its carriage runs on a gantry or a beam, not on arms"
#: Tables and keys that a machine on arms has no use for, and why.
IDLE_ON_ARMS = {
    ("gantry",): "a tool on arms has no gantry",
    ("bed", "guide"): "the bed stands still",
    ("carriage", "nozzle_below_guide_mm"): "delta.joints_above_nozzle_mm says where the nozzle is",
    ("carriage", "tool_mass_g"): "the tool is on the arms, delta.effector_mass_g",
    ("frame", "width_mm"): "three columns stand at delta.tower_radius_mm",
    ("frame", "depth_mm"): "three columns stand at delta.tower_radius_mm",
    ("belts", "level_gap_mm"): "no belts cross",
    ("feet", "count"): "it stands on three feet, one under each column",
    ("frame", "panels"): "panels and diagonals between three columns are not modelled",
}
#: Numbers of a part that a key is computed from, where nobody wrote that.
FROM_PART = {
    "ea_n": "arm_stiffness_n_per_mm",
    "joint_n_per_mm": "arm_stiffness_n_per_mm",
    "joint_mass_g": "arm_mass_g",
}
LIFT = ("z_drives", "z_drive", "z_stiffness_n_per_mm", "arms", "guide_gap_mm")


def leave_out(c: Completion, on_arms: bool) -> None:
    """Tell of written keys that this kind of machine has no use for; one file may compare layouts, so none is refused."""
    if not on_arms:
        c.leave_out(("delta",), NO_ARMS)
        return
    for path, why in IDLE_ON_ARMS.items():
        c.leave_out(path, why)
    for name in keys_of(("bed",)):
        if name in LIFT or (name in keys_of(("gantry",)) and name not in ("mass_g",)):
            c.leave_out(("bed", name), IDLE_ON_ARMS["bed", "guide"])


def arms_spec(c: Completion) -> ArmsSpec:
    """What [delta] says, completed. Raises ScenarioError where the reach is not round or the arms cannot span it."""

    def mm(name: str) -> float:
        return float(c.value(("delta", name)))

    space = c.scenario.file.space
    if space.x_mm != space.y_mm:
        rule = f"must be x_mm = {tidy(space.x_mm)}: the reach of a tool on three columns is round, as wide as deep"
        raise ScenarioError([c.problem(("space", "y_mm"), rule)])
    rim_mm = space.x_mm / 2
    c.value_or(
        ("delta", "tower_radius_mm"),
        rim_mm + mm("effector_radius_mm") + BEYOND_RIM_MM,
        f"half the reach, effector_radius_mm and {tidy(BEYOND_RIM_MM)} mm (our choice)",
    )
    across_mm = mm("tower_radius_mm") - mm("carriage_offset_mm") - mm("effector_radius_mm")
    if across_mm <= 0:
        least = tidy(mm("carriage_offset_mm") + mm("effector_radius_mm") + 10)
        raise ScenarioError(
            [c.problem(("delta", "tower_radius_mm"), f"too small: the joints meet; write {least} or more")]
        )
    usual_mm = ROUND_MM * math.ceil((across_mm + rim_mm) / math.cos(math.radians(LOWEST_DEG)) / ROUND_MM - 1e-9)
    c.value_or(("delta", "arm_mm"), usual_mm, f"stands {tidy(LOWEST_DEG)} degrees at the rim, at least (our choice)")
    if mm("arm_mm") * 0.995 < across_mm + rim_mm:
        rule = f"too short to span the reach: the arms would lie level; write {tidy(usual_mm)} or more"
        raise ScenarioError([c.problem(("delta", "arm_mm"), rule)])
    part = c.part(("delta", "arm"))
    assert part is not None
    length_m = c.si(("delta", "arm_mm"))
    for key, filled in FROM_PART.items():
        if c.written(("delta", filled)) is None:
            c.use(part, key)
    one = 1 / (length_m / part.si("ea_n") + 2 / part.si("joint_n_per_mm"))
    note = f"{part.name}: 1 / (l / EA + 2 / k of a joint); {part.numbers['joint_n_per_mm'].source.words}"
    c.value_or(("delta", "arm_stiffness_n_per_mm"), float(f"{one / 1e3:.4g}"), note)
    mass = part.si("mass_g_m") * length_m + 2 * part.si("joint_mass_g")
    c.value_or(("delta", "arm_mass_g"), float(f"{mass * 1e3:.4g}"), f"{part.name}: its length and two joints")
    return ArmsSpec(
        part=part.name,
        length_m=length_m,
        spacing_m=c.si(("delta", "joint_spacing_mm")),
        tower_radius_m=c.si(("delta", "tower_radius_mm")),
        carriage_offset_m=c.si(("delta", "carriage_offset_mm")),
        effector_radius_m=c.si(("delta", "effector_radius_mm")),
        joints_above_nozzle_m=c.si(("delta", "joints_above_nozzle_mm")),
        effector_mass_kg=c.si(("delta", "effector_mass_g")),
        arm_mass_kg=c.si(("delta", "arm_mass_g")),
        arm_stiffness_n_m=c.si(("delta", "arm_stiffness_n_per_mm")),
        damping_ratio=c.si(("delta", "arm_damping"), part),
    )
