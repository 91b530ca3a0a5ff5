"""Printing what pushes: each element's arithmetic once, and its share of every coordinate's force."""

from __future__ import annotations

import numpy as np

from ..model.joints import JointElement
from ..model.kinematics import crossed
from ..model.motor import winding_s
from ..model.system import Array, FrictionElement, RunElement, System
from .print_rods import print_rods
from .printer import Printer, family, packed, print_family, taken_apart, term, total

#: Signed terms of the force on each coordinate.
Terms = list[list[tuple[str, str]]]


class Names:
    """Names of the coordinates, speeds and commands inside a stage."""

    def __init__(self, system: System) -> None:
        n, m = system.n, len(system.motors)
        self.q = [f"x{i}" for i in range(n)]
        self.v = [f"u{i}" for i in range(n)]
        self.th = [f"th{j}" for j in range(m)]
        self.om = [f"om{j}" for j in range(m)]


def print_forces(pr: Printer, system: System) -> None:
    """Lines that set f0 ... f(n-1) from x, u, th, om, am and the bristles, at one stage; `print_slides` goes before."""
    names = Names(system)
    forces: Terms = [[] for _ in range(system.n)]
    _runs(pr, system, names, forces)
    _arms(pr, system, names, forces)
    _motors(pr, system, names, forces)
    _frictions(pr, system, forces)
    for number, joint in enumerate(system.joints):
        _joint(pr, number, joint, names, forces)
    for d in range(system.n):
        for e in np.flatnonzero((system.stiffness[d] != 0.0) | (system.damping[d] != 0.0)):
            if system.stiffness[d, e] != 0.0:
                forces[d].append(("+", f"{pr.p(-system.stiffness[d, e])} * x{e}"))
            if system.damping[d, e] != 0.0:
                forces[d].append(("+", f"{pr.p(-system.damping[d, e])} * u{e}"))
        if system.gravity[d] != 0.0:
            forces[d].append(("+", pr.p(system.gravity[d])))
        pr.add(f"f{d} = {total(forces[d])}")


def _spread(pr: Printer, forces: Terms, row: Array, name: str, sign: float = 1.0) -> None:
    """Add sign * row * name to the forces."""
    for d, value in enumerate(row.tolist()):
        if value != 0.0:
            forces[d].append(term(name, sign * value, pr))


def _runs(pr: Printer, system: System, names: Names, forces: Terms) -> None:
    """Belt runs. Their rows are much alike: a stretch is its run's change of length and the turn of a pulley, two runs of
    one belt are nearly opposite; so each row is printed as another one and the difference, and forces come back that way."""
    runs, n, m = system.runs, system.n, len(system.motors)
    stretch = [np.concatenate([run.row, run.command_row]) for run in runs]
    reach = [np.concatenate([run.length_row, np.zeros(m)]) for run in runs]
    count = len(runs)
    rows = family(reach + stretch)
    print_family(pr, rows, [f"{c}_{i}" for c in "lx" for i in range(count)], names.q + names.th)
    print_family(pr, family(stretch), [f"v_{i}" for i in range(count)], names.v + names.om)
    for mine in pr.alike(count):
        _pulls(pr, [runs[i] for i in mine], mine)
    pulls = [[("+", f"e{i}")] for i in range(count)] + [[("-", f"t{i}")] for i in range(count)]
    for i in reversed(range(2 * count)):
        row = rows[i]
        name = f"n_{i}"
        pr.add(f"{name} = {total(pulls[i])}")
        if row.parent is not None:
            pulls[row.parent].append(("+" if row.sign > 0 else "-", name))
        _spread(pr, forces, row.rest[:n], name)


def _pulls(pr: Printer, runs: list[RunElement], numbers: range) -> None:
    """Tension t and half the strain's energy e of runs of those numbers, whose l, x and v are known."""
    at = numbers[0]
    change, stretch, speed = (packed([f"{c}_{i}" for i in numbers]) for c in "lxv")
    pr.add(f"g{at} = 1.0 / ({pr.row([run.length_m for run in runs])} + {change})")
    # What the division does not need stands beside it, not behind it: a stage is as slow as its longest chain.
    t0, ea = pr.row([run.pretension_n for run in runs]), pr.row([run.ea_n for run in runs])
    lag, slack = (
        pr.row([run.ea_n * run.lag_s for run in runs]),
        pr.row([-run.pretension_n / run.ea_n for run in runs]),
    )
    pr.add(f"xs{at} = {stretch}")
    pulls = f"max({t0} + ({ea} * xs{at} + {lag} * {speed}) * g{at}, 0.0)"
    pr.add(f"{taken_apart([f't{i}' for i in numbers])} = {pulls}")
    pr.add(f"b_{at} = max(xs{at} * g{at}, {slack})")
    pr.add(f"{taken_apart([f'e{i}' for i in numbers])} = (0.5 * {ea}) * (b_{at} * b_{at})")


def _arms(pr: Printer, system: System, names: Names, forces: Terms) -> None:
    """Arms: their direction is that of the moment, so each takes one root; a reciprocal serves the direction."""
    for i, arm in enumerate(system.arms):
        d, s = [f"ad{i}{a}" for a in "xyz"], [f"as{i}{a}" for a in "xyz"]
        for a in range(3):
            pr.add(f"{d[a]} = {pr.p(arm.start[a])} + ({pr.dot(arm.row[a], names.q)})")
            pr.add(f"{s[a]} = {pr.dot(arm.row[a], names.v)}")
        root = "sqrt" if pr.straight else "math.sqrt"
        pr.add(f"an{i} = {root}({d[0]} * {d[0]} + ({d[1]} * {d[1]} + {d[2]} * {d[2]}))")
        pr.add(f"ar{i} = 1.0 / an{i}")
        speed = f"({d[0]} * {s[0]} + ({d[1]} * {s[1]} + {d[2]} * {s[2]})) * ar{i}"
        stretch = f"{pr.p(arm.stiffness_n_m)} * (an{i} - {pr.p(arm.length_m)})"
        pr.add(f"ap{i} = ({stretch} + {pr.p(arm.damping_n_s_m)} * ({speed})) * ar{i}")
        for a in range(3):
            pr.add(f"af{i}{'xyz'[a]} = -ap{i} * {d[a]}")
            _spread(pr, forces, arm.row[a], f"af{i}{'xyz'[a]}")


def _motors(pr: Printer, system: System, names: Names, forces: Terms) -> None:
    tensions = [f"t{i}" for i in range(len(system.runs))]
    real = [(j, m, m.row, m.spec) for j, m in enumerate(system.motors) if m.row is not None and m.spec is not None]
    for j, motor in enumerate(system.motors):
        if motor.row is None or motor.spec is None:
            # An ideal motor gives whatever its belts ask for.
            pr.add(f"m{j} = {pr.dot(np.array([run.command_row[j] for run in system.runs]), tensions)}")
    for j, motor, row, spec in real:
        pr.add(f"l{j} = {pr.dot(row, names.q)} - th{j}")
        pr.add(f"r{j} = {pr.p(spec.rotor_teeth)} * l{j}")
        if motor.detent_nm != 0.0:
            pr.add(f"n{j} = {pr.p(4.0 * spec.rotor_teeth)} * (l{j} + th{j})")
    angles = [f"r{j}" for j, *_ in real] + [f"n{j}" for j, motor, *_ in real if motor.detent_nm != 0.0]
    for mine in pr.alike(len(angles)):
        _sines(pr, [angles[i] for i in mine], len(real) - mine[0])
    for j, motor, row, spec in real:
        torque = f"-am{j} * sine_r{j}"
        if motor.damping_nm_s != 0.0:
            pr.add(f"s{j} = {pr.dot(row, names.v)} - om{j}")
            pr.add(f"h{j} = s{j} * {pr.p(winding_s(spec))}")
            torque += f" - ({pr.p(motor.damping_nm_s)} * s{j}) * in_r{j} / (1.0 + h{j} * h{j})"
        if motor.detent_nm != 0.0:
            torque += f" - {pr.p(motor.detent_nm)} * sine_n{j}"
        pr.add(f"m{j} = {torque}")
        _spread(pr, forces, row, f"m{j}")


def _sines(pr: Printer, angles: list[str], drawn: int) -> None:
    """Lines that set sine_x to the sine of each angle x, and in_x to max(0, cos x) of the first `drawn` of them."""
    at = packed(angles)
    name = f"o_{angles[0]}"
    pr.add(f"{taken_apart([f'sine_{x}' for x in angles])} = {_sine(pr, at, name)}")
    if drawn > 0:
        pr.add(f"{taken_apart([f'in_{x}' for x in angles])} = {_in_step(pr, at, name)}")


def _sine(pr: Printer, angle: str, name: str) -> str:
    """Name or text of the sine of an angle: a call, or the same series without branches in a straight block."""
    if not pr.straight:
        return f"sine({angle})"
    pr.add(f"{name}a = {angle}")
    pr.add(f"{name}k = floor({name}a * 0.3183098861837907 + 0.5)")
    pr.add(f"{name}x = ({name}a - {name}k * 3.1415926535897931) - {name}k * 1.2246467991473532e-16")
    pr.add(f"{name}s = {name}x * {name}x")
    pr.add(f"{name}q = {name}s * {name}s")
    pr.add(f"{name}l = 8.3333333333333333e-3 + {name}s * -1.9841269841269841e-4")
    pr.add(f"{name}l0 = (1.0 + {name}s * -1.6666666666666666e-1) + {name}q * {name}l")
    low = f"2.7557319223985893e-6 + {name}s * -2.5052108385441719e-8"
    late = f"(1.6059043836821613e-10 + {name}s * -7.6471637318198164e-13) + {name}q * 2.8114572543455206e-15"
    pr.add(f"{name}h = ({low}) + {name}q * ({late})")
    odd = f"{name}k - 2.0 * floor({name}k * 0.5)"
    pr.add(f"{name}f = 1.0 - 2.0 * ({odd})")
    pr.add(f"{name} = {name}f * {name}x * ({name}l0 + {name}q * {name}q * {name}h)")
    return name


def _in_step(pr: Printer, angle: str, name: str) -> str:
    """Text or name of max(0, cos angle): a call, or the same series in a straight block, after `_sine` of that name."""
    if not pr.straight:
        return f"in_step({angle})"
    s, q = f"{name}s", f"{name}q"
    low = f"(1.0 + {s} * -0.5) + {q} * (4.1666666666666664e-2 + {s} * -1.3888888888888889e-3)"
    high = f"(2.4801587301587302e-5 + {s} * -2.7557319223985893e-7)"
    pr.add(f"{name}c = {high} + {q} * (2.0876756987868098e-9 + {s} * -1.1470745597729725e-11)")
    cosine = f"({low}) + {q} * {q} * ({name}c + {q} * {q} * 4.7794773323873853e-14)"
    pr.add(f"{name}i = max({name}f * ({cosine}), 0.0)")
    return f"{name}i"


def print_slides(pr: Printer, system: System) -> None:
    """Lines that set v0 ... to the sliding speed of each guide with friction."""
    for k, f in enumerate(system.frictions):
        pr.add(f"v{k} = {pr.dot(f.row, Names(system).v)}")


def _frictions(pr: Printer, system: System, forces: Terms) -> None:
    for k, f in enumerate(system.frictions):
        rate = f"abs(v{k}) * y_{k}"
        pr.add(f"b{k} = {pr.p(f.sigma0_n_m)} * zs{k} + {pr.p(f.sigma1_n_s_m)} * (v{k} - {rate} * zs{k})")
        _spread(pr, forces, f.row, f"b{k}", -1.0)


def print_level(pr: Printer, k: int, f: FrictionElement, speed: str, indent: int) -> None:
    """sigma0 / g at a speed of guide k: constant for plain Coulomb friction, else by the Stribeck curve."""
    if f.static_n == f.coulomb_n:
        pr.add(f"y_{k} = {pr.p(f.sigma0_n_m / f.coulomb_n)}", indent)
    else:
        pr.add(f"yc{k} = {speed} * {pr.p(1.0 / f.stribeck_m_s)}", indent)
        level = f"({pr.p(f.coulomb_n)} + {pr.p(f.static_n - f.coulomb_n)} * decay(yc{k} * yc{k}))"
        pr.add(f"y_{k} = {pr.p(f.sigma0_n_m)} / {level}", indent)


def _joint(pr: Printer, j: int, joint: JointElement, names: Names, forces: Terms) -> None:
    """One joint: deflection, force, and what the slide adds, exactly as `JointElement.force`."""
    d = [f"j{j}d{i}" for i in range(6)]
    r = [f"j{j}r{i}" for i in range(6)]
    for i in range(6):
        # A guide's translations are printed as they come; its deflection follows with the slide taken out.
        raw = "" if joint.axis is None or i > 2 else "0"
        pr.add(f"{d[i]}{raw} = {pr.dot(joint.row[i], names.q)}")
        pr.add(f"{r[i]}{raw} = {pr.dot(joint.row[i], names.v)}")
    lean: dict[int, str] = {}
    if joint.axis is not None:
        s, speed = f"j{j}s", f"j{j}p"
        pr.add(f"{s} = {d[joint.axis]}0")
        pr.add(f"{speed} = {r[joint.axis]}0")
        e = np.eye(3)[joint.axis]
        for p in (p for p in range(3) if p != joint.axis):
            # (phi_A x e)_p = sum over phi of the matrix -[e]x
            row = np.array([crossed(unit, e)[p] for unit in np.eye(3)]) @ joint.turn_a
            lean[p] = f"j{j}l{p}"
            pr.add(f"{lean[p]} = {pr.dot(row, names.q)}")
            pr.add(f"{r[p]} = {r[p]}0 - {speed} * {lean[p]} - {s} * ({pr.dot(row, names.v)})")
            pr.add(f"{d[p]} = {d[p]}0 - {s} * {lean[p]}")
    f: list[list[tuple[str, str]]] = [[] for _ in range(6)]
    stiffness, damping = joint.stiffness.tolist(), joint.damping.tolist()
    for i in range(6):
        for k in range(6):
            if joint.axis is not None and joint.axis in (i, k):
                continue
            if stiffness[i][k] != 0.0:
                f[i].append(("+", f"{pr.p(stiffness[i][k])} * {d[k]}"))
            if damping[i][k] != 0.0:
                f[i].append(("+", f"{pr.p(damping[i][k])} * {r[k]}"))
    curve = print_rods(pr, j, joint, d, f)
    for i in range(6):
        if i != joint.axis:
            pr.add(f"j{j}f{i} = {total(f[i])}")
    if joint.axis is not None:
        along = [("-", f"j{j}f{p} * {name}") for p, name in lean.items()] + curve
        pr.add(f"j{j}f{joint.axis} = {total(along)}")
        for i in range(3):
            # torque s (e x F) on A
            parts = [(float(crossed(e, np.eye(3)[p])[i]), p) for p in lean]
            parts = [(sign, p) for sign, p in parts if sign != 0.0]
            if parts and np.any(joint.turn_a[i]):
                sign, p = parts[0]
                pr.add(f"j{j}t{i} = {'' if sign > 0 else '-'}j{j}s * j{j}f{p}")
                _spread(pr, forces, joint.turn_a[i], f"j{j}t{i}")
    for i in range(6):
        _spread(pr, forces, joint.row[i], f"j{j}f{i}", -1.0)
