"""The cause of a ringing: the mode behind what was measured, and which springs hold it. SI units."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..model.mode_words import cause
from ..model.modes import Mode, bare_modes, in_words, swing
from ..model.system import Array, System
from ..trace import Trace
from .ringing import Ringdown, Ringing

#: How far from a measured frequency its mode may lie, and how soon distance counts; natural logarithms of the ratio.
FARTHEST, SOON = 0.25, 0.06
#: What swings less than this does not ring, m.
FELT_M = 1e-6


@dataclass(frozen=True)
class Behind:
    """A tone of a ringing and the mode that explains it; None where none of the model lies near."""

    frequency_hz: float
    mode: Mode | None

    @property
    def words(self) -> str:
        """ "the frame on its corners (92 %)"."""
        return cause(self.mode.holds) if self.mode else "no mode of the model lies near"


def causes(system: System, trace: Trace, ringdowns: Sequence[Ringdown], ringing: Ringing | None) -> tuple[Behind, ...]:
    """What is behind the ringing of an axis: its told frequency first, then further tones of several at once.

    Empty where nothing rings or no frequency is told. Small motions stick in the guides' friction, whose bristles are
    springs, so a mode is heard anywhere between its own frequency and the one with all guides stuck. Of the modes at the
    place where it rings that come near, the one is taken that swings the tool most along its axis, the nearer the better.
    """
    if ringing is None or not ringing.frequency_hz or ringing.peak_m < FELT_M:
        return ()
    column = "xy".index(ringing.axis)
    heard = max((d for d in ringdowns if d.axis == ringing.axis), key=lambda d: d.peak_m)
    place = trace.commanded[int(np.searchsorted(trace.t_s, heard.start_s, side="right")) - 1]
    known = bare_modes(system, place)
    told = [ringing.frequency_hz, *(t.frequency_hz for t in ringing.tones)]
    found = [behind_at(system, known, column, hz) for hz in told]
    return worded(system, place, found)


def worded(system: System, place: Array, found: Sequence[Behind]) -> tuple[Behind, ...]:
    """The same, with words for the modes that have none yet, as `bare_modes` gives them with the tool at `place` (3,), m."""
    bare = [one.mode for one in found if one.mode is not None and not one.mode.words]
    told = iter(in_words(system, place, bare) if bare else ())
    return tuple(replace(b, mode=next(told)) if b.mode is not None and not b.mode.words else b for b in found)


def behind_at(system: System, known: Sequence[Mode], column: int, hz: float) -> Behind:
    """What is behind a frequency at which the tool swings along an axis (0 X, 1 Y), of the modes known."""
    near = [(_nearness(system, mode, hz), i) for i, mode in enumerate(known)]
    marks = [(share * swing(system, known[i], column), i) for share, i in near if share > 0.0]
    best, at = max(marks, default=(0.0, 0))
    return Behind(hz, known[at] if best > 0 else None)


def _nearness(system: System, mode: Mode, frequency_hz: float) -> float:
    """1 where a mode can sound at a frequency, falling to 0 with the distance from its range."""
    above = math.log(mode.frequency_hz / frequency_hz)
    if above >= FARTHEST:
        return 0.0
    bends = system.once(_bristle_rows) @ mode.shape
    stuck_hz = math.sqrt((2 * math.pi * mode.frequency_hz) ** 2 + float(bends @ bends)) / (2 * math.pi)
    off = max(0.0, above, math.log(frequency_hz / stuck_hz))
    return math.exp(-((off / SOON) ** 2)) if off < FARTHEST else 0.0


def _bristle_rows(system: System) -> Array:
    """What a shape bends each guide's bristles by, times the root of their stiffness: rows (guides, n)."""
    rows = [math.sqrt(f.sigma0_n_m) * f.row for f in system.frictions]
    return np.array(rows).reshape(len(rows), system.n)


#: From this ratio of a measured frequency to its mode on, guides that stick are what raises it.
RAISED = 1.05


def raised_by_friction(
    system: System, ringing: dict[str, Ringing | None], behind: dict[str, tuple[Behind, ...]]
) -> dict[str, float]:
    """By axis the frequency, Hz, seen while it moves, where guides that stick raise what is told of it at rest.

    Told is the ringing of an axis at rest. There small motions only bend the bristles of its guides' friction (they slide
    no further), which are springs beside the belts: it rings faster and dies sooner than on the move, at the linear mode.
    """
    out = {}
    for axis, found in behind.items():
        one = ringing[axis]
        if one is None or not one.frequency_hz or not system.frictions or not found or found[0].mode is None:
            continue
        if one.frequency_hz > RAISED * found[0].mode.frequency_hz:
            out[axis] = found[0].mode.frequency_hz
    return out


def raised_words(ringing: dict[str, Ringing | None], moving_hz: dict[str, float]) -> str | None:
    """A sentence on why the ringing told may differ from what is seen while an axis moves; None where it does not."""
    parts = [
        f"{axis.upper()} at {one.frequency_hz:.3g} Hz, on the move at about {hz:.3g} Hz"
        for axis, hz in moving_hz.items()
        if (one := ringing[axis]) is not None
    ]
    if not parts:
        return None
    told = "; ".join(parts)
    return (
        f"At rest an axis sticks in its guides and rings faster: {told}, and for longer. Tune a shaper to the latter."
    )
