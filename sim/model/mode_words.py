"""A natural shape in words: which part moves how, and which springs it works against.

A joint that holds most of the strain names the motion ("carriage rocks about X on its rods"); where belts and motors
hold it, the parts that carry the motion's energy do ("carriage in X and gantry in X against belts").
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .joints import JointElement
from .system import Array, System

#: A spring is named beside the first, and a part beside the first, when it holds this share of the energy.
SPRING_SHARE, PART_SHARE = 0.25, 0.2
COLUMNS = "the frame's columns"
STANDS_ON = {"rods": "rods", "wheels": "wheels", "rail": "rails"}


@dataclass(frozen=True)
class _Spring:
    """share of the strain energy.  name: as in "against ...".  joint: None for belts, frame springs and motors."""

    share: float
    name: str
    joint: JointElement | None = None


def words_of(system: System, q: Array, shape: Array) -> str:
    """The shape (n,) about rest at q (n,) in words."""
    springs = sorted(_springs(system, q, shape), key=lambda s: -s.share)
    first = springs[0]
    named = [s.name for s in springs if s.share >= SPRING_SHARE] or [first.name]
    if first.joint is None:
        parts = _parts(system, shape)
        # Only the frame has columns: of other parts they would be the frame's, not their own.
        whose = "its columns" if parts in ("frame in X", "frame in Y") else "the frame's columns"
        return f"{parts} against {_listed([whose if n == COLUMNS else n for n in named])}"
    rest = f", and against {_listed(named[1:])}" if len(named) > 1 else ""
    return f"{_gives_way(system, q, shape, first.joint)}{rest}"


def _listed(names: list[str]) -> str:
    """ "belts", "belts and motor field", "belts, motor field and the frame's columns"."""
    return f"{', '.join(names[:-1])} and {names[-1]}" if len(names) > 1 else names[0]


def _springs(system: System, q: Array, shape: Array) -> list[_Spring]:
    belts = sum(float(run.row @ shape) ** 2 * run.stiffness(q) for run in system.runs)
    motors = sum(
        m.spec.rotor_teeth * m.limit_nm * float(m.row @ shape) ** 2
        for m in system.motors
        if m.row is not None and m.spec is not None
    )
    found = [_Spring(belts, "belts"), _Spring(motors, "motor field")]
    found.append(_Spring(sum(float(shape @ arm.stiffness_at(q) @ shape) for arm in system.arms), "arms"))
    found.append(_Spring(float(shape @ system.stiffness @ shape), COLUMNS))
    for joint in system.joints:
        d = joint.tangent(q) @ shape
        found.append(_Spring(float(d @ _stiffness(joint, q) @ d), _name(system, joint), joint))
    total = sum(s.share for s in found)
    return [_Spring(s.share / total if total > 0 else 0.0, s.name, s.joint) for s in found]


def _stiffness(joint: JointElement, q: Array) -> Array:
    return joint.stiffness_at(0.0 if joint.axis is None else float(joint.row[joint.axis] @ q))[0]


def _name(system: System, joint: JointElement) -> str:
    """ "the feet", "the columns", "the carriage's rods"."""
    if joint.axis is None:
        return "the feet" if joint.name == "feet" else "the columns"
    body = system.machine.body(joint.name.removesuffix(" guide"))
    return f"the {body.name}'s {STANDS_ON[body.guide.kind] if body.guide else 'guide'}"


def _gives_way(system: System, q: Array, shape: Array, joint: JointElement) -> str:
    """ "carriage rocks about X on its rods": by the component of the joint's deflection that holds most of its energy."""
    d = joint.tangent(q) @ shape
    axis = int(np.argmax(d * (_stiffness(joint, q) @ d)))
    letter = "XYZ"[axis % 3]
    if joint.name == "feet":
        subject, on = "whole machine", "on its feet"
    elif joint.axis is None:
        subject, on = "frame top", "on its columns"
    else:
        subject = joint.name.removesuffix(" guide")
        on = f"on its {_name(system, joint).rpartition(' ')[2]}"
    if axis >= 3:
        verb = f"turns about {letter}" if axis == 5 else f"rocks about {letter}"
    else:
        verb = "bobs" if axis == 2 else f"sways in {letter}"
    return f"{subject} {verb} {on}"


def _parts(system: System, shape: Array) -> str:
    """The parts that carry most of the motion, each with the coordinate it moves along most; at most two."""
    energy = shape * (system.mass @ shape)
    energy = energy / energy.sum()
    bodies: dict[str, list[int]] = {}
    for i, name in enumerate(system.dof_names):
        body, _ = _split(name)
        # Without six coordinates each is a part of its own; a rotor is one by its name.
        key = name if not system.joints or body.startswith("rotor") else body
        bodies.setdefault(key, []).append(i)
    shares = sorted(((float(energy[at].sum()), key) for key, at in bodies.items()), reverse=True)
    chosen = [key for share, key in shares if share >= PART_SHARE][:2] or [shares[0][1]]
    return " and ".join(_plain(system.dof_names[max(bodies[key], key=lambda i: energy[i])]) for key in chosen)


def _plain(name: str) -> str:
    """ "carriage x" -> "carriage in X", "gantry about z" -> "gantry turning about Z", "rotor a" as it is."""
    head, tail = _split(name)
    if not tail:
        return name
    if tail.startswith("about "):
        return f"{head} turning about {tail[-1].upper()}"
    return f"{head} in {tail.upper()}"


def _split(name: str) -> tuple[str, str]:
    """A coordinate's name as its body's and its own: "carriage a", "z"; "gantry", "about z"; "rotor a", ""."""
    if name.startswith("rotor "):
        return name, ""
    head, _, tail = name.rpartition(" ")
    if head.endswith(" about"):
        return head.removesuffix(" about"), f"about {tail}"
    return head, tail
