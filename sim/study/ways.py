"""The ways a machine swings, as they are shown: which parts move how, what holds them, what would help. SI units.

Frequencies, shapes and shares are the model's (`model.modes`); here they are put into what a person is told.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..chain.chain import Outcome
from ..chain.heard import Seen, seen
from ..model.mode_words import PART_SHARE, Hold, called, motion_shares, plain_name
from ..model.modes import Mode, pushed, swing
from ..model.system import System
from ..scenario.motion import motion_limits

Array = NDArray[np.float64]

#: Of the motion or the springs less than this share is not listed; a spring that holds less than WILL_NOT does not decide.
LISTED, WILL_NOT = 0.01, 0.10
#: What swings the tool less than this after a stop shows nowhere, m.
UNSEEN_M = 1e-7
#: "A tenth stiffer": what a spring gains in the sentence on what helps.
STIFFER = 0.1
WHOLE = "whole machine"


@dataclass(frozen=True)
class Share:
    """A part or a spring in words, and its share of the energy."""

    name: str
    share: float


@dataclass(frozen=True)
class Way:
    """One way to swing. twist: by body (6,), translation of its mass centre and rotation, per unit of the shape's
    mass-normalised amplitude.  after_stop: that amplitude after a jump of the set acceleration.

    swing_m: how far the tool then swings in X and Y.  towards: "x" or "y", where it swings most, "" where it hardly does.
    named: the bodies the title speaks of.  holds, moves: shares of the springs' and the motion's energy, largest first.
    helps, will_not: two sentences.  heard: how the ringing of the run shows it, and why not at its own frequency; or "".
    heard_hz: where the run shows it, where that swings most; None where it is not heard.
    """

    mode: Mode
    twist: dict[str, Array]
    after_stop: float
    swing_m: tuple[float, float]
    towards: str
    title: str
    named: tuple[str, ...]
    holds: tuple[Share, ...]
    moves: tuple[Share, ...]
    helps: str
    will_not: str
    heard: str
    heard_hz: float | None

    @property
    def seen_hz(self) -> float:
        """Where it stands in the run's spectrum, Hz: where it is heard, else at its own frequency."""
        return self.mode.frequency_hz if self.heard_hz is None else self.heard_hz


def ways_of(outcome: Outcome) -> tuple[Way, ...]:
    """Every mode in the middle of the move as a way to swing, the slowest first, after a jump of the set acceleration."""
    acceleration = motion_limits(outcome.scenario).acceleration_m_s2
    told = seen(outcome)
    return tuple(_way(outcome.system, mode, acceleration, told.get(k, [])) for k, mode in enumerate(outcome.modes))


def _way(system: System, mode: Mode, acceleration: float, told: Sequence[Seen]) -> Way:
    swung = (swing(system, mode, 0) * acceleration, swing(system, mode, 1) * acceleration)
    axis = int(swung[1] > swung[0])
    shares = motion_shares(system, mode.shape)
    movers = [body_of(system, key) for share, key, _ in shares if share >= PART_SHARE][:2]
    whole = mode.words.startswith(WHOLE)
    most = next((one for one in told if one.axis == "xy"[axis]), told[0] if told else None)
    named = (
        tuple(body.name for body in system.machine.bodies)
        if whole
        else tuple(movers or [body_of(system, shares[0][1])])
    )
    return Way(
        mode=mode,
        twist={
            body.name: np.concatenate([system.body_rows[body.name], system.body_turns[body.name]]) @ mode.shape
            for body in system.machine.bodies
        },
        after_stop=max(abs(pushed(system, mode, k)) for k in (0, 1)) * acceleration,
        swing_m=swung,
        towards="xy"[axis] if swung[axis] >= UNSEEN_M else "",
        title=_title(mode.words, called(body_of(system, shares[0][1])), _part_words(system, shares[0][1])),
        named=named,
        holds=tuple(Share(spring_words(h), h.share) for h in mode.holds if h.share >= LISTED),
        moves=tuple(Share(_part_words(system, key), share) for share, key, _ in shares if share >= LISTED),
        helps=helps(mode),
        will_not=will_not(mode),
        heard="; ".join(f"at {one.frequency_hz:.3g} Hz in {one.axis.upper()}{_why(one)}" for one in told),
        heard_hz=None if most is None else most.frequency_hz,
    )


def _why(one: Seen) -> str:
    """The last reason why a tone is not the mode's own: ": guides that stick raise it"."""
    reason = one.why.rpartition(" and ")[2].replace("modes beside", "ways to swing beside")
    return "" if not reason else ": the tool stands elsewhere" if reason.startswith("where ") else f": {reason}"


def body_of(system: System, part: str) -> str:
    """The body of a part of `motion_shares`: of a rotor, the one that carries its motor."""
    if part.startswith("rotor "):
        return next(m.stator for m in system.machine.motors if m.name == part.removeprefix("rotor "))
    names = [body.name for body in system.machine.bodies]
    return next(
        (name for name in sorted(names, key=len, reverse=True) if part == name or part.startswith(f"{name} ")), part
    )


def _part_words(system: System, part: str) -> str:
    """ "frame top", "base and bed", "rotor of motor A": a part with what stands on it without a spring of its own."""
    if part.startswith("rotor "):
        return called(part).replace("rotor ", "rotor of motor ")
    if not system.joints:
        return plain_name(part)
    own = {name.split(" about ")[0].rpartition(" ")[0] for name in system.dof_names}
    riders = [
        b.name
        for b in system.machine.bodies
        if b.parent == part and b.name not in own and b.name not in system.dof_names
    ]
    return " and ".join(["frame top" if part == "frame" else called(part), *(called(rider) for rider in riders)])


def _title(words: str, body: str, mover: str) -> str:
    """The mode's words; where another part carries most of the motion, that first."""
    told = words if words.startswith((body, mover, WHOLE)) else f"{mover} moves most: {words}"
    return told[0].upper() + told[1:]


def spring_words(hold: Hold) -> str:
    """ "the carriage's rods", "the feet", "the belts"."""
    who, _, on = hold.what.partition(" on its ")
    return who if not on else f"the {on}" if who == f"the {WHOLE}" else f"{who}'s {on}"


def stiffer_hz(frequency_hz: float, share: float) -> float:
    """Frequency, Hz, once springs that hold a share of the strain are a tenth stiffer: w^2 is the strain over the motion, and
    by Rayleigh's principle the shape's own change does not count to first order."""
    return frequency_hz * math.sqrt(1.0 + STIFFER * share)


def helps(mode: Mode) -> str:
    """Where it gives way, and what a tenth more stiffness there does."""
    if not mode.holds:
        return ""
    first = [h for h in mode.holds if h.share >= 0.5][:1] or list(mode.holds[:2])
    share = sum(h.share for h in first)
    where = " and ".join(f"{spring_words(h)} ({100 * h.share:.0f} %)" for h in first)
    most = "Most of it gives" if share >= 0.5 else "It gives"
    after, before = stiffer_hz(mode.frequency_hz, share), mode.frequency_hz
    return (
        f"{most} way in {where}: a tenth stiffer there, it swings {after:.3g} times a second instead of {before:.3g}."
    )


def will_not(mode: Mode) -> str:
    """What does not decide: belts first, as they are what is bought first, then the frame."""
    belts = sum(h.share for h in mode.holds if h.what == "the belts")
    frame = sum(h.share for h in mode.holds if h.what.startswith("the frame"))
    if belts < WILL_NOT:
        return f"Stiffer belts will not help: {_held(belts)}."
    if frame < WILL_NOT:
        return f"A stiffer frame will not help: {_held(frame).replace('they hold', 'it holds')}."
    return "Several springs share it: no one part ends it."


def _held(share: float) -> str:
    return f"they hold {100 * share:.0f} % of it" if share >= 0.005 else "they hold nothing of it"
