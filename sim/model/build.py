"""From a machine to its model: kinematics, then elements, then one assembler. Equations: PHYSICS.md."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..machine.build import sway_stiffness
from ..machine.machine import Body, Machine
from ..machine.routing import Run, runs_of
from ..machine.travel import ArmTravel, LinearTravel, Travel, rigid_travel
from ..practice import STANDARD_GRAVITY
from .arms import arm_inertia, bars, build_arms
from .guides import rod_inertia
from .joints import build_joints, carried_by
from .kinematics import Kinematics
from .motor import rotor_damping, torque_limit
from .system import Array, FrictionElement, MotorElement, RunElement, System

#: Damping ratio of a guide's bristles against the mass they hold; our estimate: lets a stuck carriage come to rest
#: within a few cycles, and has no part in sliding.
BRISTLE_DAMPING = 0.1


def snap(row: Array) -> Array:
    """Row with the rounding noise of the tangents (1e-16 m/m) taken off, so that what is exactly 0, 1 or 2 says so."""
    near = np.round(row)
    return np.where(np.abs(row - near) < 1e-12, near, row)


def build_model(machine: Machine) -> System:
    """The model of a machine at the detail its design asks for. Raises MachineError if the belts do not fix the motion."""
    kin = Kinematics(machine)
    runs = [run for belt in machine.belts for run in runs_of(machine, belt)]
    stretch = [snap(sum((kin.pull(p) for p in run.pulls), np.zeros(kin.total))) for run in runs]
    rows = [
        s + sum((kin.turn(t) for t in run.turns), np.zeros(kin.total)) for s, run in zip(stretch, runs, strict=True)
    ]
    tool_travel = _travel(kin, np.array(rows), runs)
    n = kin.n
    mass = _mass(kin, runs)
    stiffness, damping = np.zeros((n, n)), np.zeros((n, n))
    if not kin.full:
        _frame_springs(kin, mass, stiffness, damping)
    belts = {belt.name: belt for belt in machine.belts}
    names = [m.name for m in machine.motors]

    def command_part(row: Array) -> Array:
        return np.array([row[kin.angle[m.name]] if m.spec is None else 0.0 for m in machine.motors])

    elements = tuple(
        RunElement(
            belt=run.belt,
            name=run.name,
            row=row[:n],
            command_row=command_part(row),
            length_row=geo[:n],
            length_m=run.length_m,
            ea_n=belts[run.belt].spec.ea_n,
            pretension_n=belts[run.belt].spec.pretension_n,
            lag_s=0.0,
        )
        for run, row, geo in zip(runs, rows, stretch, strict=True)
    )
    lag = _belt_lags(kin, elements, rows, mass)
    elements = tuple(replace(run, lag_s=lag[run.belt]) for run in elements)
    motors = tuple(_motor(kin, machine, name) for name in names)
    coupling = np.zeros((n, len(names)))
    for j, m in enumerate(machine.motors):
        if m.spec is None:
            coupling[:, j] = mass[:n, kin.angle[m.name]]
    return System(
        machine=machine,
        dof_names=tuple(kin.names),
        mass=mass[:n, :n],
        mass_with_motors=mass,
        stiffness=stiffness,
        damping=damping,
        command_inertia=np.asarray(np.linalg.solve(mass[:n, :n], coupling), dtype=float),
        runs=elements,
        motors=motors,
        frictions=tuple(
            _friction(kin, body)
            for body in machine.bodies
            if body.name in kin.slides and body.guide is not None and body.guide.friction_n > 0
        ),
        joints=build_joints(kin),
        gravity=_weight(kin) if kin.full or machine.arms else np.zeros(n),
        tool_rows=(kin.at(machine.tool_body, machine.tool_point) - kin.at(machine.work_body, machine.tool_point))[
            :, :n
        ],
        work_turn=kin.rows[machine.work_body][3:, :n],
        tool_zero=machine.middle,
        tool_travel=tool_travel,
        body_rows={name: t[:3, :n] for name, t in kin.rows.items()},
        body_turns={name: t[3:, :n] for name, t in kin.rows.items()},
        middle=machine.middle,
        arms=build_arms(kin, mass),
    )


def _travel(kin: Kinematics, rows: Array, runs: list[Run]) -> Travel:
    """From the tool's place to coordinates and motor angles. Raises MachineError if the belts do not fix the motion."""
    machine, angles, n = kin.machine, list(kin.angle.values()), kin.n
    if not machine.arms:
        travel = rigid_travel(machine.layout, kin.slide_travel(), rows, angles, runs)
        return LinearTravel(machine.middle, travel[:n], travel[[kin.angle[m.name] for m in machine.motors]])
    carriages = [machine.body(arm.ends[0][0]) for arm in machine.arms]
    slides, from_tool = np.zeros((kin.total, len(carriages))), np.zeros((n, 3))
    for k, body in enumerate(carriages):
        slides[kin.slides[body.name], k] = 1.0
    for start in kin.free.values():
        from_tool[start : start + 3] = np.eye(3)
    travel = rigid_travel(machine.layout, slides, rows, angles, runs, len(carriages))
    return ArmTravel(
        middle=machine.middle,
        along=np.array([arm.along for arm in machine.arms]),
        length_m=np.array([arm.length_m for arm in machine.arms]),
        axes=tuple(2 if body.slide is None else body.slide for body in carriages),
        from_tool=from_tool,
        from_slides=travel[:n],
        motors_per_slide=travel[[kin.angle[m.name] for m in machine.motors]],
    )


def _mass(kin: Kinematics, runs: list[Run]) -> Array:
    """M over the extended coordinates: bodies, rotors, idlers turning with their belt, and the belts themselves."""
    machine = kin.machine
    m = np.zeros((kin.total, kin.total))
    for body in machine.bodies:
        t = kin.rows[body.name]
        m += body.mass_kg * t[:3].T @ t[:3] + t[3:].T @ body.moments @ t[3:]
    for motor in machine.motors:
        if motor.spec is not None:
            i = kin.angle[motor.name]
            m[i, i] += motor.spec.rotor_inertia_kg_m2
    specs = {belt.name: belt.spec for belt in machine.belts}
    for run in runs:
        past = belt_flow(kin, run)
        m += specs[run.belt].mass_kg_m * _span_inertia(kin, run, past)
        for contact, row in zip(run.idlers, past[1:-1], strict=True):
            wheel = machine.wheels[contact.wheel]
            m += wheel.inertia_kg_m2 / wheel.radius_m**2 * np.outer(row, row)
    for arm in bars(kin):
        m += arm_inertia(kin, arm)
    if kin.full:
        m[: kin.n, : kin.n] += rod_inertia(kin)
    return (m + m.T) / 2


def belt_flow(kin: Kinematics, run: Run) -> Array:
    """How fast the belt runs past the body at each stop of a run, along its order, (spans + 1, total) per unit of speed.

    What the start feeds in, less what the spans before the stop took up; the belt's own stretch is shared evenly along
    the run (PHYSICS.md, (11)).
    """
    fed = kin.turn(run.start_turn)
    taken = np.array([kin.pull(p) for p in run.pulls]).reshape(-1, 2, kin.total).sum(axis=1).cumsum(axis=0)
    stretch = taken[-1] + kin.turn(run.end_turn) - fed
    places = [contact.fraction for contact in run.idlers]
    inner = [fed - t + f * stretch for t, f in zip(taken, places, strict=False)]
    return np.array([fed, *inner, kin.turn(run.end_turn)])


def _span_inertia(kin: Kinematics, run: Run, past: Array) -> Array:
    """Inertia of a run's spans per kg/m of belt, (total, total): each of them a bar with its mass spread evenly.

    An end of a span moves with the body that it leaves or meets, and past it along the span (PHYSICS.md, (10)).
    """
    m = np.zeros((kin.total, kin.total))
    for k, carried in enumerate(run.carried_m):
        leave, meet = run.pulls[2 * k], run.pulls[2 * k + 1]
        a = kin.at(leave.body, leave.point) + np.outer(meet.direction, past[k])
        b = kin.at(meet.body, meet.point) + np.outer(meet.direction, past[k + 1])
        m += carried / 6 * (2 * a.T @ a + a.T @ b + b.T @ a + 2 * b.T @ b)
    return m


def _weight(kin: Kinematics) -> Array:
    """Generalised weight (n,): m g straight down on every body's mass centre, and on each arm half at either end."""
    weight = np.zeros(kin.n)
    for body in kin.machine.bodies:
        weight -= STANDARD_GRAVITY * body.mass_kg * kin.rows[body.name][2, : kin.n]
    for arm in bars(kin):
        for end in arm.ends:
            weight -= STANDARD_GRAVITY * arm.mass_kg / 2 * kin.at(*end)[2, : kin.n]
    return weight


def _frame_springs(kin: Kinematics, mass: Array, stiffness: Array, damping: Array) -> None:
    for body in kin.machine.bodies:
        for axis in body.sway:
            i = kin.names.index(f"{body.name} {'xyz'[axis]}")
            k = sway_stiffness(kin.machine, axis)
            stiffness[i, i] += k
            damping[i, i] += 2 * kin.machine.frame_damping_ratio * float(np.sqrt(k * mass[i, i]))


def _belt_lags(kin: Kinematics, runs: tuple[RunElement, ...], rows: list[Array], mass: Array) -> dict[str, float]:
    """Damping time of each belt: 2 zeta / omega of the axis it drives, motors and frame held, at mid-reach.

    Belts of a tool on arms all have that of X there: a belt may not drive X by itself.
    """
    slides, middle = kin.slide_travel(), np.zeros(kin.n)
    if kin.machine.arms:
        k = sum(run.stiffness(middle) * float(row @ slides[:, 0]) ** 2 for run, row in zip(runs, rows, strict=True))
        omega = float(np.sqrt(k / (slides[:, 0] @ mass @ slides[:, 0])))
        return {belt.name: 2 * belt.spec.damping / omega for belt in kin.machine.belts}
    lags = {}
    for belt in kin.machine.belts:
        for axis in range(2):
            e = slides[:, axis]
            strained = any(abs(row @ e) > 1e-9 for run, row in zip(runs, rows, strict=True) if run.belt == belt.name)
            if strained:
                k = sum(run.stiffness(middle) * float(row @ e) ** 2 for run, row in zip(runs, rows, strict=True))
                lags[belt.name] = 2 * belt.spec.damping / float(np.sqrt(k / (e @ mass @ e)))
                break
    return lags


def _motor(kin: Kinematics, machine: Machine, name: str) -> MotorElement:
    motor = next(m for m in machine.motors if m.name == name)
    wheel = machine.wheels[motor.wheel]
    assert wheel.teeth is not None
    if motor.spec is None:
        return MotorElement(name, None, None, wheel.radius_m, wheel.teeth, 0.0, 0.0)
    return MotorElement(
        name,
        kin.relative_angle(name)[: kin.n],
        motor.spec,
        wheel.radius_m,
        wheel.teeth,
        rotor_damping(motor.spec),
        float(torque_limit(motor.spec, 0.0)),
        motor.spec.detent_nm,
        2 * np.pi / (4 * motor.spec.rotor_teeth * motor.spec.microsteps) if motor.spec.stepped else 0.0,
    )


def _friction(kin: Kinematics, body: Body) -> FrictionElement:
    guide = body.guide
    assert guide is not None
    assert body.slide is not None
    assert body.parent is not None
    point = body.centre if body.place is None or not kin.full else body.place.point
    row = (kin.at(body.name, point) - kin.at(body.parent, point))[body.slide][: kin.n]
    carried = carried_by(kin.machine, body.name).items()
    slides_kg = sum(kin.machine.body(name).mass_kg for name, free in carried if body.slide not in free)
    sigma0 = guide.friction_n / guide.presliding_m
    return FrictionElement(
        name=body.name,
        row=row,
        coulomb_n=guide.friction_n,
        static_n=guide.friction_static_n,
        stribeck_m_s=guide.stribeck_m_s,
        sigma0_n_m=sigma0,
        sigma1_n_s_m=2 * BRISTLE_DAMPING * float(np.sqrt(sigma0 * slides_kg)),
    )
