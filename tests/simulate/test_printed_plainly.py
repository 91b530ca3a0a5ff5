"""What is printed, run as plain Python for a few steps: it is what the readable loop does, whatever is in the model.

No machine code is made, so a machine of every kind costs milliseconds. The readable loop is held to other integrators and to
closed forms in tests/outside; the states here are none a machine would be in, so that every term counts.
"""

from __future__ import annotations

import copy
from dataclasses import replace
from types import ModuleType
from typing import Any

import numba
import numpy as np
import pytest
from beltspring.sim.model.system import System
from beltspring.sim.simulate import reference
from beltspring.sim.simulate.commands import Chunk, Extremes, State, out_width
from beltspring.sim.simulate.generated import source
from beltspring.sim.simulate.lanes import LANES, lane_of

from tests.support import ALL_LAYOUTS, bare, model_of, shipped, workshop

STEPS = 3
#: What changes the printed text: guides, what is rigid, what is ideal, what loses nothing.
CASES: dict[str, dict[str, Any]] = {
    "wheels": {"carriage.guide": "wheels"},
    "rails": {"carriage.guide": "rail-12", "gantry.guide": "rail-9"},
    "rods": {"carriage.guide": "rod-8-pair", "gantry.guide": "rod-8-pair"},
    "rigid guides": {"carriage.guide": "rigid", "gantry.guide": "rigid"},
    "rigid but for its feet": {"carriage.guide": "rigid", "gantry.guide": "rigid", "frame.part": "rigid"},
    "rigid frame and feet": {"frame.part": "rigid", "feet.part": "rigid"},
    "ideal motors": {"motors.part": "ideal"},
    "motors without losses": {"motors.detent_nm": 0, "motors.damping": 0},
    "no friction": {"carriage.friction_n": 0, "gantry.friction_n": 0},
    "friction without Stribeck": {"carriage.friction_n": 2, "carriage.friction_static_n": 2},
}


def module_of(text: str) -> ModuleType:
    """A printed source as a module of plain Python."""
    module = ModuleType("plain")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(numba.config, "DISABLE_JIT", True)
        exec(compile(text, "<printed>", "exec"), module.__dict__)
    return module


def anywhere(system: System, seed: int) -> tuple[State, Chunk]:
    """A state and commands of nobody's: bent and turned, belts taut and slack, rotors in and out of step, guides sliding."""
    draw = np.random.default_rng(seed)
    m, shape = len(system.motors), (STEPS, 3, len(system.motors))
    place = system.middle + draw.uniform(-0.03, 0.03, 3)
    # Some belts taut, some slack: a tenth of a millimetre is some newtons of tens.
    q = system.rest(place) + draw.uniform(-1, 1, system.n) * 1.5e-3
    state = State(q, draw.uniform(-1, 1, system.n) * 0.1, draw.uniform(-1, 1, len(system.frictions)) * 1e-6, 0.0)
    theta = system.motor_command(place[None])[0] + draw.uniform(-1, 1, shape) * np.linspace(0.02, 0.3, max(m, 1))[:m]
    times = 0.5 + np.array([0.0, 1e-5, 3e-5])
    chunk = Chunk(
        times, np.append(np.diff(times), 4e-5), theta, draw.uniform(-3, 3, shape), draw.uniform(0.1, 0.5, shape),
        place + draw.uniform(-1e-3, 1e-3, (STEPS, 3)), np.array([1, -1, 0]), 2,
    )  # fmt: skip
    return state, chunk


def by_reference(system: System, state: State, chunk: Chunk) -> list[np.ndarray]:
    """Where the readable loop gets to: coordinates, speeds, bristles, rows, lowest, highest, slack, turns."""
    state, out, seen = copy.deepcopy(state), np.full((2, out_width(system)), np.nan), Extremes.fresh(system)
    reference.advance(system, state, chunk, out, seen)
    assert state.t == chunk.times[-1]
    return [state.q, state.w, state.z, out, seen.low, seen.high, seen.slack, seen.turns]


def assert_alike(found: list[np.ndarray], wanted: list[np.ndarray]) -> None:
    for mine, other in zip(found, wanted, strict=True):
        assert mine == pytest.approx(other, rel=1e-8, abs=1e-9 * float(np.abs(other).max(initial=0.0)) + 1e-16)


def assert_printed(system: System, seed: int = 1) -> None:
    state, chunk = anywhere(system, seed)
    wanted = by_reference(system, state, chunk)
    text, parameters = source(system)
    out, seen = np.full((2, out_width(system)), np.nan), Extremes.fresh(system)
    module_of(text).advance(
        4, parameters, state.q, state.w, state.z, chunk.times, chunk.lengths, chunk.theta, chunk.omega, chunk.limit,
        chunk.tool, chunk.record, out, seen.low, seen.high, seen.slack, seen.turns,
    )  # fmt: skip
    assert_alike([state.q, state.w, state.z, out, seen.low, seen.high, seen.slack, seen.turns], wanted)


@pytest.mark.parametrize("detail", ["simple", "full"])
@pytest.mark.parametrize("layout", ALL_LAYOUTS)
def test_of_every_layout(layout, detail):
    assert_printed(model_of(workshop(layout, {"detail": detail})))


@pytest.mark.parametrize("layout", ALL_LAYOUTS)
def test_of_a_bare_machine(layout):
    assert_printed(model_of(bare(layout)))


@pytest.mark.parametrize("detail", ["simple", "full"])
@pytest.mark.parametrize("case", CASES)
def test_whatever_the_machine_is_made_of(case, detail):
    assert_printed(model_of(shipped("desk-corexy-slot", {"detail": detail} | CASES[case])))


@pytest.mark.parametrize("changes", [{}, CASES["rigid but for its feet"]])
def test_where_the_tool_moves_in_every_axis(changes):
    """A turn of the bed takes it along in all three, and its zero counts in each."""
    system = model_of(shipped("desk-corexy-slot", {"detail": "full"} | changes))
    rows = system.tool_rows + np.random.default_rng(3).normal(size=(3, system.n))
    moved = replace(system, tool_rows=rows, tool_zero=np.array([1e-3, -2e-3, 3e-3]))
    assert moved.tool_moves == (True, True, True)
    assert moved.work_turn.any()
    assert_printed(moved)


def test_springs_to_the_ground_between_any_two_coordinates():
    """No machine of a file has as many; each coordinate pulls at every other, with losses."""
    system = model_of(workshop("moving-bed", {"detail": "full"}))
    draw = np.random.default_rng(8)
    # By mass, so that nothing is faster than a step: 100 Hz or so.
    root = np.linalg.cholesky(system.mass)
    k, d = (root @ a @ a.T @ root.T for a in draw.normal(size=(2, system.n, system.n)))
    assert_printed(replace(system, stiffness=1e4 * k, damping=10 * d, gravity=root @ draw.normal(size=system.n)))


def test_rods_that_hold_a_body_anyhow():
    """Each bushing by rows of its own, neither alike nor opposite, some of them nothing and some one."""
    system = model_of(
        workshop("corexy", {"detail": "full", "carriage.guide": "rod-8-pair", "gantry.guide": "rod-8-pair"})
    )
    draw = np.random.default_rng(9)

    def other(rows: np.ndarray) -> np.ndarray:
        return np.where(rows != 0.0, draw.choice([1.0, 0.3, -0.7, 0.0], size=rows.shape), 0.0) + 0.0 * rows

    assert sum(joint.shaft_rows is not None for joint in system.joints) == 2
    joints = [j if j.shaft_rows is None else replace(j, shaft_rows=other(j.shaft_rows)) for j in system.joints]
    assert_printed(replace(system, joints=tuple(joints)))


def straight_in_lanes(text: str, room: dict[str, int]) -> Any:
    """A block of straight arithmetic for eight machines, each element a row of eight numbers."""
    code = compile(text, "<straight arithmetic>", "exec")

    def matrix(p: np.ndarray, start: int, rows: int, *factors: np.ndarray) -> np.ndarray:
        high = -(-rows // 8) * 8
        return sum((f * p[start + j * high :][:rows] for j, f in enumerate(factors)), np.zeros(LANES))

    known = {"matrix": matrix, "floor": np.floor, "sqrt": np.sqrt, "max": np.maximum, "min": np.minimum}

    def block(p: np.ndarray, out: np.ndarray | None = None) -> None:
        rows = p.reshape(-1, LANES)
        places = {name: rows[start:] for name, start in room.items()} | {"P": rows}
        exec(code, dict(known), places if out is None else places | {"OUT": out.reshape(-1, LANES)})

    return block


@pytest.mark.parametrize("layout", ["corexy", "delta"])
def test_eight_machines_at_once(layout):
    """Of one topology: two designs in turns, and each machine in a state of its own."""
    heavy = {"carriage.mass_g": 450, "belts.pretension_n": 9, "motors.current_a": 0.5}
    systems = [model_of(workshop(layout, {"detail": "full"} | changes)) for changes in ({}, heavy)] * (LANES // 2)
    found = [lane_of(system) for system in systems]
    assert {lane.text for lane in found} == {found[0].text}
    # numba's own blocks are replaced: they know single numbers only where they run as plain Python.
    module = module_of(found[0].text)
    for name in ("push", "slide", "place", "tell", *(f"bristles_{stage}" for stage in range(4))):
        setattr(module, name, straight_in_lanes(getattr(module, name.upper()), module.ROOM))
    starts = [anywhere(system, seed) for seed, system in enumerate(systems)]
    chunk = starts[0][1]
    limits = [own.limit for _, own in starts]
    states = [state for state, _ in starts]
    wanted = [
        by_reference(system, state, Chunk(**vars(chunk) | {"limit": limit}))
        for system, state, limit in zip(systems, states, limits, strict=True)
    ]

    def side(values: list[np.ndarray]) -> np.ndarray:
        return np.ascontiguousarray(np.stack(values, axis=-1).reshape(*values[0].shape[:-1], -1))

    fresh = Extremes.fresh(systems[0])
    mine = [
        side([s.q for s in states]), side([s.w for s in states]), side([s.z for s in states]),
        np.full((2, out_width(systems[0]) * LANES), np.nan), np.repeat(fresh.low, LANES), np.repeat(fresh.high, LANES),
        np.repeat(fresh.slack, LANES), np.repeat(fresh.turns, LANES, axis=0),
    ]  # fmt: skip
    q, w, z, out, low, high, slack, turns = mine
    module.advance(
        4, side([lane.parameters for lane in found]), q, w, z, chunk.times, chunk.lengths, chunk.theta, chunk.omega,
        side(limits), chunk.tool, chunk.record, out, low, high, slack, turns,
    )  # fmt: skip
    for i in range(LANES):
        own = [values.reshape(*values.shape[:-1], -1, LANES)[..., i] for values in mine[:-1]]
        assert_alike([*own, turns[i::LANES]], wanted[i])
