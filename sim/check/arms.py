"""Rules about a tool on arms: how steep they stand, which way they lean, how far joints turn, how stiff, what is in the way."""

from __future__ import annotations

import math

import numpy as np

from ..machine.machine import Machine
from ..model.facts import locked_stiffness
from ..model.system import System
from .clearance import nearest_arms, poses
from .finding import Finding, Place, Rule, Severity, derived, estimate, practice
from .subject import Array, Subject

LOW_STOP_DEG, LOW_WARN_DEG, STEEP_DEG = 20.0, 25.0, 65.0
JOINT_DEG = 30.0
CLEAR_M, TOUCH_M = 0.003, 0.0005
SOFT_N_M = 10e3
DROP_CAUTION = (
    "Without power nothing holds the carriages: they drop with the tool, onto the bed and onto fingers. Hold them or lower "
    "the tool before switching off, and keep hands out while the motors are on."
)


def elevations(machine: Machine, tool: Array) -> Array:
    """Angle of each arm above level, rad."""
    offsets = machine.offsets(tool)
    out = []
    for arm in machine.arms:
        (a_body, a), (b_body, b) = arm.ends
        d = np.array(a) + offsets[a_body] - np.array(b) - offsets[b_body]
        out.append(math.asin(d[2] / float(np.linalg.norm(d))))
    return np.array(out)


def joint_angle(machine: Machine, tool: Array) -> float:
    """How far an arm leans out of the upright plane through its tower and the middle, the most of all, rad."""
    offsets = machine.offsets(tool)
    most = 0.0
    for arm in machine.arms:
        (a_body, a), (b_body, b) = arm.ends
        d = np.array(a) + offsets[a_body] - np.array(b) - offsets[b_body]
        most = max(most, abs(math.asin(float(d @ arm.aside) / float(np.linalg.norm(d)))))
    return most


def _level(machine: Machine) -> list[Array]:
    """Places over the reach at mid-height: arms stand alike at every height."""
    return poses(machine, (9, 9, 1))


def _place(tool: Array) -> tuple[Place, ...]:
    x, y, z = (float(v) for v in tool)
    return (Place((x, y), (x, y, z)),)


def _at(tool: Array) -> str:
    return f"X {tool[0] * 1e3:.0f}, Y {tool[1] * 1e3:.0f} mm"


def _arm_lowest(subject: Subject) -> list[Finding]:
    machine, spec = subject.machine, subject.design.arms
    if not machine.arms or spec is None:
        return []
    tool = min(_level(machine), key=lambda p: float(elevations(machine, p).min()))
    lowest = math.degrees(float(elevations(machine, tool).min()))
    low = lowest < LOW_WARN_DEG
    severity: Severity = "stop" if lowest < LOW_STOP_DEG else "warn" if low else "note"
    rim_m = (machine.reach[0][1] - machine.reach[0][0]) / 2
    longer_mm = math.ceil((spec.across_m + rim_m) / math.cos(math.radians(LOW_WARN_DEG)) * 1e3)
    return [
        Finding(
            rule="arm-lowest",
            severity=severity,
            where="arms at the rim",
            value=round(lowest, 1),
            limit=LOW_STOP_DEG if lowest < LOW_STOP_DEG else LOW_WARN_DEG,
            unit="degrees",
            basis=practice(
                "arms of 20 degrees or less push the tool about and their carriages run away; level, they jam"
            ),
            change=f"longer arms (delta.arm_mm = {longer_mm} or more), or a smaller reach"
            if low
            else "nothing to change",
            words=f"the flattest arm stands {lowest:.1f} degrees above level, with the tool at {_at(tool)}; there its carriage "
            f"runs {1 / math.tan(math.radians(lowest)):.2f} times as fast as the tool",
            places=_place(tool),
        )
    ]


def _arm_steep(subject: Subject) -> list[Finding]:
    machine = subject.machine
    if not machine.arms:
        return []
    found = math.degrees(float(elevations(machine, machine.middle).max()))
    if found <= STEEP_DEG:
        return []
    return [
        Finding(
            rule="arm-steep",
            severity="warn",
            where="arms in the middle",
            value=round(found, 1),
            limit=STEEP_DEG,
            unit="degrees",
            basis=practice("sideways a tool on steep arms is soft: K_xx / K_zz = cot^2 / 2"),
            change="shorter arms (delta.arm_mm) or towers further out (delta.tower_radius_mm)",
            words=f"in the middle the arms stand {found:.1f} degrees above level: the tool is "
            f"{2 * math.tan(math.radians(found)) ** 2:.0f} times softer sideways than upright",
            places=_place(machine.middle),
        )
    ]


def _arm_outward(subject: Subject) -> list[Finding]:
    machine, spec = subject.machine, subject.design.arms
    if spec is None:
        return []
    rim_m = (machine.reach[0][1] - machine.reach[0][0]) / 2
    if spec.across_m >= rim_m:
        return []
    least_mm = math.ceil((rim_m + spec.carriage_offset_m + spec.effector_radius_m) * 1e3)
    return [
        Finding(
            rule="arm-outward",
            severity="warn",
            where="arms at their own tower",
            value=spec.across_m * 1e3,
            limit=rim_m * 1e3,
            unit="mm",
            basis=practice("an arm that leans outward changes the side its joints are loaded on"),
            change=f"towers further out: delta.tower_radius_mm = {least_mm} or more",
            words=f"near a tower its arms lean outward: they span {spec.across_m * 1e3:.0f} mm in the middle, and the reach "
            f"goes {rim_m * 1e3:.0f} mm from it",
        )
    ]


def _joint_turn(subject: Subject) -> list[Finding]:
    machine = subject.machine
    if not machine.arms:
        return []
    tool = max(_level(machine), key=lambda p: joint_angle(machine, p))
    most = math.degrees(joint_angle(machine, tool))
    over = most > JOINT_DEG
    return [
        Finding(
            rule="joint-turn",
            severity="warn" if over else "note",
            where="ball joints",
            value=round(most, 1),
            limit=JOINT_DEG,
            unit="degrees",
            basis=practice("plastic ball joints turn 25 to 35 degrees before their rim meets the stem"),
            change="longer arms, a smaller reach, or joints that turn further" if over else "nothing to change",
            words=f"an arm leans {most:.1f} degrees out of its tower's plane at most, with the tool at {_at(tool)}: its joints "
            "must turn so far",
            places=_place(tool),
        )
    ]


def softest_directions(system: System) -> list[tuple[float, Array, Array]]:
    """(N/m, tool (3,) m, direction (3,)) at places over the reach of a tool on arms: its softest way to be pushed there."""
    found = []
    for tool in _level(system.machine):
        values, ways = np.linalg.eigh(locked_stiffness(system, tool))
        found.append((float(values[0]), tool, ways[:, 0]))
    return found


def lowest_arm(machine: Machine) -> float:
    """Angle above level of the flattest arm over the reach, rad."""
    return min(float(elevations(machine, p).min()) for p in _level(machine))


def _way(way: Array) -> str:
    """A direction to two decimals, without a zero below nothing."""
    return ", ".join(f"{round(float(v), 2) + 0.0:.2f}" for v in way)


def _arm_stiffness(subject: Subject) -> list[Finding]:
    system = subject.system
    if system is None or not system.arms:
        return []
    found = softest_directions(system)
    softest, tool, way = min(found, key=lambda f: f[0])
    stiffest = max(f[0] for f in found)
    soft = softest < SOFT_N_M
    return [
        Finding(
            rule="arm-stiffness",
            severity="warn" if soft else "note",
            where="tool on its arms",
            value=softest / 1e3,
            limit=SOFT_N_M / 1e3,
            unit="N/mm",
            basis=estimate("below 10 N/mm a move of 1 m/s2 on 0.3 kg bends belts and arms by 30 um"),
            change="stiffer belts (width, steel cord), shorter arms, towers further out"
            if soft
            else "nothing to change",
            words=f"with motors held the tool's softest direction has {softest / 1e3:.1f} N/mm, at {_at(tool)} along "
            f"({_way(way)}), and {stiffest / 1e3:.1f} N/mm where that is best",
            places=_place(tool),
        )
    ]


def _arm_clear(subject: Subject) -> list[Finding]:
    if not subject.machine.arms:
        return []
    found = nearest_arms(subject.machine)
    out = []
    for near in found:
        if near.distance_m >= CLEAR_M:
            continue
        x, y, z = (1e3 * v for v in near.tool)
        touches = near.distance_m < TOUCH_M
        out.append(
            Finding(
                rule="arm-clear",
                severity="stop" if touches else "warn",
                where=f"{near.first.name} / {near.second.name}",
                value=round(near.distance_m * 1e3, 2),
                limit=CLEAR_M * 1e3,
                unit="mm",
                basis=estimate("3 mm, since arms and joints are drawn thinner than some are"),
                change="a larger delta.carriage_offset_mm, a smaller reach, or less in the way",
                words=f"{near.first.name} {'meets' if touches else 'passes'} {near.second.name}"
                + ("" if touches else f" at {near.distance_m * 1e3:.1f} mm")
                + f", with the tool at X {x:.0f}, Y {y:.0f}, Z {z:.0f} mm",
                places=(Place((float(near.point[0]), float(near.point[1])), (x / 1e3, y / 1e3, z / 1e3)),),
            )
        )
    return out


def _power_off(subject: Subject) -> list[Finding]:
    if not subject.machine.arms:
        return []
    return [
        Finding(
            rule="power-off",
            severity="note",
            where="carriages",
            value=None,
            limit=None,
            unit="",
            basis=derived("belts hold a carriage only as long as its motor does"),
            change="counterweights, brakes, or rests for the carriages",
            words="without power the carriages and the tool drop",
            caution=DROP_CAUTION,
        )
    ]


RULES = (
    Rule("arm-lowest", "do the arms stand steep enough at the rim?", _arm_lowest),
    Rule("arm-steep", "do they hold the tool sideways in the middle?", _arm_steep),
    Rule("arm-outward", "do arms never lean outward?", _arm_outward),
    Rule("joint-turn", "do the ball joints turn far enough?", _joint_turn),
    Rule("arm-stiffness", "is the tool stiff in every direction?", _arm_stiffness),
    Rule("arm-clear", "do arms and platform clear columns, belts and each other?", _arm_clear),
    Rule("power-off", "what happens without power?", _power_off),
)
