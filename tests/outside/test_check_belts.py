"""Belts on their wheels against published formulas and plain geometry, through machines in the program's own words."""

import itertools
import math
import tomllib
from dataclasses import replace

import numpy as np
import pytest
from beltspring.sim.check.belts import RULES as BELT_RULES
from beltspring.sim.check.belts import mesh_factor, two_pulley_length, way_m
from beltspring.sim.check.drives import corner_speed
from beltspring.sim.check.subject import Subject
from beltspring.sim.machine.machine import Clamp
from beltspring.sim.machine.routing import Arc, Span, belt_path, order_length_m, teeth_in_mesh
from beltspring.sim.parts.design import MotorSpec
from beltspring.sim.scenario.load import scenario_of

LOOP = """
title = "loop"
layout = "moving-bed"
space = {{ x_mm = {x}, y_mm = 200, z_mm = 100 }}
carriage = {{ mass_g = 300, guide = "rail-12", width_mm = 60 }}
bed = {{ mass_g = 500, guide = "rail-12" }}
frame = {{ part = "rigid", width_mm = 900, depth_mm = 600 }}
motors = {{ part = "motor-17-40", pulley_teeth = {pulley} }}
idlers = {{ teeth = {idler} }}
move = {{ pattern = "step" }}
"""


def loop(x=200, pulley=20, idler=20) -> Subject:
    return Subject(scenario_of(tomllib.loads(LOOP.format(x=x, pulley=pulley, idler=idler))))


# ISO 5295 and ANSI/RMA IP-24, teeth in mesh factor, from memory; that the basic formula holds from 6 on is published.
@pytest.mark.parametrize(("teeth", "factor"), [(12, 1.0), (6, 1.0), (5, 0.8), (4, 0.6), (3, 0.4), (2, 0.2), (1, 0.0)])
def test_mesh_factor_after_iso_5295(teeth, factor):
    assert mesh_factor(teeth) == pytest.approx(factor)


# Timing Belt Theory (Gates Mectrol, published), eq. 1: d = z p / pi.
@pytest.mark.parametrize(("teeth", "mm"), [(20, 12.732395), (16, 10.185916), (36, 22.918312)])
def test_pitch_diameter(teeth, mm):
    wheel = loop(pulley=teeth).machine.wheels["motor X"]
    assert 2e3 * wheel.radius_m == pytest.approx(mm, rel=1e-6)


def test_a_turn_and_a_step_of_a_20_tooth_pulley():
    around = 2 * math.pi * loop().machine.wheels["motor X"].radius_m
    assert around == pytest.approx(40e-3, rel=1e-12)
    assert around / 200 == pytest.approx(0.200e-3, rel=1e-12)
    assert around / 200 / 16 == pytest.approx(12.5e-6, rel=1e-12)


# The exact two-pulley formula, worked: C = 300 mm with 20 and 20 teeth, C = 100 mm with 16 and 36 teeth.
def test_two_pulley_formula():
    assert two_pulley_length(20e-3 / math.pi, 20e-3 / math.pi, 0.300) == pytest.approx(0.640, rel=1e-12)
    assert two_pulley_length(16e-3 / math.pi, 36e-3 / math.pi, 0.100) == pytest.approx(0.252405422, rel=1e-8)


@pytest.mark.parametrize(("pulley", "idler"), [(20, 20), (16, 36), (36, 16), (30, 20)])
def test_a_machines_belt_has_the_length_of_the_formula(pulley, idler):
    """Loop, clamps closed up: the strand between the clamps put back, the whole is a belt round two pulleys."""
    machine = loop(pulley=pulley, idler=idler).machine
    belt = machine.belts[0]
    motor, wheel = machine.wheels["motor X"], machine.wheels["idler X"]
    apart = math.dist(motor.centre[:2], wheel.centre[:2])
    whole = belt_path(machine, belt).length_m + math.dist(belt.start.point, belt.end.point)
    small, large = sorted((motor.radius_m, wheel.radius_m))
    assert whole == pytest.approx(two_pulley_length(small, large, apart), rel=1e-12)


def test_teeth_in_mesh_of_16_beside_36_teeth():
    """C = 100 mm: 172.69994 degrees of wrap, 7.67555 teeth, 7 of them whole; RMA's approximation agrees."""
    step = 2 * (36 - 16) * 1e-3 / math.pi / 2
    wrap = math.pi - 2 * math.asin(step / 0.100)
    assert math.degrees(wrap) == pytest.approx(172.69994, rel=1e-7)
    arc = Arc("w", np.zeros(2), 16e-3 / math.pi, 0.0, wrap, True, 0)
    assert teeth_in_mesh(arc, 16) == pytest.approx(7.67555, rel=1e-5)
    assert int(16 / 2 - 2e-3 * 16 * (36 - 16) / (2 * math.pi**2 * 0.100)) == 7
    assert mesh_factor(int(teeth_in_mesh(arc, 16))) == 1.0


@pytest.mark.parametrize("layout", ["corexy", "moving-bed", "hframe", "box"])
def test_length_against_a_finely_sampled_polyline(layout):
    """Arcs cut into chords of 0.1 mrad and straight spans walked in steps: the sum is the length to 1e-6."""
    text = LOOP.format(x=200, pulley=24, idler=20).replace('"moving-bed"', f'"{layout}"')
    machine = Subject(scenario_of(tomllib.loads(text))).machine
    for belt in machine.belts:
        for tool in ((0.0, 0.0, 0.05), (0.13, 0.2, 0.0)):
            path = belt_path(machine, belt, machine.offsets(np.array(tool)))
            points = []
            for piece in path.pieces:
                if isinstance(piece, Span):
                    points.append(np.linspace(piece.start, piece.end, 100))
                else:
                    angle = piece.start_rad + np.linspace(0, piece.sweep_rad, 30_000)
                    points.append(piece.centre + piece.radius_m * np.c_[np.cos(angle), np.sin(angle)])
            walked = np.hypot(*np.diff(np.concatenate(points), axis=0).T).sum()
            assert path.length_m == pytest.approx(walked, rel=1e-6)
            # The pieces join: no gap between a tangent point and the arc that follows it.
            assert all(np.hypot(*(b[0] - a[-1])) < 1e-9 for a, b in itertools.pairwise(points))


def test_length_to_order_is_whole_teeth_with_room_to_clamp():
    machine = loop().machine
    for belt in machine.belts:
        way = belt_path(machine, belt).length_m
        ordered = order_length_m(machine, belt, 0.030)
        assert 0.060 - 1e-9 <= ordered - way < 0.062
        assert ordered / 2e-3 == pytest.approx(round(ordered / 2e-3), abs=1e-9)


def test_skew_of_one_span():
    """Geometry: e = 1 mm off the lane costs e^2 / 2s; from 300 to 50 mm of span 1/100 - 1/600 mm = 8.333 um.

    A loop whose left clamp stands 1 mm aside; the span from it to the pulley is 300 mm at one end of the reach and 50 mm
    at the other.
    """
    subject = loop(x=250)
    belt = subject.machine.belts[0]
    x, y, z = belt.start.point
    aside = replace(belt, start=Clamp(belt.start.name, belt.start.body, (x, y + 1e-3, z)))
    # The pulley is moved so that the span from the clamp is 50 mm with the tool at the left.
    motor = subject.machine.wheels["motor X"]
    shift = 0.050 - (x - 0.125 - motor.centre[0])
    moved = replace(motor, centre=(motor.centre[0] - shift, *motor.centre[1:]))
    wheels = {**subject.machine.wheels, "motor X": moved}
    subject.machine = replace(subject.machine, belts=(aside, *subject.machine.belts[1:]), wheels=wheels)
    lengths = [way_m(subject, aside, np.array([tool, 0.1, 0.05])) for tool in (0.0, 0.25)]
    assert lengths[0] - lengths[1] == pytest.approx(8.333e-6, rel=2e-2)
    spans = [p.length_m for p in subject.path(aside, np.array([0.0, 0.1, 0.05])).pieces if isinstance(p, Span)]
    assert spans[0] == pytest.approx(0.050, abs=2e-4)
    rule = next(r for r in BELT_RULES if r.name == "skew")
    assert rule.judge(subject) == []  # 8.3 um lie within the 10 um allowed
    further = replace(aside, start=Clamp("left", belt.start.body, (x, y + 2e-3, z)))
    subject.machine = replace(subject.machine, belts=(further, *subject.machine.belts[1:]))
    (found,) = rule.judge(subject)
    assert found.value == pytest.approx(4 * 8.333, rel=3e-2)


# (R I + K_t w)^2 + (N_r w L I)^2 = V^2, worked for R 1.3 ohm, L 2.8 mH, 1.7 A, K_t 0.166378 N m/A, 20 teeth of 2 mm.
@pytest.mark.parametrize(
    ("volt", "rad_s", "m_s"), [(12, 36.490, 0.2323), (24, 78.052, 0.4969), (36, 119.454, 0.7605), (48, 160.817, 1.0238)]
)
def test_corner_of_the_supply(volt, rad_s, m_s):
    motor = MotorSpec("m", 0.40, 1.7, 38e-7, 1.3, 2.8e-3, 0.012, 0.05, 0.25, 0.0423, 28, 1.7, volt, 16)
    assert corner_speed(motor) == pytest.approx(rad_s, rel=1e-4)
    assert corner_speed(motor) * 20e-3 / math.pi == pytest.approx(m_s, rel=1e-3)
    # The corner solves its own equation.
    kt, w = 0.40 / (math.sqrt(2) * 1.7), corner_speed(motor)
    assert math.hypot(1.3 * 1.7 + kt * w, 50 * w * 2.8e-3 * 1.7) == pytest.approx(volt, rel=1e-12)
