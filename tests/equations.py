"""The equations of motion written a second time, from the System's arrays, for integrators we did not write.

They share nothing with the step loops. They are compiled because an integrator asks for them some hundred thousand times.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from beltspring.sim.compiled import compiled
from beltspring.sim.model.joints import JointElement
from beltspring.sim.model.shafts import Shaft
from beltspring.sim.model.statics import equilibrium
from beltspring.sim.model.system import System
from scipy.integrate import solve_ivp

from tests.support import Array, EvenMotion

#: The flexibility of a rod at its bushings is a polynomial of this degree in their place.
DEGREE = 6


@compiled
def _belts_and_motors(
    q: Any, v: Any, theta: Any, omega: Any, runs: Any, motors: Any, linear_drag: bool, out: Any
) -> None:
    """Add the generalised force (n,) of belts and motors at coordinates q and speeds v, commanded angles and speeds (m,)."""
    rows, feeds, reach, given = runs
    for i in range(len(given)):
        free, ea, taut, lag = given[i, 0], given[i, 1], given[i, 2], given[i, 3]
        x, stretching, length = 0.0, 0.0, free
        for k in range(len(theta)):
            x += feeds[i, k] * theta[k]
            stretching += feeds[i, k] * omega[k]
        for k in range(len(q)):
            x += rows[i, k] * q[k]
            stretching += rows[i, k] * v[k]
            length += reach[i, k] * q[k]
        tension = max(0.0, taut + ea * (x + lag * stretching) / length)
        strain = max(x / length, -taut / ea)
        for k in range(len(q)):
            out[k] += 0.5 * ea * strain * strain * reach[i, k] - tension * rows[i, k]
    turns, number, given = motors
    for i in range(len(given)):
        teeth, pull, drag, detent, winding = given[i, 0], given[i, 1], given[i, 2], given[i, 3], given[i, 4]
        turn, spin = 0.0, 0.0
        for k in range(len(q)):
            turn += turns[i, k] * q[k]
            spin += turns[i, k] * v[k]
        off, slip = turn - theta[number[i]], spin - omega[number[i]]
        torque = -pull * math.sin(teeth * off) - detent * math.sin(4 * teeth * turn)
        if linear_drag:
            torque -= drag * slip
        else:
            torque -= drag * slip * max(0.0, math.cos(teeth * off)) / (1 + (slip * winding) * (slip * winding))
        for k in range(len(q)):
            out[k] += torque * turns[i, k]


@compiled
def _stiff(s: float, flexible: Any, bushing: float, rods: Any, d: Any, pull: Any) -> Any:
    """Add K d of rods, return d'K'd / 2: K = (F + 1/k)^-1 and K' = -K F' K at two bushings, F a polynomial in s."""
    a, b, c, da, db, dc = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    for k in range(len(flexible)):
        da, db, dc = da * s + a, db * s + b, dc * s + c
        a, b, c = a * s + flexible[k, 0], b * s + flexible[k, 1], c * s + flexible[k, 2]
    a, c = a + 1 / bushing, c + 1 / bushing
    det, along = a * c - b * b, 0.0
    for rod in range(len(rods)):
        x, y = 0.0, 0.0
        for i in range(6):
            x += rods[rod, 0, i] * d[i]
            y += rods[rod, 1, i] * d[i]
        x, y = (c * x - b * y) / det, (a * y - b * x) / det
        along -= 0.5 * (da * x * x + 2 * db * x * y + dc * y * y)
        for i in range(6):
            pull[i] += rods[rod, 0, i] * x + rods[rod, 1, i] * y
    return along


@compiled
def _joints(q: Any, v: Any, fixed: Any, rods: Any, out: Any) -> None:
    """Add the force of feet, frame and guides (PHYSICS.md 6.2): d = d0 - s phi_A x e without its part along e,
    V = d'K(s)d / 2, so -T'(K d + D T v) - d'K'(s)d / 2 along the slide, T = dd/dq."""
    n = len(q)
    row, turn, axis, beside, damping = fixed
    at, flexible, bushing = rods
    d, rate, pull, t, phi = np.empty(6), np.empty(6), np.empty(6), np.empty((6, n)), np.empty(3)
    for j in range(len(axis)):
        a = axis[j]
        for i in range(6):
            d[i] = 0.0
            for k in range(n):
                d[i] += row[j, i, k] * q[k]
                t[i, k] = row[j, i, k]
        s = d[a] if a >= 0 else 0.0
        if a >= 0:
            for i in range(3):
                phi[i] = 0.0
                for k in range(n):
                    phi[i] += turn[j, i, k] * q[k]
            b, c = (a + 1) % 3, (a + 2) % 3  # phi x e has phi_c along b and -phi_b along c
            d[b] -= s * phi[c]
            d[c] += s * phi[b]
            d[a] = 0.0
            for k in range(n):
                t[b, k] -= phi[c] * row[j, a, k] + s * turn[j, c, k]
                t[c, k] += phi[b] * row[j, a, k] + s * turn[j, b, k]
                t[a, k] = 0.0
        for i in range(6):
            rate[i] = 0.0
            for k in range(n):
                rate[i] += t[i, k] * v[k]
        for i in range(6):
            pull[i] = 0.0
            for k in range(6):
                pull[i] += beside[j, i, k] * d[k] + damping[j, i, k] * rate[k]
        along = _stiff(s, flexible[j], bushing[j], at[j], d, pull) if bushing[j] > 0.0 else 0.0
        for k in range(n):
            for i in range(6):
                out[k] -= pull[i] * t[i, k]
            if a >= 0:
                out[k] -= along * row[j, a, k]


@compiled
def _rate(
    after: float, y: Any, command: Any, frame: Any, runs: Any, motors: Any, slides: Any, joints: Any, plain: bool
) -> Any:
    """dy/dt so long after the start of a stretch. command: place off the middle, speed and acceleration then, (3, 3)."""
    travel, inertia, stiffness, damping, gravity, inverse = frame
    n, m = len(gravity), len(travel)
    theta, omega, out, force = np.zeros(m), np.zeros(m), np.empty(len(y)), gravity.copy()
    for j in range(m):
        for i in range(3):
            speed = command[1, i] + after * command[2, i]
            omega[j] += travel[j, i] * speed
            theta[j] += travel[j, i] * (command[0, i] + 0.5 * after * (command[1, i] + speed))
    q, v = y[:n], out[:n]
    for i in range(n):
        v[i] = y[n + i]
        for j in range(m):
            v[i] -= inertia[i, j] * omega[j]
    _belts_and_motors(q, v, theta, omega, runs, motors, plain, force)
    _joints(q, v, joints[0], joints[1], force)
    rows, given = slides
    for k in range(len(rows)):  # LuGre
        across = 0.0
        for i in range(n):
            across += rows[k, i] * v[i]
        z, by = y[2 * n + k], across / given[k, 2]
        bristle = across - given[k, 3] * abs(across) / (given[k, 0] + given[k, 1] * math.exp(-by * by)) * z
        out[2 * n + k] = bristle
        for i in range(n):
            force[i] -= (given[k, 3] * z + given[k, 4] * bristle) * rows[k, i]
    for i in range(n):
        for k in range(n):
            force[i] -= stiffness[i, k] * q[k] + damping[i, k] * v[k]
    for i in range(n):
        out[n + i] = 0.0
        for k in range(n):
            out[n + i] += inverse[i, k] * force[k]
    return out


def _flexible(shaft: Shaft | None) -> Array:
    """Coefficients (DEGREE + 1, 3) of the flexibility at both bushings, highest power first: F_11, F_12, F_22 against s."""
    if shaft is None:
        return np.zeros((DEGREE + 1, 3))
    places = 0.3 * shaft.span_m * np.cos(np.pi * (np.arange(DEGREE + 1) + 0.5) / (DEGREE + 1))
    f = np.array([shaft.influence(s)[0][[0, 0, 1], [0, 1, 1]] for s in places])
    return np.linalg.solve(np.vander(places), f)


class Equations:
    """The equations in first order.

    State y: q (n,), then w (n,) with q' = w - command_inertia omega_cmd, then one bristle a friction element. Motors hold
    their full torque K_t I: a move must stay below the speed at which the voltage limits it (`solve` checks that).
    """

    def __init__(self, system: System, linear_drag: bool = False) -> None:
        s = self.system = system
        self.n, self.shift = s.n, np.zeros(3)
        self.inverse = np.linalg.inv(s.mass)
        # linear_drag: against the command's speed at any lag and without limit, as it is for small motions in step.
        self.linear_drag = linear_drag
        self.runs = (
            _matrix([r.row for r in s.runs], s.n),
            _matrix([r.command_row for r in s.runs], len(s.motors)),
            _matrix([r.length_row for r in s.runs], s.n),
            _matrix([(r.length_m, r.ea_n, r.pretension_n, r.lag_s) for r in s.runs], 4),
        )
        real = [(j, m, m.spec) for j, m in enumerate(s.motors) if m.row is not None and m.spec is not None]
        self.real, self.specs = [j for j, _, _ in real], [spec for _, _, spec in real]
        # K_t I = T_h I / (sqrt 2 I_rated), both phases on at the rated current (Acarnley; Kenjo; from memory).
        self.pull = [
            spec.holding_torque_nm * spec.current_a / (np.sqrt(2) * spec.rated_current_a) for spec in self.specs
        ]
        winding = [spec.rotor_teeth * spec.inductance_h / spec.resistance_ohm for spec in self.specs]
        given = [
            (spec.rotor_teeth, pull, m.damping_nm_s, m.detent_nm, lag)
            for (_, m, spec), pull, lag in zip(real, self.pull, winding, strict=True)
        ]
        self.motors = (
            _matrix([m.row for _, m, _ in real], s.n),
            np.array(self.real, dtype=np.int64),
            _matrix(given, 5),
        )
        given = [
            (f.coulomb_n, f.static_n - f.coulomb_n, f.stribeck_m_s, f.sigma0_n_m, f.sigma1_n_s_m) for f in s.frictions
        ]
        self.slides = _matrix([f.row for f in s.frictions], s.n), _matrix(given, 5)
        self.frame = tuple(
            np.ascontiguousarray(a, float)
            for a in (s.motor_travel, s.command_inertia, s.stiffness, s.damping, s.gravity, self.inverse)
        )
        self.joints = self._joints_of(s.joints)

    def _joints_of(self, joints: Sequence[JointElement]) -> tuple[tuple[Array, ...], tuple[Array, ...]]:
        most = max((len(j.shaft_rows) for j in joints if j.shaft_rows is not None), default=0)
        at = np.zeros((len(joints), most, 2, 6))
        for k, j in enumerate(joints):
            if j.shaft_rows is not None:
                at[k, : len(j.shaft_rows)] = j.shaft_rows
        fixed = (
            np.array([j.row for j in joints]).reshape(-1, 6, self.n),
            np.array([j.turn_a for j in joints]).reshape(-1, 3, self.n),
            np.array([-1 if j.axis is None else j.axis for j in joints], dtype=np.int64),
            np.array([j.stiffness for j in joints]).reshape(-1, 6, 6),
            np.array([j.damping for j in joints]).reshape(-1, 6, 6),
        )
        rods = (
            at,
            np.array([_flexible(j.shaft) for j in joints]).reshape(-1, DEGREE + 1, 3),
            np.array([0.0 if j.shaft is None else j.shaft.bushing_n_m for j in joints]),
        )
        return fixed, rods

    def full_torque(self, omega: Array) -> None:
        """Fail unless every motor can hold its current at these speeds: (R I + K_t w)^2 + (N w L I)^2 < V^2."""
        for m, pull, w in zip(self.specs, self.pull, np.abs(omega[self.real]), strict=True):
            back = m.resistance_ohm * m.current_a + pull / m.current_a * w
            assert back**2 + (m.rotor_teeth * w * m.inductance_h * m.current_a) ** 2 < m.supply_v**2

    def rate(self, t: float, y: Array, move: EvenMotion) -> Array:
        """dy/dt under one stretch of the command."""
        command = np.array([move.p - self.system.middle, move.v, move.a])
        parts = (self.frame, self.runs, self.motors, self.slides, self.joints)
        return np.asarray(_rate(t - move.t0, y, command, *parts, self.linear_drag))

    def rest(self, move: EvenMotion) -> Array:
        """State at the start of a move, where the forces written here balance: detents and weight pull it off its command.

        The tool reads its commanded place there.
        """
        first = equilibrium(self.system, move.p)
        state = np.concatenate([first, np.zeros(self.n + len(self.system.frictions))])
        still = EvenMotion(move.t0, move.t0, move.p, np.zeros(3), np.zeros(3))
        assert np.abs(self.system.mass @ self.rate(0.0, state, still)[self.n : 2 * self.n]).max() < 1e-6
        self.shift = np.zeros(3)
        self.shift = self.tool(state[None])[0] - move.p
        return state

    def solve(self, motion: Sequence[EvenMotion], times: Array, rtol: float = 1e-10, method: str = "DOP853") -> Array:
        """State at `times`, (k, size), restarted at every jump of the command. scipy.integrate.solve_ivp."""
        s = self.system
        y = self.rest(motion[0])
        out = np.full((len(times), len(y)), np.nan)
        for move in motion:
            for t in (move.t0, move.t1):
                self.full_torque(s.motor_travel @ move.at(t)[1])
            inside = np.flatnonzero((times >= move.t0 - 1e-9) & (times <= move.t1 + 1e-9))
            marks = np.clip(times[inside], move.t0, move.t1)
            wanted = np.unique(np.append(marks, move.t1))
            found = solve_ivp(
                self.rate, (move.t0, move.t1), y, method=method, t_eval=wanted, args=(move,), rtol=rtol, atol=1e-14
            )
            assert found.success, found.message
            out[inside] = found.y.T[np.searchsorted(wanted, marks)]
            y = found.y[:, -1]
        assert not np.isnan(out).any()
        return out

    def tool(self, state: Array) -> Array:
        """Tool position (k, 3) of states (k, size), m."""
        s = self.system
        q = state[:, : self.n]
        r = q @ s.tool_rows.T
        return np.asarray(s.middle + r + np.cross(r, q @ s.work_turn.T) - self.shift)


def _matrix(rows: Sequence[Any], width: int) -> Array:
    """(k, width), and (0, width) of nothing."""
    return np.array(rows, float).reshape(-1, width)
