"""The catalogue against numbers other people published: each source stands beside its value."""

from __future__ import annotations

import math

import pytest
from beltspring.sim.parts.catalogue import catalogue
from beltspring.sim.parts.resolve import resolve
from beltspring.sim.scenario.load import scenario_of
from scipy import constants

BELTS = list(catalogue().parts["belts"].values())


def value(kind: str, name: str, key: str) -> float:
    return catalogue().get(kind, name).value(key)


@pytest.mark.parametrize("width", [6, 9, 12])
def test_steel_cord_lies_among_published_spring_rates(width: int) -> None:
    """Elatech catalogue, polyurethane T2.5 with steel cord: EA 30, 45, 60, 135 kN at 4, 6, 10, 20 mm (published).

    Ours have 2 mm pitch and a cord of the same kind, so their EA per width must lie among these.
    """
    per_mm = [30e3 / 4, 45e3 / 6, 60e3 / 10, 135e3 / 20]
    part = catalogue().get("belts", f"belt-2mm-{width}-steel")
    assert min(per_mm) <= part.value("ea_n") / width <= max(per_mm)
    # Every row of that catalogue has open tension = 0.004 EA (180 N at 45 kN, 240 N at 60 kN).
    assert part.value("working_tension_n") == pytest.approx(180 / 45e3 * part.value("ea_n"), rel=0.001)


@pytest.mark.parametrize(("width", "rate_lbf"), [(6, 2.05), (9, 3.08), (12, 4.10)])
def test_glass_cord_stays_below_the_handbook_constant_and_its_band_reaches_it(width: int, rate_lbf: float) -> None:
    """SDP/SI handbook D190, 2 mm curvilinear belts with glass cord: Y = 2.05, 3.08, 4.10 lbf (from memory).

    The tension rule F = (T + (t/L) Y)/16 for a deflection t/64 stretches the loop by t/(2048 L), so EA = 2048 Y.
    """
    handbook_n = 2048 * rate_lbf * constants.lbf
    quantity = catalogue().get("belts", f"belt-2mm-{width}-glass").numbers["ea_n"]
    assert quantity.band is not None
    assert quantity.band[0] < quantity.value < handbook_n <= 1.01 * quantity.band[1]


@pytest.mark.parametrize(("width", "tension_n"), [(6, 15.8), (9, 25.2), (12, 34.6)])
def test_installation_tension(width: int, tension_n: float) -> None:
    """Gates Unitta manual U-550, section 10, 2 mm belts (published; columns inferred)."""
    assert value("belts", f"belt-2mm-{width}-glass", "install_tension_n") == tension_n


@pytest.mark.parametrize("part", BELTS, ids=lambda part: part.name)
def test_a_belt_breaks_after_it_has_worked(part: object) -> None:
    """Cord strains at break: E-glass 4.8 %, aramid 2.4 to 3.6 %, steel wire 1 to 2 % (fibre handbooks, from memory).

    Working tension over EA must leave at least a factor of two.
    """
    strain = part.value("working_tension_n") / part.value("ea_n")  # type: ignore[attr-defined]
    least = {"glass": 0.048, "aramid": 0.024, "steel": 0.010}[part.words["cord"]]  # type: ignore[attr-defined]
    assert strain < least / 2


@pytest.mark.parametrize(("teeth", "outside_mm"), [(16, 9.68), (20, 12.22)])
def test_pitch_line_of_the_profile(teeth: int, outside_mm: float) -> None:
    """SDP/SI pulley tables, 2 mm curvilinear: outside diameter 9.68 mm at 16 teeth, 12.22 mm at 20 (from memory)."""
    belt = catalogue().get("belts", "belt-2mm-6-glass")
    assert teeth * belt.value("pitch_mm") / math.pi - 2 * belt.value("pitch_line_mm") == pytest.approx(
        outside_mm, abs=0.01
    )


@pytest.mark.parametrize(("diameter", "kg_m"), [(8, 0.395), (10, 0.617), (12, 0.888)])
def test_rods_weigh_what_round_steel_bar_weighs(diameter: int, kg_m: float) -> None:
    """Nominal masses of round steel bar, ISO 6935-2 table 2: 0.395, 0.617, 0.888 kg/m (from memory)."""
    assert value("guides", f"rod-{diameter}-pair", "line_mass_kg_m") == pytest.approx(kg_m, rel=0.002)


def test_a_double_profile_by_the_parallel_axis_theorem() -> None:
    """Two 20 x 20 sections side by side: 2 I weak, 2 (I + A d^2) strong, d = 10 mm (any book on strength of materials)."""
    i, a = value("frames", "slot-2020", "i_strong_mm4"), value("frames", "slot-2020", "area_mm2")
    assert value("frames", "slot-2040", "i_weak_mm4") == pytest.approx(2 * i, rel=0.01)
    assert value("frames", "slot-2040", "i_strong_mm4") == pytest.approx(2 * (i + a * 10**2), rel=0.01)


@pytest.mark.parametrize("name", ["slot-2020", "slot-2040", "slot-4040"])
def test_a_profile_weighs_its_area(name: str) -> None:
    """Aluminium 2700 kg/m3 (handbook value, from memory)."""
    assert value("frames", name, "mass_kg_m") == pytest.approx(
        2700 * value("frames", name, "area_mm2") * 1e-6, rel=0.01
    )


def square_tube(b: float, t: float, outer: float, inner: float) -> tuple[float, float, float]:
    """Area, I and I_t of a square tube with corner radii, by the formulas of EN 10210-2 annex A (from memory)."""
    area = 4 * t * (b - t) - (4 - math.pi) * (outer**2 - inner**2)

    def corners(half: float, r: float) -> float:
        share = (10 - 3 * math.pi) / (12 - 3 * math.pi)
        own = (1 / 3 - math.pi / 16 - 1 / (3 * (12 - 3 * math.pi))) * r**4
        return 4 * (own + (1 - math.pi / 4) * r**2 * (half - share * r) ** 2)

    i = (b**4 - (b - 2 * t) ** 4) / 12 - corners(b / 2, outer) + corners(b / 2 - t, inner)
    middle = (outer + inner) / 2
    line = 4 * (b - t) - 2 * middle * (4 - math.pi)
    enclosed = (b - t) ** 2 - middle**2 * (4 - math.pi)
    return area, i, t**3 * line / 3 + 4 * enclosed**2 * t / line


def test_a_printed_box_against_the_table_of_square_tubes() -> None:
    """EN 10210-2, square tube 40 x 40 x 4, corners 1.5 t outside and 1 t inside: 5.59 cm2, 11.8 cm4, 19.5 cm4 (from memory).

    The formulas give the table with its corners, and must give ours with none.
    """
    table = square_tube(40, 4, 6, 4)
    assert [table[0] / 1e2, table[1] / 1e4, table[2] / 1e4] == pytest.approx([5.59, 11.8, 19.5], rel=0.003)
    box = {"part": "printed", "side_mm": 40, "wall_mm": 4}
    tree = {"title": "t", "layout": "corexy", "space": {"x_mm": 100, "y_mm": 100, "z_mm": 100}, "frame": box}
    frame = resolve(scenario_of(tree | {"move": {"pattern": "step"}}), ("a", "b")).frame
    assert frame is not None
    ours = [frame.area_m2 * 1e6, frame.i_strong_m4 * 1e12, frame.torsion_m4 * 1e12]
    assert ours == pytest.approx(square_tube(40, 4, 0, 0), rel=1e-9)


@pytest.mark.parametrize("part", list(catalogue().parts["materials"].values()), ids=lambda part: part.name)
def test_shear_modulus_follows_from_a_real_poisson_ratio(part: object) -> None:
    """Isotropic elasticity: nu = E/(2G) - 1; aluminium 0.33, thermoplastics 0.33 to 0.42 (handbooks, from memory)."""
    nu = part.value("elastic_gpa") / (2 * part.value("shear_gpa")) - 1  # type: ignore[attr-defined]
    assert 0.32 <= nu <= 0.42


def test_motor_winding_and_torque_belong_together() -> None:
    """Copper loss at rated current, both phases on, of 42 mm motors lies near 6 to 10 W (R 2.5 ohm at 1.2 A, 1.3 ohm at
    1.7 A in a published 42HS series table give 7.2 and 7.5 W); our own windings must not fall out of that row."""
    for name in ("motor-17-28", "motor-17-34", "motor-17-40", "motor-17-48"):
        loss_w = 2 * value("motors", name, "resistance_ohm") * value("motors", name, "rated_current_a") ** 2
        assert 6 <= loss_w <= 11, name


def test_motors_grow_with_their_length() -> None:
    """Published 42HS series table: torque 0.24 N m at 28 mm to 0.44 and more at 48 mm, inertia 23 to 68 g cm2 and more."""
    for key in ("holding_torque_nm", "rotor_inertia_g_cm2", "mass_g"):
        row = [value("motors", f"motor-17-{length}", key) for length in (28, 34, 40, 48)]
        assert row == sorted(set(row))
    assert value("motors", "motor-17-28", "holding_torque_nm") == 0.24
    assert value("motors", "motor-17-48", "holding_torque_nm") >= 0.44


def test_pulleys_and_idlers_weigh_what_their_shape_says() -> None:
    """A ring's inertia lies between m r_in^2 and m r_out^2 (mechanics); aluminium and steel as in the sources."""
    for name, outside_mm in (("pulley-20", 12.22), ("pulley-16", 9.68)):
        part = catalogue().get("pulleys", name)
        assert part.value("inertia_g_mm2") < part.value("mass_g") * (outside_mm / 2) ** 2
        assert part.value("inertia_g_mm2") > part.value("mass_g") * (part.value("bore_mm") / 2) ** 2
        solid_g = math.pi / 4 * (outside_mm**2 - 5**2) * 16 * 2700e-6
        assert part.value("mass_g") == pytest.approx(solid_g, rel=0.02)
    for name, outside_mm in (("idler-20", 12.2), ("idler-16", 9.7)):
        ring_g = math.pi / 4 * (outside_mm**2 - 7**2) * 8.5 * 7850e-6
        ring_g_mm2 = ring_g * (outside_mm**2 + 7**2) / 8
        assert catalogue().get("idlers", name).value("inertia_g_mm2") == pytest.approx(ring_g_mm2, rel=0.02)
