"""Rules about motors: torque at every speed of the move, lost steps, the supply's corner, resonance with full steps."""

from __future__ import annotations

import math

import numpy as np

from ..analyse.reading import out_of_step
from ..chain.torque import rotor_speed, torque_shares
from ..machine.machine import Motor
from ..model.motor import torque_constant
from ..model.system import System
from ..parts.design import MotorSpec
from ..plan.plan import Leg
from ..practice import TORQUE_SHARE
from .finding import Finding, Place, Rule, derived, practice, published
from .subject import Array, Subject
from .ways import more_torque

FULL_STEPS = 200  # a turn, 1.8 degrees each
NEAR = 0.10
COARSE_MICROSTEPS = 4
MOST_MODES = 400.0  # Hz


def corner_speed(m: MotorSpec) -> float:
    """Speed above which the supply can no longer drive the set current, rad/s; inf where even standstill cannot be held.

    (R I + K_t w)^2 + (N_r w L I)^2 = V^2 (phasors of a synchronous motor; Acarnley, Stepping Motors, from memory).
    """
    i, r, v, kt = m.current_a, m.resistance_ohm, m.supply_v, torque_constant(m)
    a = kt**2 + (m.rotor_teeth * m.inductance_h * i) ** 2
    b, c = 2 * r * i * kt, (r * i) ** 2 - v**2
    return (-b + math.sqrt(b * b - 4 * a * c)) / (2 * a) if c < 0 else 0.0


def _fastest(subject: Subject, motor: str) -> float:
    """Highest speed of a rotor in the move, rad/s."""
    trace, system = subject.trace, subject.system
    assert trace is not None
    assert system is not None
    return float(np.abs(rotor_speed(trace, system, trace.motors.index(motor))).max())


def _where(motor: Motor) -> str:
    return f"motor {motor.name}"


def _places(subject: Subject, motor: Motor) -> tuple[Place, ...]:
    x, y, z = subject.machine.middle
    return (Place((motor.centre[0], motor.centre[1]), (float(x), float(y), float(z))),)


def _torque_margin(subject: Subject) -> list[Finding]:
    out: list[Finding] = []
    if subject.trace is None or subject.system is None:
        return out
    shares = torque_shares(subject.trace, subject.system)
    for motor in subject.machine.motors:
        share = shares.get(motor.name, 0.0)
        if share <= TORQUE_SHARE:
            continue
        lag = subject.extreme(f"lag_{motor.name}")
        lag_deg = 0.0 if lag is None else math.degrees(max(abs(lag[0]), abs(lag[1])))
        off_um = math.radians(lag_deg) * subject.machine.wheels[motor.wheel].radius_m * 1e6
        out.append(
            Finding(
                rule="torque-margin",
                severity="warn",
                where=_where(motor),
                value=min(share, 9.99),
                limit=TORQUE_SHARE,
                unit="ratio",
                basis=practice("leave a third of the torque for friction, warm windings and what nobody thought of"),
                change=more_torque(motor),
                words=f"motor {motor.name} gives {min(share, 9.99) * 100:.0f} % of the torque it has at that speed; it lags by "
                f"{lag_deg:.2f} degrees at most, {off_um:.0f} µm at the belt (at 1.8 degrees it slips)",
                places=_places(subject, motor),
            )
        )
    return out


def _lost_steps(subject: Subject) -> list[Finding]:
    trace = subject.trace
    out = []
    for slip in trace.slips if trace is not None else ():
        motor = subject.motor(slip.motor)
        out.append(
            Finding(
                rule="lost-steps",
                severity="stop",
                where=_where(motor),
                value=float(slip.most_steps_off),
                limit=0.0,
                unit="full steps",
                basis=derived(
                    "the motor's torque curve and the move: past half an electrical turn it falls to the next one"
                ),
                change=more_torque(motor),
                words=f"motor {motor.name} {out_of_step(slip)}",
                places=_places(subject, motor),
            )
        )
    return out


def _supply_corner(subject: Subject) -> list[Finding]:
    """One finding for motors that are alike, with the fastest of them."""
    if subject.trace is None or not len(subject.trace.t_s):
        return []
    alike: dict[tuple[MotorSpec, float], list[tuple[float, Motor]]] = {}
    for motor in subject.machine.motors:
        if motor.spec is not None:
            radius = subject.machine.wheels[motor.wheel].radius_m
            alike.setdefault((motor.spec, radius), []).append((_fastest(subject, motor.name) * radius, motor))
    return [_corner_finding(subject, spec, radius, mine) for (spec, radius), mine in alike.items()]


def _corner_finding(subject: Subject, spec: MotorSpec, radius: float, mine: list[tuple[float, Motor]]) -> Finding:
    """mine: how fast the move drives each motor's belt, m/s, and the motor."""
    corner = corner_speed(spec) * radius
    asked = max(speed for speed, _ in mine)
    over = asked > corner
    names = [motor.name for _, motor in mine]
    many = len(names) > 1
    who = f"motors {', '.join(names[:-1])} and {names[-1]}" if many else f"motor {names[0]}"
    keep, it = ("keep their", "them") if many else ("keeps its", "it")
    return Finding(
        rule="supply-corner",
        severity="warn" if over else "note",
        where=who,
        value=asked * 1e3,
        limit=corner * 1e3,
        unit="mm/s",
        basis=derived("(R I + K_t w)^2 + (N_r w L I)^2 = V^2"),
        change="raise motors.supply_v, or take a motor of lower inductance" if over else "nothing to change",
        words=f"at {spec.supply_v:g} V {who} {keep} {spec.current_a:g} A up to {corner * 1e3:.0f} mm/s of belt; the move takes "
        f"{it} to {asked * 1e3:.0f} mm/s" + (": beyond the corner torque falls" if over else ""),
        places=tuple(place for _, motor in mine for place in _places(subject, motor)),
    )


def resonant_speeds(subject: Subject, motor: Motor) -> list[tuple[float, float]]:
    """(belt speed m/s, mode Hz) at which a motor's full steps come at a natural frequency in which its rotor moves."""
    if subject.system is None or motor.spec is None:
        return []
    step_m = 2 * math.pi / FULL_STEPS * subject.machine.wheels[motor.wheel].radius_m
    system = subject.system
    row = next(m.row for m in system.motors if m.name == motor.name)
    out: list[tuple[float, float]] = []
    for mode in subject.modes:
        if row is None or mode.frequency_hz > MOST_MODES:
            continue
        share = motor.spec.rotor_inertia_kg_m2 * float(row @ mode.shape) ** 2
        # of the mode's kinetic energy; what turns in two directions alike has two modes of one frequency
        if share > 0.05 and all(abs(mode.frequency_hz / hz - 1) > 1e-3 for _, hz in out):
            out.append((mode.frequency_hz * step_m, mode.frequency_hz))
    return out


def _turns(system: System, motor: int, leg: Leg) -> Array:
    """(3,) rad per metre of tool travel in the middle of a leg."""
    return np.asarray(system.motor_travel_at(0.5 * (np.array(leg.start) + np.array(leg.end)))[motor])


def met(cruises: set[float], resonances: list[tuple[float, float]]) -> dict[float, tuple[float, float]]:
    """Of each resonant speed (m/s, Hz) that a cruise comes near the nearest cruise, m/s; of each such cruise the nearest
    resonance: of several modes side by side one is told."""
    met: dict[float, tuple[float, float]] = {}
    for resonant, hz in resonances:
        cruise = min(cruises, key=lambda v: abs(v - resonant), default=None)
        if cruise is None or abs(cruise - resonant) > NEAR * resonant:
            continue
        if cruise not in met or abs(cruise - resonant) < abs(cruise - met[cruise][0]):
            met[cruise] = (resonant, hz)
    return met


def _resonance_speed(subject: Subject) -> list[Finding]:
    plan, system = subject.plan, subject.system
    out = []
    for motor in subject.machine.motors:
        if plan is None or system is None or motor.spec is None:
            continue
        radius = subject.machine.wheels[motor.wheel].radius_m
        number = [m.name for m in system.motors].index(motor.name)
        speeds = {
            round(abs(float(_turns(system, number, leg) @ np.array(leg.direction))) * radius * leg.cruise_speed_m_s, 6)
            for leg in plan.legs
            if leg.cruise_to_s > leg.cruise_from_s
        }
        for cruise, (resonant, hz) in met(speeds, resonant_speeds(subject, motor)).items():
            coarse = motor.spec.microsteps <= COARSE_MICROSTEPS
            out.append(
                Finding(
                    rule="resonance-speed",
                    severity="warn" if coarse else "note",
                    where=_where(motor),
                    value=cruise * 1e3,
                    limit=resonant * 1e3,
                    unit="mm/s",
                    basis=published(
                        "D. W. Jones, Jones on Stepping Motors, University of Iowa: steps at the natural frequency"
                    ),
                    change="cruise 10 % slower or faster (motion.speed_mm_s), or more motors.microsteps than "
                    f"{motor.spec.microsteps}",
                    words=f"motor {motor.name} cruises at {cruise * 1e3:.0f} mm/s of belt, where its full steps come at "
                    f"{hz:.0f} Hz, a natural frequency of its rotor"
                    + ("" if coarse else f"; {motor.spec.microsteps} microsteps hide most of it"),
                    places=_places(subject, motor),
                )
            )
    return out


RULES = (
    Rule("torque-margin", "have the motors torque to spare at every speed of the move?", _torque_margin),
    Rule("lost-steps", "does no motor lose steps in the move?", _lost_steps),
    Rule("supply-corner", "does the supply drive the current at the speed of the move?", _supply_corner),
    Rule("resonance-speed", "does no cruise meet the rotors' natural frequency?", _resonance_speed),
)
