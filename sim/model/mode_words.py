"""A natural shape in words: which part moves how, and which springs it works against.

A joint that holds most of the strain names the motion ("carriage rocks about X on its rods"); where belts and motors
hold it, the parts that carry the motion's energy do ("carriage in X and gantry in X against belts").
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..machine.build import frame_shares
from ..machine.machine import Body
from .joints import JointElement
from .system import Array, System

#: A spring is named beside the first, and a part beside the first, when it holds this share of the energy.
SPRING_SHARE, PART_SHARE = 0.25, 0.2
#: Less than this of the energy is not listed.
LEAST_SHARE = 0.005
#: What the frame's top stands on.
FRAME_PARTS = ("corners", "columns", "panels")
STANDS_ON = {"rods": "rods", "wheels": "wheels", "rail": "rails"}


@dataclass(frozen=True)
class Hold:
    """What holds a shape: which part on which spring, in words, and its share of the strain energy."""

    what: str
    share: float

    @property
    def words(self) -> str:
        """ "the frame on its corners (92 %)"."""
        return f"{self.what} ({100 * self.share:.0f} %)"


@dataclass(frozen=True)
class _Spring:
    """share of the strain energy.  name: as in "against ...".  joint: None for belts, frame springs and motors.

    holds: what it is in words, in its parts where it has some.
    """

    share: float
    name: str
    holds: tuple[Hold, ...]
    joint: JointElement | None = None


class Springs:
    """The springs of a model about rest at q (n,), made once for all its shapes.

    runs: stiffness of each, N/m.  arms: of each (n, n).  joints: each with its rows (6, n) and its stiffness (6, 6) there.
    frame: what holds the frame's top, see `machine.build.frame_shares`.
    """

    def __init__(self, system: System, q: Array) -> None:
        self.system = system
        self.runs = [(run.row, run.stiffness(q)) for run in system.runs]
        self.arms = [arm.stiffness_at(q) for arm in system.arms]
        self.joints = [(joint, joint.tangent(q), _stiffness(joint, q)) for joint in system.joints]
        self.frame = frame_shares(system.machine)


def words_of(about: Springs, shape: Array) -> tuple[str, tuple[Hold, ...]]:
    """The shape (n,) in words, and what holds it, the largest share first."""
    springs = sorted(_springs(about, shape), key=lambda s: -s.share)
    holds = sorted((h for s in springs for h in s.holds if h.share >= LEAST_SHARE), key=lambda h: -h.share)
    return _words(about, shape, springs), tuple(holds)


def cause(holds: tuple[Hold, ...]) -> str:
    """What holds most, as a cause is told: "the frame on its corners (62 %) and the belts (31 %)"."""
    return _listed([h.words for h in holds if h.share >= SPRING_SHARE] or [h.words for h in holds[:1]])


def _words(about: Springs, shape: Array, springs: list[_Spring]) -> str:
    system, first = about.system, springs[0]
    named = [s for s in springs if s.share >= SPRING_SHARE] or [first]
    if first.joint is None:
        parts = _parts(system, shape)
        # Only the frame has columns: of other parts they would be the frame's, not their own.
        own = parts in ("frame in X", "frame in Y")
        return f"{parts} against {_listed([_against(s, own) for s in named])}"
    rest = f", and against {_listed([_against(s, False) for s in named[1:]])}" if len(named) > 1 else ""
    return f"{_gives_way(about, shape, first)}{rest}"


def _listed(names: list[str]) -> str:
    """ "belts", "belts and motors", "belts, motors and the frame's corners"."""
    return f"{', '.join(names[:-1])} and {names[-1]}" if len(names) > 1 else names[0]


def _springs(about: Springs, shape: Array) -> list[_Spring]:
    system = about.system
    belts = sum(float(row @ shape) ** 2 * k for row, k in about.runs)
    motors = sum(
        m.spec.rotor_teeth * m.limit_nm * float(m.row @ shape) ** 2
        for m in system.motors
        if m.row is not None and m.spec is not None
    )
    arms = sum(float(shape @ k @ shape) for k in about.arms)
    found = [
        _Spring(belts, "belts", (Hold("the belts", belts),)),
        _Spring(motors, "motors", (Hold("the motors", motors),)),
        _Spring(arms, "arms", (Hold("the arms", arms),)),
        _sway(about, shape),
    ]
    guides: dict[str, list[tuple[float, JointElement]]] = {}
    for joint, rows, k in about.joints:
        d = rows @ shape
        energy = float(d @ k @ d)
        if joint.name == "frame":
            found.append(_frame(energy, about.frame, d, joint))
        else:
            guides.setdefault(_kind(system, joint), []).append((energy, joint))
    found += [_alike(system, held) for held in guides.values()]
    total = sum(s.share for s in found) or 1.0
    return [
        replace(s, share=s.share / total, holds=tuple(replace(h, share=h.share / total) for h in s.holds))
        for s in found
    ]


def _kind(system: System, joint: JointElement) -> str:
    """What several joints have in common that count as one spring: three carriages are "carriage" beside their letters."""
    return _stands(system, joint)[0] if joint.axis is None else _guided(system, joint).kind


def _alike(system: System, held: list[tuple[float, JointElement]]) -> _Spring:
    """Joints of one kind as one spring; what it is called by is the one that holds most."""
    energy, joint = sum(e for e, _ in held), max(held, key=lambda one: one[0])[1]
    who, on = _stands(system, joint)
    if len(held) == 1:
        return _Spring(energy, _name(system, joint), (Hold(f"the {who} on its {on}", energy),), joint)
    many = f"{_kind(system, joint)}s"
    return _Spring(energy, f"the {many}' {on}", (Hold(f"the {many} on their {on}", energy),), joint)


def _sway(about: Springs, shape: Array) -> _Spring:
    """The frame's sway of the simple model: free to tilt, so that a force along an axis bends it as it likes."""
    system, parts = about.system, about.frame
    energy = float(shape @ system.stiffness @ shape)
    if not parts or energy <= 0.0:
        return _frame(energy, {}, np.zeros(6), None)
    compliance = np.linalg.inv(sum(parts.values(), np.zeros((6, 6))))
    d = np.zeros(6)
    for axis in range(2):
        name = f"frame {'xy'[axis]}"
        if name in system.dof_names:
            moved = float(shape[system.dof_names.index(name)])
            d += moved * compliance[axis] / compliance[axis, axis]
    return _frame(energy, parts, d, None)


def _frame(energy: float, parts: dict[str, Array], d: Array, joint: JointElement | None) -> _Spring:
    """The frame's spring at a deflection d (6,), in its parts; which of them gives it its name."""
    held = {name: float(d @ k @ d) for name, k in parts.items()}
    whole = sum(held.values())
    if not whole > 0.0:
        return _Spring(energy, "columns", (Hold("the frame", energy),), joint)
    holds = tuple(Hold(f"the frame on its {name}", energy * share / whole) for name, share in held.items())
    return _Spring(energy, max(held, key=lambda name: held[name]), holds, joint)


def _against(spring: _Spring, own: bool) -> str:
    """A spring behind "against". own: whether what moves is the frame itself."""
    if spring.name in FRAME_PARTS:
        return f"its {spring.name}" if own else f"the frame's {spring.name}"
    return spring.name


def _stiffness(joint: JointElement, q: Array) -> Array:
    return joint.stiffness_alone(0.0 if joint.axis is None else float(joint.row[joint.axis] @ q))


def _stands(system: System, joint: JointElement) -> tuple[str, str]:
    """Who stands on what at a joint but the frame's: ("carriage", "rods"), ("whole machine", "feet")."""
    if joint.axis is None:
        return "whole machine", "feet"
    body = _guided(system, joint)
    return called(body.name), STANDS_ON[body.guide.kind] if body.guide else "guide"


def _guided(system: System, joint: JointElement) -> Body:
    return system.machine.body(joint.name.removesuffix(" guide"))


def _name(system: System, joint: JointElement) -> str:
    """ "the feet", "the carriage's rods"."""
    who, on = _stands(system, joint)
    return "the feet" if joint.axis is None else f"the {who}'s {on}"


def _gives_way(about: Springs, shape: Array, spring: _Spring) -> str:
    """ "carriage rocks about X on its rods": by the component of the joint's deflection that holds most of its energy."""
    joint, rows, k = next(known for known in about.joints if known[0] is spring.joint)
    d = rows @ shape
    axis = int(np.argmax(d * (k @ d)))
    letter = "XYZ"[axis % 3]
    subject, on = ("frame top", spring.name) if spring.name in FRAME_PARTS else _stands(about.system, joint)
    if axis >= 3:
        verb = f"turns about {letter}" if axis == 5 else f"rocks about {letter}"
    else:
        verb = "bobs" if axis == 2 else f"sways in {letter}"
    return f"{subject} {verb} on its {on}"


def motion_shares(system: System, shape: Array) -> list[tuple[float, str, list[int]]]:
    """(share of the motion's energy, part, its coordinates) of a shape (n,), the largest first.

    Parts are bodies and rotors; at detail simple, without six coordinates, each coordinate is a part of its own.
    """
    energy = shape * (system.mass @ shape)
    energy = energy / energy.sum()
    bodies: dict[str, list[int]] = {}
    for i, name in enumerate(system.dof_names):
        body, _ = _split(name)
        key = name if not system.joints or body.startswith("rotor") else body
        bodies.setdefault(key, []).append(i)
    return sorted(((float(energy[at].sum()), key, at) for key, at in bodies.items()), reverse=True)


def _parts(system: System, shape: Array) -> str:
    """The parts that carry most of the motion, each with the coordinate it moves along most; at most two."""
    energy = shape * (system.mass @ shape)
    shares = motion_shares(system, shape)
    chosen = [at for share, _, at in shares if share >= PART_SHARE][:2] or [shares[0][2]]
    return " and ".join(plain_name(system.dof_names[max(at, key=lambda i: energy[i])]) for at in chosen)


def plain_name(name: str) -> str:
    """ "carriage x" -> "carriage in X", "gantry about z" -> "gantry turning about Z", "rotor a" -> "rotor A"."""
    head, tail = _split(name)
    head = called(head)
    if not tail:
        return head
    if tail.startswith("about "):
        return f"{head} turning about {tail[-1].upper()}"
    return f"{head} in {tail.upper()}"


def called(part: str) -> str:
    """A part's name as a person has it: "carriage a" -> "carriage A", "rotor y-right" -> "rotor Y right"; others as they are."""
    head, _, tail = part.rpartition(" ")
    if head not in ("carriage", "rotor"):
        return part
    return f"{head} {tail[:1].upper()}{tail[1:].replace('-', ' ')}"


def _split(name: str) -> tuple[str, str]:
    """A coordinate's name as its body's and its own: "carriage a", "z"; "gantry", "about z"; "rotor a", ""."""
    if name.startswith("rotor "):
        return name, ""
    head, _, tail = name.rpartition(" ")
    if head.endswith(" about"):
        return head.removesuffix(" about"), f"about {tail}"
    return head, tail
