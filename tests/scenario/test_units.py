"""Every unit of the file, and every one that people mistake for it, against the units of the SI and of scipy.

scipy.constants has inch, foot, pound, ounce, minute and standard gravity as the NIST's Special Publication 811 defines them.
"""

from __future__ import annotations

import math

import pytest
from beltspring.sim.scenario.units import OTHER_UNITS, SI_FACTOR, to_si
from scipy import constants

#: One of each in SI; prefixes by the SI Brochure.
ONE = {
    "m": 1.0, "cm": 1e-2, "mm": 1e-3, "um": 1e-6, "in": constants.inch, "ft": constants.foot, "s": 1.0, "ms": 1e-3,
    "us": 1e-6, "min": constants.minute, "kg": 1.0, "g": 1e-3, "mg": 1e-6, "lb": constants.lb, "oz": constants.oz,
    "N": 1.0, "mN": 1e-3, "kN": 1e3, "kgf": constants.g, "lbf": constants.lbf, "Hz": 1.0, "kHz": 1e3, "A": 1.0,
    "mA": 1e-3, "V": 1.0, "mV": 1e-3, "H": 1.0, "mH": 1e-3, "uH": 1e-6, "ohm": 1.0, "rad": 1.0, "percent": 1e-2,
    "GPa": 1e9, "degC": 1.0, "ratio": 1.0, "1": 1.0,
}  # fmt: skip


def in_si(unit: str) -> float:
    """Of a unit in words: "N m/rad", "g cm2"; an ounce times a length is one of force."""
    value = 1.0
    for i, part in enumerate(unit.split("/")):
        for word in part.split():
            name = word.rstrip("0123456789") or word
            power = int(word[len(name) :] or 1)
            one = ONE[name] * (constants.g if unit == "oz in" and name == "oz" else 1.0)
            value *= one ** (power if i == 0 else -power)
    return value


#: What a key's ending says.
ENDINGS = {
    "_mm": "mm", "_mm_s": "mm/s", "_mm_s2": "mm/s2", "_mm_s3": "mm/s3", "_n_per_mm": "N/mm", "_g_cm2": "g cm2",
    "_g_m": "g/m", "_nm": "N m", "_n": "N", "_g": "g", "_hz": "Hz", "_ms": "ms", "_a": "A", "_v": "V", "_mh": "mH",
    "": "ratio",
}  # fmt: skip


@pytest.mark.parametrize("unit", [unit for unit in SI_FACTOR if unit])
def test_a_unit_of_the_file_in_si(unit: str) -> None:
    assert to_si(2.0, unit) == pytest.approx(2.0 * in_si(unit), rel=1e-12)


def test_a_count_is_what_it_is() -> None:
    assert to_si(3, "") == 3.0
    with pytest.raises(KeyError):
        to_si(3, "furlong")


@pytest.mark.parametrize(
    ("ending", "unit", "right", "factor"), OTHER_UNITS, ids=[f"{e}-{u}" for e, u, _, _ in OTHER_UNITS]
)
def test_what_another_unit_would_be_here(ending: str, unit: str, right: str, factor: float) -> None:
    """To six digits, as many as the advice is given with."""
    assert factor == pytest.approx(in_si(unit) / in_si(ENDINGS[right]), rel=2e-6)
    assert math.isfinite(factor)


def test_a_longer_ending_is_tried_before_one_it_ends_with() -> None:
    """Else "_mm_min" would be read as "_min". Of the same ending every one that may be meant stands there."""
    endings = [ending for ending, _, _, _ in OTHER_UNITS]
    for i, early in enumerate(endings):
        assert not any(late != early and late.endswith(early) for late in endings[i + 1 :]), early
