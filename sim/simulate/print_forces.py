"""Printing what pushes: each element's arithmetic once, and its share of every coordinate's force."""

from __future__ import annotations

import numpy as np

from ..model.joints import JointElement
from ..model.kinematics import crossed
from ..model.motor import winding_s
from ..model.shafts import Shaft, end_shares
from ..model.system import Array, FrictionElement, System
from .printer import NOISE, Printer, family, print_family, term, total

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
        for e in range(system.n):
            if system.stiffness[d, e] != 0.0:
                forces[d].append(("+", f"{pr.p(-system.stiffness[d, e])} * x{e}"))
            if system.damping[d, e] != 0.0:
                forces[d].append(("+", f"{pr.p(-system.damping[d, e])} * u{e}"))
        if system.gravity[d] != 0.0:
            forces[d].append(("+", pr.p(system.gravity[d])))
        pr.add(f"f{d} = {total(forces[d])}")


def _spread(pr: Printer, forces: Terms, row: Array, name: str, sign: float = 1.0) -> None:
    """Add sign * row * name to the forces."""
    for d, value in enumerate(row):
        if value != 0.0:
            forces[d].append(term(name, sign * float(value), pr))


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
    for i, run in enumerate(runs):
        pr.add(f"g{i} = 1.0 / ({pr.p(run.length_m)} + l_{i})")
        # What the division does not need stands beside it, not behind it: a stage is as slow as its longest chain.
        t0, ea, lag = pr.p(run.pretension_n), pr.p(run.ea_n), pr.p(run.ea_n * run.lag_s)
        pr.add(f"t{i} = max({t0} + ({ea} * x_{i} + {lag} * v_{i}) * g{i}, 0.0)")
        pr.add(f"b_{i} = max(x_{i} * g{i}, {pr.p(-run.pretension_n / run.ea_n)})")
        pr.add(f"e{i} = (0.5 * {ea}) * (b_{i} * b_{i})")
    pulls = [[("+", f"e{i}")] for i in range(count)] + [[("-", f"t{i}")] for i in range(count)]
    for i in reversed(range(2 * count)):
        row = rows[i]
        name = f"n_{i}"
        pr.add(f"{name} = {total(pulls[i])}")
        if row.parent is not None:
            pulls[row.parent].append(("+" if row.sign > 0 else "-", name))
        _spread(pr, forces, row.rest[:n], name)


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
    for j, motor in enumerate(system.motors):
        if motor.row is None or motor.spec is None:
            # An ideal motor gives whatever its belts ask for.
            pr.add(f"m{j} = {pr.dot(np.array([run.command_row[j] for run in system.runs]), tensions)}")
            continue
        speed = pr.dot(motor.row, names.v)
        pr.add(f"l{j} = {pr.dot(motor.row, names.q)} - th{j}")
        pr.add(f"r{j} = {pr.p(motor.spec.rotor_teeth)} * l{j}")
        torque = f"-am{j} * {_sine(pr, f'r{j}', f'o{j}')}"
        if motor.damping_nm_s != 0.0:
            pr.add(f"s{j} = {speed} - om{j}")
            pr.add(f"h{j} = s{j} * {pr.p(winding_s(motor.spec))}")
            drag = f"({pr.p(motor.damping_nm_s)} * s{j}) * {_in_step(pr, f'r{j}', f'o{j}')}"
            torque += f" - {drag} / (1.0 + h{j} * h{j})"
        if motor.detent_nm != 0.0:
            angle = f"{pr.p(4.0 * motor.spec.rotor_teeth)} * (l{j} + th{j})"
            torque += f" - {pr.p(motor.detent_nm)} * {_sine(pr, angle, f'p{j}')}"
        pr.add(f"m{j} = {torque}")
        _spread(pr, forces, motor.row, f"m{j}")


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
    pr.add(f"{name}h = ({low}) + {name}q * (1.6059043836821613e-10 + {name}s * -7.6471637318198164e-13)")
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
            pr.add(f"j{j}f{i} = {total(f[i])}")
    if joint.axis is not None:
        along = [("-", f"j{j}f{p} * {name}") for p, name in lean.items()] + curve
        pr.add(f"j{j}f{joint.axis} = {total(along)}")
        e = np.eye(3)[joint.axis]
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


def _shaft(
    pr: Printer, j: int, joint: JointElement, d: list[str], f: list[list[tuple[str, str]]]
) -> list[tuple[str, str]]:
    """Forces of rods on d, added to f; returns the terms of 1/2 d' K'(s) d."""
    shaft, sets = joint.shaft, joint.shaft_rows
    if shaft is None or sets is None:
        return []
    add, s, o = pr.add, f"j{j}s", f"j{j}o_"
    add(f"{o}a = {pr.p(shaft.before_m - shaft.spacing_m / 2)} + {s}")
    add(f"{o}b = {pr.p(shaft.span_m - shaft.before_m + shaft.spacing_m / 2)} - {s}")
    add(f"{o}a2 = {o}a + {pr.p(shaft.spacing_m)}")
    add(f"{o}b2 = {o}b - {pr.p(shaft.spacing_m)}")
    length, ei = shaft.span_m, shaft.bending_n_m2
    c3, c6 = pr.p(1 / (3 * length * ei)), pr.p(1 / (6 * length * ei))
    add(f"{o}m11 = {o}a * {o}b")
    add(f"{o}m22 = {o}a2 * {o}b2")
    add(f"{o}m12 = {o}a * {o}b2")
    add(f"{o}e11 = ({o}m11 * {o}m11) * {c3}")
    add(f"{o}e22 = ({o}m22 * {o}m22) * {c3}")
    add(f"{o}k11 = ((2.0 * {c3}) * {o}m11) * ({o}b - {o}a)")
    add(f"{o}k22 = ((2.0 * {c3}) * {o}m22) * ({o}b2 - {o}a2)")
    add(f"{o}g = ({pr.p(length**2)} - {o}b2 * {o}b2) - {o}a * {o}a")
    add(f"{o}e12 = ({c6} * {o}m12) * {o}g")
    add(f"{o}k12 = ({c6} * ({o}b2 - {o}a)) * ({o}g + 2.0 * {o}m12)")
    _held_ends(pr, o, shaft)
    soft = pr.p(1 / shaft.bushing_n_m)
    add(f"{o}s1 = {o}f11 + {soft}")
    add(f"{o}s2 = {o}f22 + {soft}")
    add(f"{o}d = 1.0 / ({o}s1 * {o}s2 - {o}f12 * {o}f12)")
    # 1/2 w' K' w with K' = -K F' K and p = K w the bushings' forces: the sums of p p' over all sets come first.
    squares: list[list[tuple[str, str]]] = [[], [], []]
    for number, rows in enumerate(_fewest(sets)):
        w, v = pr.dot(rows[0], d), pr.dot(rows[1], d)
        one, two = f"{o}p{number}", f"{o}r{number}"
        if np.array_equal(rows[0], rows[1]):
            add(f"{o}w{number} = {w}")
            add(f"{one} = (({o}s2 - {o}f12) * {o}w{number}) * {o}d")
            add(f"{two} = (({o}s1 - {o}f12) * {o}w{number}) * {o}d")
        else:
            add(f"{o}w{number} = {w}")
            add(f"{o}v{number} = {v}")
            add(f"{one} = ({o}s2 * {o}w{number} - {o}f12 * {o}v{number}) * {o}d")
            add(f"{two} = ({o}s1 * {o}v{number} - {o}f12 * {o}w{number}) * {o}d")
        for i in range(6):
            # What pulls alike on both bushings is added up before it is scaled.
            a, b = float(rows[0, i]), float(rows[1, i])
            if a == b != 0.0:
                f[i].append(term(f"({one} + {two})", a, pr))
            elif a == -b != 0.0:
                f[i].append(term(f"({one} - {two})", a, pr))
            else:
                f[i] += [term(name, value, pr) for name, value in ((one, a), (two, b)) if value != 0.0]
        for k, product in enumerate((f"{one} * {one}", f"{one} * {two}", f"{two} * {two}")):
            squares[k].append(("+", product))
    for k, name in enumerate(("u11", "u12", "u22")):
        add(f"{o}{name} = {total(squares[k])}")
    add(f"{o}c = -0.5 * ({o}u11 * {o}h11 + 2.0 * {o}u12 * {o}h12 + {o}u22 * {o}h22)")
    return [("+", f"{o}c")]


def _held_ends(pr: Printer, o: str, shaft: Shaft) -> None:
    """Flexibility f and slope h of the rod as its ends are held, from e and k on supports (model/shafts.py)."""
    even, odd = end_shares(shaft.ends)
    if even == 0.0:
        for name in ("11", "22", "12"):
            pr.add(f"{o}f{name} = {o}e{name}")
            pr.add(f"{o}h{name} = {o}k{name}")
        return
    length, ei = shaft.span_m, shaft.bending_n_m2
    one, two, four = (pr.p(x) for x in (even / (ei * length), odd / (ei * length**3), 2 * odd / (ei * length**3)))
    pr.add(f"{o}n1 = {o}b - {o}a")
    pr.add(f"{o}n2 = {o}b2 - {o}a2")
    for i, k in ((1, 1), (2, 2), (1, 2)):
        at, m, n, p, q = f"{i}{k}", f"{o}m{i}{i}", f"{o}m{k}{k}", f"{o}n{i}", f"{o}n{k}"
        pr.add(f"{o}t{at} = {one} + {two} * ({p} * {q})")
        pr.add(f"{o}q{at} = {m} * {n}")
        pr.add(f"{o}f{at} = {o}e{at} - {o}q{at} * {o}t{at}")
        slope = f"({p} * {n} + {m} * {q}) * {o}t{at}"
        pr.add(f"{o}h{at} = ({o}k{at} - {slope}) + ({four} * {o}q{at}) * ({p} + {q})")


def _fewest(sets: Array) -> list[Array]:
    """Sets of rows (2, 6) with the same sum of R' K R for every K as the given ones, and fewer entries.

    Two rods side by side: R1, R2 become (R1 + R2) / sqrt 2 and (R1 - R2) / sqrt 2, of which one often has nothing left.
    """
    found = list(sets)
    for i in range(len(found)):
        for j in range(i + 1, len(found)):
            plus, minus = (found[i] + found[j]) / np.sqrt(2), (found[i] - found[j]) / np.sqrt(2)
            for mixed in (plus, minus):
                mixed[np.abs(mixed) < NOISE] = 0.0
            entries = [np.count_nonzero(rows) for rows in (plus, minus, found[i], found[j])]
            if entries[0] + entries[1] < entries[2] + entries[3]:
                found[i], found[j] = plus, minus
    return [rows for rows in found if np.any(rows)]
