"""The full model of a tool on arms: what holds its platform level, its motion against an integrator, and the simple model.

Rotation: closed forms (derived), checked beside them by rows of a 6x6 and by finite rotations to 2e-11. Motion: scipy's DOP853
on energies that are written again here, their gradient by complex steps (Squire, Trapp, SIAM Review 40(1), 1998, from memory).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from beltspring.sim.machine.machine import Machine
from beltspring.sim.model.build import build_model
from beltspring.sim.model.system import System
from beltspring.sim.simulate.steps import longest_step
from scipy.integrate import solve_ivp

from tests.arms import ARM_M, ROUND, SPAN_M, STATED, G, Path, engine, heights, slopes, z_step
from tests.full.machines import MOTORS
from tests.support import Array, bare, machine_of, model_of

ARM_N_M, W, R_E = 2.0e6, 0.025, 0.030
END_S = 0.040  # of the comparison: past the first break
ROTATION = STATED | {
    "detail": "full", "delta.joint_spacing_mm": 50, "delta.effector_radius_mm": 30, "delta.carriage_offset_mm": 25,
    "delta.arm_stiffness_n_per_mm": 2000,
}  # fmt: skip


def platform(system: System, tool: Array) -> tuple[Array, Array]:
    """(stiffness (6, 6), how each arm is stretched (6, 6)) of the platform about the middle of its joints, carriages held."""
    q = system.rest(tool)
    first = system.dof_names.index("effector x")
    at = slice(first, first + 6)
    rows = np.array([arm.at(q)[0] @ arm.row[:, at] for arm in system.arms])
    k = sum(arm.stiffness_at(q)[at, at] for arm in system.arms)
    # From the mass centre up to the plane of the joints: u_centre = u_joints + phi x (centre - joints).
    body = system.machine.body("effector")
    down = body.centre[2] - system.machine.arms[0].ends[1][1][2]
    move = np.eye(6)
    move[:3, 3:] = [[0, down, 0], [-down, 0, 0], [0, 0, 0]]
    return move.T @ k @ move, rows @ move


def test_what_holds_the_platform_level():
    system = model_of(bare("delta", ROTATION))
    sine2 = 1 - (SPAN_M / ARM_M) ** 2
    tilt, yaw = 3 * ARM_N_M * W**2 * sine2, 6 * ARM_N_M * W**2 * (1 - sine2)
    assert (tilt, yaw) == pytest.approx((2886.0, 1728.0), rel=1e-6)
    gives = np.linalg.inv(platform(system, system.middle)[0])
    assert 1 / np.diag(gives)[3:] == pytest.approx([tilt, tilt, yaw], rel=1e-9)
    # A moment about X moves the joints' middle; it turns about a line so far below them.
    below = -gives[1, 3] / gives[3, 3]
    assert below * 1e3 == pytest.approx(54.829, abs=1e-3)
    assert below == pytest.approx(R_E * np.sqrt(sine2 / (1 - sine2)), rel=1e-9)
    softest = np.linalg.eigvalsh(np.linalg.inv(np.linalg.inv(platform(system, np.array([0.0, -0.1, 0.1]))[0])[3:, 3:]))[
        0
    ]
    assert softest == pytest.approx(1381.26, abs=5e-3)


def test_an_arm_too_long_turns_the_platform():
    # Six arms hold six ways to move: nothing is strained. To first order; finite rotations differ by 1e-4 of it.
    system = model_of(bare("delta", ROTATION))
    _, rows = platform(system, system.middle)
    longer = np.zeros(6)
    longer[1] = 0.0001  # of pair a that at the left, seen from the front
    moved = np.linalg.solve(rows, longer)
    assert moved[:3] * 1e6 == pytest.approx([83.33, -69.44, -19.00], abs=6e-3)
    assert moved[3:] * 1e3 == pytest.approx([0, 1.520, -1.389], abs=6e-4)


#: Everything gives way; belts and idlers without mass, motors on straight enough magnets, nothing rubs.
SOFT = STATED | MOTORS | {
    "detail": "full", "delta.arm_stiffness_n_per_mm": 2000, "delta.arm_mass_g": 15, "delta.arm_damping": 0.01,
    "carriage.guide": "rail-12", "carriage.blocks": 2, "carriage.stiffness_n_per_mm": 3000,
    "carriage.stiffness_nm_per_rad": 100, "carriage.friction_n": 0, "carriage.damping": 0, "frame.part": "slot-2040",
    "frame.joints": "plates", "frame.damping": 0, "frame.height_mm": 700, "feet.part": "feet-hard", "feet.damping": 0,
    "belts.damping": 0.03,
}  # fmt: skip


class Energies:
    """The machine's stored energy, losses and mass from its places, stiffness by stiffness. Coordinates as the engine's."""

    def __init__(self, machine: Machine) -> None:
        self.machine, self.radius_m, self.pull = (
            machine,
            machine.wheels["motor A"].radius_m,
            MOTORS["motors.holding_torque_nm"],
        )
        names = ["base", "frame", "carriage a", "carriage b", "carriage c", "effector"]
        self.start = {name: 3 + 6 * k for k, name in enumerate(names)}
        self.n = 3 + 6 * len(names)
        design, (base, frame) = machine.design, (machine.body(name) for name in names[:2])
        self.feet = [self.at("base", p) for p in machine.feet_points]
        point = machine.frame_point
        self.top = np.vstack([self.at("frame", point) - self.at("base", point), self.turn("frame") - self.turn("base")])
        self.arms, self.belts, self.guides = [], [], []
        self.mass = np.diag([design.motors["a"].rotor_inertia_kg_m2] * 3 + [0.0] * (self.n - 3))
        self.weight = np.zeros(self.n)
        for name in names:
            body, at = machine.body(name), self.start[name]
            self.mass[at : at + 3, at : at + 3] += body.mass_kg * np.eye(3)
            self.mass[at + 3 : at + 6, at + 3 : at + 6] += body.moments
            self.weight[at + 2] -= G * body.mass_kg
        for b in (b for b in machine.bodies if b.name == "bed"):  # bolted to the base
            rows = self.at("base", b.centre)
            self.mass += b.mass_kg * rows.T @ rows + self.turn("base").T @ b.moments @ self.turn("base")
            self.weight -= G * b.mass_kg * rows[2]
        for k, e in enumerate(ROUND):
            self._tower(k, np.array([*e, 0.0]))
        assert base.mass_kg > 0
        assert frame.mass_kg > 0

    def at(self, body: str, point) -> Array:
        """Rows (3, n) of u + phi x r."""
        r = np.array(point) - np.array(self.machine.body(body).centre)
        rows, k = np.zeros((3, self.n)), self.start[body]
        rows[:, k : k + 3] = np.eye(3)
        rows[:, k + 3 : k + 6] = [[0, r[2], -r[1]], [-r[2], 0, r[0]], [r[1], -r[0], 0]]
        return rows

    def turn(self, body: str) -> Array:
        rows, k = np.zeros((3, self.n)), self.start[body] + 3
        rows[:, k : k + 3] = np.eye(3)
        return rows

    def _tower(self, k: int, out: Array) -> None:
        name, side, design = f"carriage {'abc'[k]}", np.array([out[1], -out[0], 0.0]), self.machine.design
        spec, place = design.arms, self.machine.body(name).place
        joint_z = self.machine.middle[2] + spec.joints_above_nozzle_m
        for s in (-0.5, 0.5):  # arms: uniform rods between their joints
            low = spec.effector_radius_m * out + s * spec.spacing_m * side + [0, 0, joint_z]
            near = spec.tower_radius_m - spec.carriage_offset_m
            high = near * out + s * spec.spacing_m * side + [0, 0, joint_z + np.sqrt(ARM_M**2 - SPAN_M**2)]
            a, b = self.at(name, high), self.at("effector", low)
            self.mass += spec.arm_mass_kg / 3 * (a.T @ a + b.T @ b + 0.5 * (a.T @ b + b.T @ a))
            self.weight -= G * spec.arm_mass_kg / 2 * (a[2] + b[2])
            self.arms.append((low - high, b - a))
        # Blocks on a rail that turns with the frame, one above the other.
        slide = (self.at(name, place.point) - self.at("frame", place.point))[2]
        for up in (-0.5, 0.5):
            at = np.array(place.point) + np.array([0.0, 0.0, up * place.spacing_m])
            self.guides.append((self.at(name, at) - self.at("frame", at), self.turn(name) - self.turn("frame"),
                                self.turn("frame"), slide))  # fmt: skip
        # The belt: upright strands right and left of the shaft, r from it; a motor turns against the base.
        belt, wheels = self.machine.belts[k], self.machine.wheels
        pulley, idler = (np.array(wheels[w.wheel].centre) for w in belt.wraps)
        up, r = np.array([0.0, 0.0, 1.0]), wheels[belt.wraps[0].wheel].radius_m
        spin = np.eye(self.n)[k] + out @ self.turn("base")
        lower = up @ (self.at(name, belt.start.point) - self.at("base", pulley + r * side))
        upper = up @ (self.at("frame", idler + r * side) - self.at(name, belt.end.point)
                      + self.at("frame", idler - r * side) - self.at("base", pulley - r * side))  # fmt: skip
        below, above = belt.start.point[2] - pulley[2], idler[2] - pulley[2] + idler[2] - belt.end.point[2]
        self.belts.append((lower, lower - r * spin, below, spin))
        self.belts.append((upper, upper + r * spin, above + np.pi * r, spin))

    def stored(self, q: Array, theta: Array) -> Array:
        """Stored energy at q (..., n), complex or real, J."""
        machine, out = self.machine, -q @ self.weight
        feet, spec = machine.design.feet, machine.design.arms
        for rows in self.feet:
            u = q @ rows.T
            out = out + 0.5 * (u**2) @ np.array([feet.sideways_n_m, feet.sideways_n_m, feet.vertical_n_m])
        d = q @ self.top.T
        out = out + 0.5 * np.einsum("...i,ij,...j->...", d, machine.frame_stiffness, d)
        for start, rows in self.arms:
            d = start + q @ rows.T
            out = out + 0.5 * spec.arm_stiffness_n_m * (np.sqrt((d * d).sum(axis=-1)) - ARM_M) ** 2
        guide = machine.design.carriage.guide
        for across, turned, leans, slide in self.guides:
            phi = q @ leans.T
            lean = np.stack([phi[..., 1], -phi[..., 0]], axis=-1)  # of the rail, phi x Z
            d = (q @ across.T)[..., :2] - (q @ slide)[..., None] * lean
            out = out + 0.5 * guide.stiffness_n_m * (d * d).sum(axis=-1)
            out = out + 0.5 * guide.stiffness_nm_rad * ((q @ turned.T) ** 2).sum(axis=-1)
        belt = machine.belts[0].spec
        for path, stretch, length, _ in self.belts:
            x, whole = q @ stretch, length + q @ path
            out = out + belt.pretension_n * x + 0.5 * belt.ea_n * x * x / whole
        teeth = machine.design.motors["a"].rotor_teeth
        for k in range(3):
            out = out - self.pull / teeth * np.cos(teeth * (q @ self.belts[2 * k][3] - theta[k]))
        return out

    def lost(self, q: Array, v: Array, arm_n_s_m: float, lag_s: float) -> Array:
        """Half of the power lost, v (..., n), W: belts and arms."""
        out, belt = 0.0 * v[..., 0], self.machine.belts[0].spec
        for path, stretch, length, _ in self.belts:
            out = out + 0.5 * lag_s * belt.ea_n / (length + q @ path) * (v @ stretch) ** 2
        for start, rows in self.arms:
            d = start + rows @ q
            out = out + 0.5 * arm_n_s_m * (v @ rows.T @ d) ** 2 / (d @ d)
        return out

    def force(self, q: Array, v: Array, theta: Array, losses: tuple[float, float]) -> Array:
        """- dV/dq - dR/dv by complex steps, (n,)."""
        step = 1e-30j * np.eye(self.n)
        return np.asarray(-(self.stored(q + step, theta).imag + self.lost(q, v + step, *losses).imag) / 1e-30)


def without_belt_mass(changes) -> Machine:
    machine = machine_of(bare("delta", changes))
    light = tuple(replace(b, spec=replace(b.spec, mass_kg_m=0.0)) for b in machine.belts)
    return replace(machine, belts=light, wheels={k: replace(w, inertia_kg_m2=0.0) for k, w in machine.wheels.items()})


def peer(energies: Energies, path: Path, times: Array, losses: tuple[float, float], end: float) -> Array:
    """Coordinates (k, n) at times from rest, by DOP853 restarted at every break of the path."""
    first = heights(energies.machine.middle)

    def theta(t: float, piece: int) -> tuple[Array, Array]:
        tool, speed = path.at(t, piece)
        return (heights(tool) - first) / energies.radius_m, slopes(tool) @ speed / energies.radius_m

    n, q = energies.n, np.zeros(energies.n)
    q[:3] = theta(0.0, 0)[0]
    for k in range(3):
        q[energies.start[f"carriage {'abc'[k]}"] + 2] = energies.radius_m * q[k]
    at = energies.start["effector"]
    q[at : at + 3] = path.at(0.0, 0)[0] - energies.machine.middle
    still = np.zeros(n)
    for _ in range(30):  # Newton on differences of its own forces
        jacobian = np.stack(
            [(energies.force(q + e, still, theta(0.0, 0)[0], losses) - energies.force(q - e, still, theta(0.0, 0)[0], losses))
             / 2e-6 for e in 1e-6 * np.eye(n)], axis=1,
        )  # fmt: skip
        q = q - np.linalg.solve(jacobian, energies.force(q, still, theta(0.0, 0)[0], losses))
    inverse, y, out = np.linalg.inv(energies.mass), np.concatenate([q, still]), np.empty((len(times), n))
    for piece, (t0, t1) in enumerate(path.pieces()):
        t1 = min(t1, end)
        if t1 <= t0:
            break

        def rate(t: float, y: Array, piece: int = piece) -> Array:
            return np.concatenate([y[n:], inverse @ energies.force(y[:n], y[n:], theta(t, piece)[0], losses)])

        inside = np.flatnonzero((times >= t0 - 1e-9) & (times <= t1 + 1e-9))
        wanted = np.unique(np.append(np.clip(times[inside], t0, t1), t1))
        found = solve_ivp(rate, (t0, t1), y, method="DOP853", t_eval=wanted, rtol=1e-9, atol=1e-12)
        assert found.success, found.message
        out[inside] = found.y.T[np.searchsorted(wanted, np.clip(times[inside], t0, t1))][:, :n]
        y = found.y[:, -1]
    return out


def test_motion_against_an_integrator():
    machine = without_belt_mass(SOFT)
    system, energies, path = build_model(machine), Energies(machine), z_step()
    assert tuple(f"rotor {t}" for t in "abc") == system.dof_names[:3]
    assert {name: system.dof_names.index(f"{name} x") for name in energies.start} == energies.start
    assert system.mass == pytest.approx(energies.mass, abs=1e-15)
    losses = (system.arms[0].damping_n_s_m, system.runs[0].lag_s)
    (times, q, _), (_, rough, _) = (engine(system, path, step) for step in (25e-6, longest_step(system, 1e-3)))
    kept = times <= END_S + 1e-9
    found = peer(energies, path, times[kept], losses, END_S)
    assert np.abs(q[kept][:, 3:] - found[:, 3:]).max() < 1e-11
    # At the step a run takes, the undamped turning of the carriages on their guides is what errs.
    assert system.tool_at(rough[kept]) == pytest.approx(system.tool_at(found), abs=1e-9)
    # It moved, and everything gave way: carriages turn on their guides, the platform tilts.
    assert np.ptp(system.tool_at(q[kept])[:, 2]) > 2e-3
    names = ("base x", "frame y", "carriage b about x", "effector about x", "effector about z")
    assert min(np.ptp(q[kept][:, system.dof_names.index(n)]) for n in names) > 1e-7


def test_both_loops_are_one():
    system, path = build_model(without_belt_mass(SOFT)), z_step()
    (_, fast, _), (_, slow, _) = (engine(system, path, 1.25e-4, loop) for loop in ("generated", "reference"))
    assert np.abs(fast - slow).max() < 1e-9
    assert system.tool_at(fast) == pytest.approx(system.tool_at(slow), abs=1e-12)


def apart(times_wider: float) -> float:
    """Largest difference of the tool between full and simple with all but belts, motors and arms rigid, m."""
    stiff = STATED | MOTORS | {"delta.arm_damping": 0, "belts.damping": 0.03}
    tools = []
    for detail in ("simple", "full"):
        machine = machine_of(bare("delta", stiff | {"detail": detail}))
        wide = tuple(replace(a, apart_m=times_wider * a.apart_m) for a in machine.arms)
        system = build_model(replace(machine, arms=wide))
        assert system.n == (9 if detail == "simple" else 12)
        _, q, _ = engine(system, z_step(), 5e-5)
        tools.append(system.tool_at(q))
    assert np.ptp(tools[0][:, 2]) > 4e-3
    return float(np.abs(tools[1] - tools[0]).max())


def test_wide_pairs_bring_full_to_simple():
    # What holds the platform level goes with the spacing squared: 4.6 um, 49 nm and 0.49 nm were measured.
    near, wide, wider = (apart(times) for times in (1.0, 10.0, 100.0))
    assert wide < near / 50
    assert wider < wide / 50
