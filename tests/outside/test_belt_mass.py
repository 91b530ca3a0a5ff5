"""The mass of belts and where idlers sit along them, from the belt's own geometry.

Nothing here asks the mass matrix's own formulas: beads on the belt are followed as the machine moves, and tables say by
hand what each layout carries. A body that only translates has the kinetic energy m v^2 / 2, whatever its shape.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from beltspring.sim.machine.machine import Belt, Machine
from beltspring.sim.machine.routing import Arc, belt_path, runs_of
from beltspring.sim.model.build import build_model
from beltspring.sim.model.facts import moving_mass
from beltspring.sim.model.system import System

from tests.support import LINEAR_LAYOUTS, MOTORS, bare, machine_of, model_of

G_M = 10.0
MASSIVE = {"belts.mass_g_m": G_M}
#: By hand, which belts go as fast as the tool. Where motors stand on the frame and a belt passes the gantry, travel in Y
#: takes the strands on the gantry along sideways and runs the strands beside it lengthwise, all at the gantry's speed;
#: travel in X runs the whole loop past idlers that stand still. The box's X belt with its motor rides on the gantry, as
#: the moving bed's X belt stands on a gantry that does not move.
CARRIED = {
    "corexy": (("a", "b"), ("a", "b")),
    "hframe": (("a",), ("a",)),
    "box": (("x",), ("x", "y", "y-right")),
    "moving-bed": (("x",), ("y",)),
}


def test_the_table_names_every_layout_of_slides():
    # Machines on arms have their own table and check (test_delta_*).
    assert sorted(CARRIED) == LINEAR_LAYOUTS


def loose_kg(machine: Machine, belt: Belt) -> float:
    """Mass of a belt but for what lies on motor pulleys and turns with the rotors."""
    path = belt_path(machine, belt)
    gripped = sum(p.length_m for p in path.pieces if p.run == -1)
    return belt.spec.mass_kg_m * (path.length_m - gripped)


@pytest.mark.parametrize("detail", ["simple", "full"])
@pytest.mark.parametrize("layout", LINEAR_LAYOUTS)
def test_what_travels_with_the_tool_by_hand(layout, detail):
    changes = MASSIVE | MOTORS | {"detail": detail, "carriage.guide": "rod-8-pair", "gantry.guide": "rod-8-pair"}
    machine = machine_of(bare(layout, changes))
    belts = {belt.name: belt for belt in machine.belts}
    light = moving_mass(model_of(bare(layout, changes | {"belts.mass_g_m": 0})))
    heavy = moving_mass(build_model(machine))
    for axis in range(2):
        by_hand = sum(loose_kg(machine, belts[name]) for name in CARRIED[layout][axis])
        assert heavy[axis] - light[axis] == pytest.approx(by_hand, rel=1e-9)


def beads(machine: Machine, belt: Belt, tool: np.ndarray, at_m: np.ndarray) -> np.ndarray:
    """Places (k, 2) of beads on a belt, at so many metres of it from its first clamp, with the rigid tool somewhere."""
    path = belt_path(machine, belt, machine.offsets(tool))
    ends = np.cumsum([piece.length_m for piece in path.pieces])
    out = []
    for s in at_m:
        i = int(np.searchsorted(ends, s))
        piece, into = path.pieces[i], s - (ends[i] - path.pieces[i].length_m)
        if isinstance(piece, Arc):
            angle = piece.start_rad + np.sign(piece.sweep_rad) * into / piece.radius_m
            out.append(piece.centre + piece.radius_m * np.array([np.cos(angle), np.sin(angle)]))
        else:
            out.append(piece.start + piece.direction * into)
    return np.array(out)


@pytest.mark.parametrize("layout", LINEAR_LAYOUTS)
def test_what_travels_with_the_tool_by_beads_on_the_belt(layout):
    # A clamped belt that is not strained keeps its beads at the same length from its first clamp: their speeds, squared and
    # added up along the belt, are its moving mass. 4000 beads see the jumps at wheels to 1e-3; pulleys are left out.
    machine = machine_of(bare(layout, MASSIVE))
    found = np.array(moving_mass(build_model(machine))) - np.array(moving_mass(model_of(bare(layout))))
    expected = np.zeros(2)
    step = 1e-6
    for belt in machine.belts:
        path = belt_path(machine, belt)
        at = (np.arange(4000) + 0.5) / 4000 * path.length_m
        ends = np.cumsum([piece.length_m for piece in path.pieces])
        free = np.array([path.pieces[i].run != -1 for i in np.searchsorted(ends, at)])
        for axis in range(2):
            way = step * np.eye(3)[axis]
            moved = beads(machine, belt, machine.middle + way, at) - beads(machine, belt, machine.middle - way, at)
            speed = moved[free] / (2 * step)
            expected[axis] += belt.spec.mass_kg_m * path.length_m * (speed**2).sum() / len(at)
    assert found == pytest.approx(expected, rel=2e-3)


def whole_machine(system: System, axis: int) -> np.ndarray:
    """Speeds (n,) of every body with the whole machine moving along an axis, or turning about Z (axis 5) with its rotors."""
    q = np.zeros(system.n)
    for body in system.machine.bodies:
        if f"{body.name} x" not in system.dof_names:
            continue
        at = system.dof_names.index(f"{body.name} x")
        if axis < 3:
            q[at + axis] = 1.0
        else:
            x, y, _ = body.centre
            q[at : at + 2], q[at + 5] = (-y, x), 1.0
    if axis == 5:
        q[: len(system.motors)] = 1.0
    return q


COMPLIANT = MOTORS | {
    "detail": "full", "feet.part": "feet-rubber", "carriage.guide": "rod-8-pair", "gantry.guide": "rod-8-pair",
    "bed.guide": "rod-8-pair", "frame.part": "slot-2020",
}  # fmt: skip


@pytest.mark.parametrize("axis", [0, 1, 2])
@pytest.mark.parametrize("layout", LINEAR_LAYOUTS)
def test_a_machine_that_moves_as_one_takes_its_belts_along(layout, axis):
    # Every metre of belt then has the machine's speed, whichever way its spans lie; rotors and idlers do not turn.
    machine = machine_of(bare(layout, COMPLIANT | MASSIVE))
    heavy, light = build_model(machine), model_of(bare(layout, COMPLIANT))
    q = whole_machine(heavy, axis)
    belts = sum(loose_kg(machine, belt) for belt in machine.belts)
    assert q @ (heavy.mass - light.mass) @ q == pytest.approx(belts, rel=1e-9)


@pytest.mark.parametrize("layout", LINEAR_LAYOUTS)
def test_a_machine_that_turns_as_one_takes_its_belts_along(layout):
    # About Z each span is a slender bar: m (l^2 / 12 + d^2), d from the axis to its middle (any text on mechanics), with half
    # of the wraps on the idlers at its ends.
    machine = machine_of(bare(layout, COMPLIANT | MASSIVE))
    heavy, light = build_model(machine), model_of(bare(layout, COMPLIANT))
    q = whole_machine(heavy, 5)
    expected = 0.0
    for belt in machine.belts:
        pieces = belt_path(machine, belt).pieces
        for i, span in enumerate(pieces):
            if isinstance(span, Arc):
                continue
            beside = [p for p in (*pieces[max(i - 1, 0) : i], *pieces[i + 1 : i + 2]) if p.run != -1]
            kg = belt.spec.mass_kg_m * (span.length_m + sum(p.length_m for p in beside) / 2)
            middle = (span.start + span.end) / 2
            expected += kg * (span.length_m**2 / 12 + float(middle @ middle))
    assert q @ (heavy.mass - light.mass) @ q == pytest.approx(expected, rel=1e-9)


def test_a_loop_whose_motor_is_held_swings_with_a_third_of_its_mass():
    # The moving bed's X belt runs lengthwise everywhere: from 0 at the held pulley evenly up to the clamp's speed, in both
    # runs, so that int (s/L)^2 mu ds = m/3, whatever its idler's wrap (consistent mass is exact for even strain).
    machine = machine_of(bare("moving-bed", MASSIVE))
    heavy, light = build_model(machine), model_of(bare("moving-bed"))
    i = heavy.dof_names.index("carriage x")
    runs = runs_of(machine, next(belt for belt in machine.belts if belt.name == "x"))
    for run in runs:
        assert sum(run.carried_m) == pytest.approx(run.length_m, rel=1e-12)
    belt_kg = G_M * 1e-3 * sum(run.length_m for run in runs)
    assert heavy.mass[i, i] - light.mass[i, i] == pytest.approx(belt_kg / 3, rel=1e-9)


def rim_m(
    machine: Machine, belt: Belt, wheel: str, angle: float, offsets: dict[str, np.ndarray]
) -> tuple[float, float]:
    """(belt from the last grip to a fixed angle on a wheel's rim, the whole run), m, with bodies moved."""
    path = belt_path(machine, belt, offsets)
    arc = next(p for p in path.pieces if isinstance(p, Arc) and p.wheel == wheel)
    so_far = 0.0
    for piece in path.run_pieces(arc.run):
        if piece is arc:
            turned = (angle - arc.start_rad) * np.sign(arc.sweep_rad) % (2 * np.pi)
            return so_far + arc.radius_m * turned, path.run_length_m(arc.run)
        so_far += piece.length_m
    raise AssertionError("the wheel is not in its run")


@pytest.mark.parametrize("layout", LINEAR_LAYOUTS)
def test_an_idlers_place_along_its_run(layout):
    # Motors held, one slide moved: the run is strained evenly, so what lay on the middle of the idler's wrap at the part f of
    # the run has moved to another part of it, and the idler has turned by what ran past. Lengths come from the tangents of
    # the moved machine, not from rows; one idler at a time has inertia.
    machine = machine_of(bare(layout))
    light = build_model(machine)
    inertia, step = 300e-9, 1e-5
    for belt in machine.belts:
        for arc in belt_path(machine, belt).pieces:
            if not isinstance(arc, Arc) or arc.run == -1:
                continue
            wheel = replace(machine.wheels[arc.wheel], inertia_kg_m2=inertia)
            heavy = build_model(replace(machine, wheels=machine.wheels | {arc.wheel: wheel}))
            angle = arc.start_rad + arc.sweep_rad / 2
            past = np.zeros(light.n)
            for i in range(light.n):
                shares = []
                for sign in (1, -1):
                    offsets = {name: sign * step * rows[:, i] for name, rows in light.body_rows.items()}
                    before, run = rim_m(machine, belt, arc.wheel, angle, offsets)
                    shares.append(before / run)
                whole = belt_path(machine, belt).run_length_m(arc.run)
                past[i] = -whole * (shares[0] - shares[1]) / (2 * step)
            by_hand = inertia / wheel.radius_m**2 * np.outer(past, past)
            assert np.abs(past).max() > 0.05
            assert heavy.mass - light.mass == pytest.approx(by_hand, rel=1e-6, abs=1e-9 * np.abs(by_hand).max())
