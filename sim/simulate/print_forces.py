"""Printing what pushes: each element's arithmetic once, and its share of every coordinate's force."""

from __future__ import annotations

import numpy as np

from ..model.joints import JointElement
from ..model.system import Array, FrictionElement, System
from .printer import Printer, shared, term, total

#: Signed terms of the force on each coordinate.
Terms = list[list[tuple[str, str]]]
STAGE = 3  # indent of the stage loop's body


class Names:
    """Names of the coordinates, speeds and commands inside a stage."""

    def __init__(self, system: System) -> None:
        n, m = system.n, len(system.motors)
        self.q = [f"x{i}" for i in range(n)]
        self.v = [f"u{i}" for i in range(n)]
        self.th = [f"th{j}" for j in range(m)]
        self.om = [f"om{j}" for j in range(m)]


def print_forces(pr: Printer, system: System) -> None:
    """Lines that set f0 ... f(n-1) from x, u, th, om and the bristles, at one stage."""
    names = Names(system)
    forces: Terms = [[] for _ in range(system.n)]
    _runs(pr, system, names, forces)
    _motors(pr, system, names, forces)
    _frictions(pr, system, names, forces)
    for number, joint in enumerate(system.joints):
        _joint(pr, number, joint, names, forces)
    for d in range(system.n):
        for e in range(system.n):
            if system.stiffness[d, e] != 0.0:
                forces[d].append(("+", f"{pr.p(-system.stiffness[d, e])} * x{e}"))
            if system.damping[d, e] != 0.0:
                forces[d].append(("+", f"{pr.p(-system.damping[d, e])} * u{e}"))
        if system.gravity[d] != 0.0:
            forces[d].append(("+", pr.p(system.gravity[d])))
        pr.add(f"f{d} = {total(forces[d])}", STAGE)


def _spread(pr: Printer, forces: Terms, row: Array, name: str, sign: float = 1.0) -> None:
    """Add sign * row * name to the forces."""
    for d, value in enumerate(row):
        if value != 0.0:
            forces[d].append(term(name, sign * float(value), pr))


def _runs(pr: Printer, system: System, names: Names, forces: Terms) -> None:
    runs = system.runs
    # Two runs of one loop strain by opposite amounts: such rows are printed once and used with their sign.
    stretch, stretch_sign = shared([np.concatenate([run.row, run.command_row]) for run in runs])
    reach, reach_sign = shared([run.length_row for run in runs])
    for i, row in enumerate(stretch):
        pr.add(f"x_{i} = {pr.dot(row, names.q + names.th)}", STAGE)
        pr.add(f"v_{i} = {pr.dot(row, names.v + names.om)}", STAGE)
    for i, row in enumerate(reach):
        pr.add(f"l_{i} = {pr.dot(row, names.q)}", STAGE)
    for i, run in enumerate(runs):
        (a, s_a), (b, s_b) = stretch_sign[i], reach_sign[i]
        pr.add(f"g{i} = 1.0 / ({pr.p(run.length_m)} {s_b} l_{b})", STAGE)
        pr.add(f"s{i} = {'' if s_a == '+' else '-'}x_{a} * g{i}", STAGE)
        t0, ea, lag = pr.p(run.pretension_n), pr.p(run.ea_n), pr.p(run.lag_s)
        pr.add(f"t{i} = max({t0} + {ea} * (s{i} {s_a} {lag} * v_{a} * g{i}), 0.0)", STAGE)
        slack = pr.p(-run.pretension_n / run.ea_n)
        pr.add(f"b_{i} = max(s{i}, {slack})", STAGE)
        pr.add(f"e{i} = 0.5 * {ea} * b_{i} * b_{i}", STAGE)
    for i, row in enumerate(stretch):
        pulling = [("-" if s == "+" else "+", f"t{k}") for k, (a, s) in enumerate(stretch_sign) if a == i]
        pr.add(f"n_{i} = {total(pulling)}", STAGE)
        _spread(pr, forces, row[: system.n], f"n_{i}")
    for i, row in enumerate(reach):
        pr.add(f"k_{i} = {total([(s, f'e{k}') for k, (a, s) in enumerate(reach_sign) if a == i])}", STAGE)
        _spread(pr, forces, row, f"k_{i}")


def _motors(pr: Printer, system: System, names: Names, forces: Terms) -> None:
    tensions = [f"t{i}" for i in range(len(system.runs))]
    for j, motor in enumerate(system.motors):
        if motor.row is None or motor.spec is None:
            # An ideal motor gives whatever its belts ask for.
            pr.add(f"m{j} = {pr.dot(np.array([run.command_row[j] for run in system.runs]), tensions)}", STAGE)
            continue
        speed = pr.dot(motor.row, names.v)
        pr.add(f"l{j} = {pr.dot(motor.row, names.q)} - th{j}", STAGE)
        teeth, drag = pr.p(motor.spec.rotor_teeth), pr.p(motor.damping_nm_s)
        torque = f"-AM[k, m, {j}] * sine({teeth} * l{j}) - {drag} * ({speed} - om{j})"
        if motor.detent_nm != 0.0:
            torque += f" - {pr.p(motor.detent_nm)} * sine({pr.p(4.0 * motor.spec.rotor_teeth)} * (l{j} + th{j}))"
        pr.add(f"m{j} = {torque}", STAGE)
        _spread(pr, forces, motor.row, f"m{j}")


def _frictions(pr: Printer, system: System, names: Names, forces: Terms) -> None:
    for k, f in enumerate(system.frictions):
        pr.add(f"v{k} = {pr.dot(f.row, names.v)}", STAGE)
        pr.add("if s == 0:", STAGE)
        print_level(pr, k, f, f"v{k}")
        rate = f"abs(v{k}) * y_{k}"
        pr.add(f"b{k} = {pr.p(f.sigma0_n_m)} * zs{k} + {pr.p(f.sigma1_n_s_m)} * (v{k} - {rate} * zs{k})", STAGE)
        _spread(pr, forces, f.row, f"b{k}", -1.0)


def print_level(pr: Printer, k: int, f: FrictionElement, speed: str) -> None:
    """sigma0 / g at a speed of guide k: constant for plain Coulomb friction, else by the Stribeck curve."""
    if f.static_n == f.coulomb_n:
        pr.add(f"y_{k} = {pr.p(f.sigma0_n_m / f.coulomb_n)}", STAGE + 1)
    else:
        pr.add(f"yc{k} = {speed} * {pr.p(1.0 / f.stribeck_m_s)}", STAGE + 1)
        level = f"({pr.p(f.coulomb_n)} + {pr.p(f.static_n - f.coulomb_n)} * decay(yc{k} * yc{k}))"
        pr.add(f"y_{k} = {pr.p(f.sigma0_n_m)} / {level}", STAGE + 1)


def _joint(pr: Printer, j: int, joint: JointElement, names: Names, forces: Terms) -> None:
    """One joint: deflection, force, and what the slide adds, exactly as `JointElement.force`."""
    d = [f"j{j}d{i}" for i in range(6)]
    r = [f"j{j}r{i}" for i in range(6)]
    for i in range(6):
        # A guide's translations are printed as they come; its deflection follows with the slide taken out.
        raw = "" if joint.axis is None or i > 2 else "0"
        pr.add(f"{d[i]}{raw} = {pr.dot(joint.row[i], names.q)}", STAGE)
        pr.add(f"{r[i]}{raw} = {pr.dot(joint.row[i], names.v)}", STAGE)
    lean: dict[int, str] = {}
    if joint.axis is not None:
        s, speed = f"j{j}s", f"j{j}p"
        pr.add(f"{s} = {d[joint.axis]}0", STAGE)
        pr.add(f"{speed} = {r[joint.axis]}0", STAGE)
        e = np.eye(3)[joint.axis]
        for p in (p for p in range(3) if p != joint.axis):
            # (phi_A x e)_p = sum over phi of the matrix -[e]x
            row = np.array([np.cross(np.eye(3)[i], e)[p] for i in range(3)]) @ joint.turn_a
            lean[p] = f"j{j}l{p}"
            pr.add(f"{lean[p]} = {pr.dot(row, names.q)}", STAGE)
            pr.add(f"{r[p]} = {r[p]}0 - {speed} * {lean[p]} - {s} * ({pr.dot(row, names.v)})", STAGE)
            pr.add(f"{d[p]} = {d[p]}0 - {s} * {lean[p]}", STAGE)
    f: list[list[tuple[str, str]]] = [[] for _ in range(6)]
    for i in range(6):
        for k in range(6):
            if joint.axis is not None and joint.axis in (i, k):
                continue
            if joint.stiffness[i, k] != 0.0:
                f[i].append(("+", f"{pr.p(joint.stiffness[i, k])} * {d[k]}"))
            if joint.damping[i, k] != 0.0:
                f[i].append(("+", f"{pr.p(joint.damping[i, k])} * {r[k]}"))
    curve = _shaft(pr, j, joint, d, f)
    for i in range(6):
        if i != joint.axis:
            pr.add(f"j{j}f{i} = {total(f[i])}", STAGE)
    if joint.axis is not None:
        along = [("-", f"j{j}f{p} * {name}") for p, name in lean.items()] + curve
        pr.add(f"j{j}f{joint.axis} = {total(along)}", STAGE)
        e = np.eye(3)[joint.axis]
        for i in range(3):
            # torque s (e x F) on A
            parts = [(float(np.cross(e, np.eye(3)[p])[i]), p) for p in lean]
            parts = [(sign, p) for sign, p in parts if sign != 0.0]
            if parts and np.any(joint.turn_a[i]):
                sign, p = parts[0]
                pr.add(f"j{j}t{i} = {'' if sign > 0 else '-'}j{j}s * j{j}f{p}", STAGE)
                _spread(pr, forces, joint.turn_a[i], f"j{j}t{i}")
    for i in range(6):
        _spread(pr, forces, joint.row[i], f"j{j}f{i}", -1.0)


def _shaft(
    pr: Printer, j: int, joint: JointElement, d: list[str], f: list[list[tuple[str, str]]]
) -> list[tuple[str, str]]:
    """Forces of rods on d, added to f; returns the terms of 1/2 d' K'(s) d."""
    shaft, sets = joint.shaft, joint.shaft_rows
    if shaft is None or sets is None:
        return []
    add, s, o = pr.add, f"j{j}s", f"j{j}o_"
    add(f"{o}a = {pr.p(shaft.before_m - shaft.spacing_m / 2)} + {s}", STAGE)
    add(f"{o}b = {pr.p(shaft.span_m - shaft.before_m + shaft.spacing_m / 2)} - {s}", STAGE)
    add(f"{o}a2 = {o}a + {pr.p(shaft.spacing_m)}", STAGE)
    add(f"{o}b2 = {o}b - {pr.p(shaft.spacing_m)}", STAGE)
    gain = 2.0 if shaft.ends == "clamped" else 1.0
    length, ei = shaft.span_m, shaft.bending_n_m2 * gain
    if shaft.ends == "built-in":
        c3, c1, c6 = pr.p(1 / (3 * length**3 * ei)), pr.p(1 / (length**3 * ei)), pr.p(1 / (6 * length**3 * ei))
        add(f"{o}f11 = {o}a * {o}a * {o}a * {o}b * {o}b * {o}b * {c3}", STAGE)
        add(f"{o}f22 = {o}a2 * {o}a2 * {o}a2 * {o}b2 * {o}b2 * {o}b2 * {c3}", STAGE)
        add(f"{o}h11 = {o}a * {o}a * {o}b * {o}b * ({o}b - {o}a) * {c1}", STAGE)
        add(f"{o}h22 = {o}a2 * {o}a2 * {o}b2 * {o}b2 * ({o}b2 - {o}a2) * {c1}", STAGE)
        three = pr.p(3 * length)
        add(f"{o}g = {o}a2 * {three} - 3.0 * {o}a2 * {o}a - {o}b2 * {o}a", STAGE)
        add(f"{o}f12 = {o}b2 * {o}b2 * {o}a * {o}a * {o}g * {c6}", STAGE)
        bent = f"({three} - 2.0 * {o}a - 3.0 * {o}a2 - {o}b2)"
        slope = f"(2.0 * {o}b2 * {o}a * ({o}b2 - {o}a)) * {o}g + {o}b2 * {o}b2 * {o}a * {o}a * {bent}"
        add(f"{o}h12 = ({slope}) * {c6}", STAGE)
    else:
        c3, c6 = pr.p(1 / (3 * length * ei)), pr.p(1 / (6 * length * ei))
        add(f"{o}f11 = {o}a * {o}a * {o}b * {o}b * {c3}", STAGE)
        add(f"{o}f22 = {o}a2 * {o}a2 * {o}b2 * {o}b2 * {c3}", STAGE)
        add(f"{o}h11 = 2.0 * {o}a * {o}b * ({o}b - {o}a) * {c3}", STAGE)
        add(f"{o}h22 = 2.0 * {o}a2 * {o}b2 * ({o}b2 - {o}a2) * {c3}", STAGE)
        add(f"{o}g = {pr.p(length**2)} - {o}b2 * {o}b2 - {o}a * {o}a", STAGE)
        add(f"{o}f12 = {o}b2 * {o}a * {o}g * {c6}", STAGE)
        add(f"{o}h12 = (({o}b2 - {o}a) * {o}g + 2.0 * {o}b2 * {o}a * ({o}b2 - {o}a)) * {c6}", STAGE)
    soft = pr.p(1 / shaft.bushing_n_m)
    add(f"{o}s1 = {o}f11 + {soft}", STAGE)
    add(f"{o}s2 = {o}f22 + {soft}", STAGE)
    add(f"{o}d = 1.0 / ({o}s1 * {o}s2 - {o}f12 * {o}f12)", STAGE)
    add(f"{o}k11 = {o}s2 * {o}d", STAGE)
    add(f"{o}k22 = {o}s1 * {o}d", STAGE)
    add(f"{o}k12 = -{o}f12 * {o}d", STAGE)
    curve = []
    for number, rows in enumerate(sets):
        add(f"{o}w{number} = {pr.dot(rows[0], d)}", STAGE)
        add(f"{o}v{number} = {pr.dot(rows[1], d)}", STAGE)
        one, two = f"{o}p{number}", f"{o}r{number}"
        add(f"{one} = {o}k11 * {o}w{number} + {o}k12 * {o}v{number}", STAGE)
        add(f"{two} = {o}k12 * {o}w{number} + {o}k22 * {o}v{number}", STAGE)
        for i in range(6):
            for name, value in ((one, rows[0, i]), (two, rows[1, i])):
                if value != 0.0:
                    f[i].append(term(name, float(value), pr))
        # 1/2 w' K' w with K' = -K F' K and p = K w the bushings' forces
        bent = f"{one} * {one} * {o}h11 + 2.0 * {one} * {two} * {o}h12 + {two} * {two} * {o}h22"
        add(f"{o}c{number} = -0.5 * ({bent})", STAGE)
        curve.append(("+", f"{o}c{number}"))
    return curve
