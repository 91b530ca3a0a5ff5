"""Units at the doorstep: what each file unit is in SI, and what people write when they meant another one."""

from __future__ import annotations

from ..practice import STANDARD_GRAVITY

# Symbol as shown to a person -> factor to the SI unit (m, kg, s, N, rad, ...). Every key of the schema and every number
# of the parts catalogue names its symbol; nothing is ever guessed from a key's name.
SI_FACTOR: dict[str, float] = {
    "": 1.0,
    "ratio": 1.0,
    "mm": 1e-3,
    "um": 1e-6,
    "mm2": 1e-6,
    "mm4": 1e-12,
    "mm/s": 1e-3,
    "mm/s2": 1e-3,
    "mm/s3": 1e-3,
    "ms": 1e-3,
    "Hz": 1.0,
    "g": 1e-3,
    "g/m": 1e-3,
    "kg/m": 1.0,
    "kg/m3": 1.0,
    "g cm2": 1e-7,
    "g mm2": 1e-9,
    "N": 1.0,
    "N/mm": 1e3,
    "N m": 1.0,
    "N m/rad": 1.0,
    "GPa": 1e9,
    "A": 1.0,
    "V": 1.0,
    "ohm": 1.0,
    "mH": 1e-3,
    "degC": 1.0,
}


def to_si(value: float, unit: str) -> float:
    """`value` in `unit` as a bare SI number; KeyError for a unit this program does not know."""
    return float(value) * SI_FACTOR[unit]


_SPELLED = {"um": "µm", "ohm": "Ω", "degC": "°C", "ratio": "", "m2": "m²", "s2": "s²", "m3": "m³", "s3": "s³"}


def spelled(unit: str) -> str:
    """A file's unit as people write it: "µm", "mm/s²", "g cm²"; "" of a ratio."""
    for plain, written in _SPELLED.items():
        unit = unit.replace(plain, written)
    return unit


# A key's ending when somebody chose another unit -> (the unit in words, the right ending, factor to the right unit).
# Longer endings stand first, so that "_mm_min" is not read as "_min". Only for helping: no value is ever converted.
OTHER_UNITS: tuple[tuple[str, str, str, float], ...] = (
    ("_mm_per_min", "mm/min", "_mm_s", 1 / 60),
    ("_mm_min", "mm/min", "_mm_s", 1 / 60),
    ("_m_min", "m/min", "_mm_s", 1000 / 60),
    ("_mm_per_s2", "mm/s2", "_mm_s2", 1.0),
    ("_mm_per_s", "mm/s", "_mm_s", 1.0),
    ("_cm_s2", "cm/s2", "_mm_s2", 10.0),
    ("_cm_s", "cm/s", "_mm_s", 10.0),
    ("_in_s2", "in/s2", "_mm_s2", 25.4),
    ("_in_s", "in/s", "_mm_s", 25.4),
    ("_m_s3", "m/s3", "_mm_s3", 1000.0),
    ("_m_s2", "m/s2", "_mm_s2", 1000.0),
    ("_m_s", "m/s", "_mm_s", 1000.0),
    ("_n_per_um", "N/um", "_n_per_mm", 1000.0),
    ("_n_um", "N/um", "_n_per_mm", 1000.0),
    ("_n_per_m", "N/m", "_n_per_mm", 0.001),
    ("_n_mm", "N/mm", "_n_per_mm", 1.0),
    ("_kg_cm2", "kg cm2", "_g_cm2", 1000.0),
    ("_kg_m2", "kg m2", "_g_cm2", 1e7),
    ("_kg_m", "kg/m", "_g_m", 1000.0),
    ("_ncm", "N cm", "_nm", 0.01),
    ("_mnm", "mN m", "_nm", 0.001),
    ("_ozin", "oz in", "_nm", 0.00706155),
    ("_kgcm", "kgf cm", "_nm", 0.0980665),
    ("_microns", "um", "_mm", 0.001),
    ("_inches", "in", "_mm", 25.4),
    ("_inch", "in", "_mm", 25.4),
    ("_kgf", "kgf", "_n", STANDARD_GRAVITY),
    ("_lbf", "lbf", "_n", 4.44822),
    ("_lbs", "lb", "_g", 453.592),
    ("_khz", "kHz", "_hz", 1000.0),
    ("_rpm", "1/min", "_hz", 1 / 60),
    ("_percent", "percent", "", 0.01),
    ("_pct", "percent", "", 0.01),
    ("_kg", "kg", "_g", 1000.0),
    ("_kg", "kgf", "_n", STANDARD_GRAVITY),
    ("_mg", "mg", "_g", 0.001),
    ("_lb", "lb", "_g", 453.592),
    ("_lb", "lbf", "_n", 4.44822),
    ("_oz", "oz", "_g", 28.3495),
    ("_kn", "kN", "_n", 1000.0),
    ("_cm", "cm", "_mm", 10.0),
    ("_um", "um", "_mm", 0.001),
    ("_in", "in", "_mm", 25.4),
    ("_ft", "ft", "_mm", 304.8),
    ("_ma", "mA", "_a", 0.001),
    ("_mv", "mV", "_v", 0.001),
    ("_uh", "uH", "_mh", 0.001),
    ("_us", "us", "_ms", 0.001),
    ("_min", "min", "_ms", 60000.0),
    ("_h", "H", "_mh", 1000.0),
    ("_m", "m", "_mm", 1000.0),
    ("_s", "s", "_ms", 1000.0),
)
