"""What each kind of part must tell: its numbers with their units, its words, and the choice that switches it off."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True)
class Kind:
    """A kind of part; its parts stand in `<name>.toml` beside this file.

    numbers: key -> unit (a symbol of sim/scenario/units.py). Keys that a scenario may override carry the same name and
    unit there.  words: key -> accepted words.  optional: numbers that some parts of the kind have no use for.
    off, off_meaning: the name that removes this part's coordinates instead of naming one.
    uncertain: numbers that move an answer and that nobody knows exactly; each needs a band unless it is zero (left out).
    Lengths are what a drawing says, and masses go into what the machine weighs: neither is among them.
    follows: numbers that are wrong together with another of the same part, and by as much.
    """

    name: str
    meaning: str
    numbers: dict[str, str]
    words: dict[str, tuple[str, ...]] = field(default_factory=dict)
    optional: dict[str, str] = field(default_factory=dict)
    off: str | None = None
    off_meaning: str = ""
    uncertain: tuple[str, ...] = ()
    follows: dict[str, str] = field(default_factory=dict)

    def unit(self, key: str) -> str | None:
        """The unit of a number, None when this kind has no such number."""
        return self.numbers.get(key, self.optional.get(key))


# How far a number can be trusted. Every source of the catalogue carries one of these.
MARKS: dict[str, str] = {
    "published": "published",
    "memory": "handbook value, from memory",
    "derived": "derived",
    "practice": "common practice, no source",
    "estimate": "our estimate",
}

_SLOT = {
    "i_strong_mm4": "mm4",
    "i_weak_mm4": "mm4",
    "torsion_mm4": "mm4",
    "area_mm2": "mm2",
    "mass_kg_m": "kg/m",
    "side_a_mm": "mm",
    "side_b_mm": "mm",
    "thread_mm": "mm",
}

KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind(
            "belts",
            "toothed belts by pitch, width and cord",
            {
                "pitch_mm": "mm",
                "width_mm": "mm",
                "height_mm": "mm",
                "tooth_height_mm": "mm",
                "pitch_line_mm": "mm",
                "ea_n": "N",
                "damping": "ratio",
                "mass_g_m": "g/m",
                "install_tension_n": "N",
                "working_tension_n": "N",
                "min_pulley_teeth": "",
            },
            {"cord": ("glass", "steel", "aramid")},
            uncertain=("ea_n", "damping", "mass_g_m", "install_tension_n"),
        ),
        Kind(
            "pulleys",
            "motor pulleys, as ordered",
            {"teeth": "", "bore_mm": "mm", "mass_g": "g", "inertia_g_mm2": "g mm2", "flange_mm": "mm"},
        ),
        Kind(
            "idlers",
            "idlers, toothed for the toothed side of a belt and smooth for its back",
            {
                "teeth": "",
                "smooth_diameter_mm": "mm",
                "inertia_g_mm2": "g mm2",
                "mass_g": "g",
                "flange_mm": "mm",
            },
            uncertain=("inertia_g_mm2",),
        ),
        Kind(
            "motors",
            "stepper motors by size and body length, 1.8 degrees a step",
            {
                "holding_torque_nm": "N m",
                "rated_current_a": "A",
                "rotor_inertia_g_cm2": "g cm2",
                "resistance_ohm": "ohm",
                "inductance_mh": "mH",
                "detent_nm": "N m",
                "damping": "ratio",
                "mass_g": "g",
                "side_mm": "mm",
                "length_mm": "mm",
                "shaft_load_n": "N",
                "rotor_teeth": "",
            },
            off="ideal",
            off_meaning="follows its command exactly: no rotor, no torque limit",
            uncertain=(
                "holding_torque_nm",
                "rated_current_a",
                "rotor_inertia_g_cm2",
                "resistance_ohm",
                "inductance_mh",
                "detent_nm",
                "damping",
            ),
        ),
        Kind(
            "guides",
            "linear guides; friction and masses for one rod, one profile or one rail",
            {
                "friction_n": "N",
                "static_ratio": "ratio",
                "stribeck_mm_s": "mm/s",
                "presliding_um": "um",
                "mover_mass_g": "g",
                "line_mass_kg_m": "kg/m",
                "stiffness_n_per_mm": "N/mm",
                "stiffness_nm_per_rad": "N m/rad",
                "damping": "ratio",
            },
            {"type": ("rods", "wheels", "rail")},
            {"rod_diameter_mm": "mm", "preload_n": "N"},
            off="rigid",
            off_meaning="neither bends nor rubs",
            # Friction is given for the usual preload, and its band holds what other preloads make of it.
            uncertain=(
                "friction_n",
                "static_ratio",
                "stribeck_mm_s",
                "presliding_um",
                "stiffness_n_per_mm",
                "stiffness_nm_per_rad",
                "damping",
            ),
        ),
        Kind(
            "frames",
            "what the frame is made of",
            {"damping": "ratio"},
            {"type": ("slot", "printed"), "material": ()},
            {**_SLOT, "side_mm": "mm", "wall_mm": "mm", "end_n_per_mm": "N/mm"},
            off="rigid",
            off_meaning="does not sway",
            uncertain=("i_strong_mm4", "i_weak_mm4", "torsion_mm4", "damping", "end_n_per_mm"),
            follows={"i_weak_mm4": "i_strong_mm4"},
        ),
        Kind(
            "panels",
            "sheets that close a side of the frame",
            {"thickness_mm": "mm", "screw_n_per_mm": "N/mm"},
            {"type": ("sheet", "printed"), "material": ()},
            {"shear_gpa": "GPa", "density_kg_m3": "kg/m3"},
            off="none",
            off_meaning="leaves that side open",
            uncertain=("screw_n_per_mm", "shear_gpa"),
        ),
        Kind(
            "joints",
            "how frame members are joined",
            {"joint_nm_per_rad": "N m/rad", "other_size": "ratio"},
            off="rigid",
            off_meaning="does not give; the members still bend",
            uncertain=("joint_nm_per_rad", "other_size"),
        ),
        Kind(
            "materials",
            "what profiles and printed frames are made of",
            {"elastic_gpa": "GPa", "shear_gpa": "GPa", "density_kg_m3": "kg/m3"},
            {"use": ("profile", "printed")},
            {"service_degc": "degC"},
            uncertain=("elastic_gpa", "shear_gpa"),
            follows={"shear_gpa": "elastic_gpa"},
        ),
        Kind(
            "arms",
            "arms with a ball joint at each end; numbers of one arm and of one joint",
            {
                "ea_n": "N",
                "mass_g_m": "g/m",
                "joint_n_per_mm": "N/mm",
                "joint_mass_g": "g",
                "arm_damping": "ratio",
            },
            uncertain=("ea_n", "joint_n_per_mm", "joint_mass_g", "arm_damping"),
        ),
        Kind("plates", "bed plates", {"plate_mm": "mm", "density_kg_m3": "kg/m3"}),
        Kind(
            "feet",
            "what the machine stands on; one foot",
            {
                "stiffness_vertical_n_per_mm": "N/mm",
                "stiffness_sideways_n_per_mm": "N/mm",
                "damping": "ratio",
            },
            off="rigid",
            off_meaning="stands fast",
            uncertain=("stiffness_vertical_n_per_mm", "stiffness_sideways_n_per_mm", "damping"),
        ),
        Kind(
            "shapers",
            "input shapers, named by what they leave at rest; published names and papers beside them",
            {"impulses": "", "periods": "ratio", "width": "ratio"},
        ),
    )
}
