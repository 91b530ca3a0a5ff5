"""Ringing: what the tool still does where an axis has been told to stand still.

A ring-down of an axis begins when its last shaped ramp ends and lasts until that axis is asked to move again. Its peak
comes from the extremes kept at every step of the simulation, so that no peak is lost to the recording rate; frequency,
damping and fade are those of the same leg, of its first three swings (`decay`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...plan.plan import Leg, Plan
from ...trace import Trace
from .decay import Decay, follow, judge_decay
from .stills import AXES, LONGEST_S, NAMES, Still, closest, record_of, rest_of, stand_stills
from .tones import Tone

Array = NDArray[np.float64]

SILENT_M = 2e-8  # below 20 nm nothing rings: a hundredth of the smallest mark anybody can see
LATE_S = 0.1  # an axis whose shaper takes longer stops later than the other
ALIKE = 0.9  # legs that ring this share of the worst one are told beside it


@dataclass(frozen=True)
class Ringdown:
    """One stand-still of one axis after a leg.

    leg: the leg before it.  rest_m: where the tool comes to rest, m, on that axis.  peak_m: largest |tool - rest|.
    decay: what is told of it, None where there is nothing to see.
    """

    axis: str
    leg: Leg | None
    start_s: float
    end_s: float
    rest_m: float
    peak_m: float
    decay: Decay | None

    @property
    def frequency_hz(self) -> float | None:
        """Of its first three swings, Hz."""
        return self.decay.frequency_hz if self.decay is not None else None


@dataclass(frozen=True)
class LegRinging:
    """A leg that rings about as much as the worst: its name, peak, m, and frequency, Hz."""

    leg: str | None
    peak_m: float
    frequency_hz: float | None


@dataclass(frozen=True)
class Ringing:
    """The ringing of one axis, all of it of its worst leg.

    peak_m: largest |tool - rest| after the last shaped ramp of a leg.  frequency_hz, damping_ratio,
    fades_to_5_percent_s: of the first three swings, None where nothing can be told: `why` says why not.
    drift_hz: frequency at first and as it dies, below dies_below_m.  tones: of several at once, else empty.
    leg: name of the worst leg.  others: legs within a tenth of it.
    """

    axis: str
    peak_m: float
    frequency_hz: float | None
    damping_ratio: float | None
    fades_to_5_percent_s: float | None
    leg: str | None
    cruise_speed_m_s: float | None
    watched_s: float
    drift_hz: tuple[float, float] | None = None
    dies_below_m: float | None = None
    tones: tuple[Tone, ...] = ()
    others: tuple[LegRinging, ...] = ()
    why: str = ""


def find_ringdowns(trace: Trace, plan: Plan, axes: tuple[str, ...] = AXES) -> list[Ringdown]:
    """Every ring-down of these axes worth a close look (the largest of each axis), in order of time."""
    out: list[Ringdown] = []
    for axis in range(len(axes)):
        looked_at = closest(trace, stand_stills(trace, plan, axis))
        worst_m = max((still.peak_m(rest) for still, rest in looked_at), default=0.0)
        out += [ringdown(trace, s, rest, s.peak_m(rest) >= ALIKE * worst_m) for s, rest in looked_at]
    return sorted(out, key=lambda r: (r.start_s, r.axis))


def ringdown(trace: Trace, still: Still, rest: float, closely: bool = True) -> Ringdown:
    """What a stand-still shows. rest: where the tool comes to rest in it, m.  closely: frequency and fade as well."""
    peak = still.peak_m(rest)
    decay = None
    if closely and peak >= SILENT_M:
        t, y = record_of(trace, still)
        # Rows of a thinned trace beyond those kept in full lie further apart.
        even = np.flatnonzero(np.diff(t) > 1.5 * (t[1] - t[0])) if len(t) > 2 else np.empty(0, np.int64)
        n = int(even[0]) + 1 if len(even) else len(t)
        # The last row of a run stands at its end, wherever that falls between two.
        if n > 2 and t[n - 1] - t[n - 2] < 0.99 * (t[1] - t[0]):
            n -= 1
        decay = judge_decay(t[:n] - still.start_s, y[:n] - rest)
    return Ringdown(NAMES[still.axis], still.leg, still.start_s, still.end_s, rest, peak, decay)


def ringdown_at(
    trace: Trace, plan: Plan, axis: str, leg: str, stop_s: float, seen: Sequence[Ringdown] = ()
) -> Ringdown | None:
    """What an axis does where it stands still after the leg of that name, looked at closely; None where it does not.

    stop_s: about when that leg is over, s: names may come more than once in a program.  seen: ring-downs of the same run:
    one that has been looked at closely is not looked at again.
    """
    known = [s for s in stand_stills(trace, plan, NAMES.index(axis)) if s.leg is not None and s.leg.name == leg]
    if not known:
        return None
    still = min(known, key=lambda s: abs(s.start_s - stop_s))
    for down in seen:
        if down.axis == axis and down.start_s == still.start_s and down.decay is not None:
            return down
    return ringdown(trace, still, rest_of(trace, still)) if still.start_s <= stop_s + LATE_S else None


@dataclass(frozen=True)
class Envelope:
    """How the told tone of a ring-down dies. time_s: (k,).  about_m, size_m: (k,) m, what the tool swings about, and how far
    the crests of the tone go from there."""

    time_s: Array
    about_m: Array
    size_m: Array


def envelope(trace: Trace, down: Ringdown) -> Envelope | None:
    """Of a ring-down whose frequency is told; None for others, and where it is over too soon."""
    if down.decay is None or down.decay.frequency_hz is None:
        return None
    hertz = down.decay.frequency_hz
    a, b = np.searchsorted(trace.t_s, (down.start_s - 1e-9, min(down.end_s, down.start_s + LONGEST_S) + 1e-9))
    t, y = trace.t_s[a:b] - down.start_s, trace.tool[a:b, NAMES.index(down.axis)]
    step = float(np.median(np.diff(t))) if len(t) > 8 else 0.0
    if step <= 0.0:
        return None
    times, about, size = follow(t, y, step, hertz)
    if len(times) < 2:
        return None
    # A window looks three swings ahead, so that its A is less than the crest it begins at; by how much is seen at the first.
    first = t <= 1.0 / hertz
    crest = float(np.abs(y[first] - np.interp(t[first], times, about)).max())
    more = float(np.clip(crest / max(size[0], 1e-12), 1.0, 2.0))
    return Envelope(times + down.start_s, about, more * size)


def worst(ringdowns: list[Ringdown], axis: str) -> Ringing | None:
    """The ringing of one axis, from its ring-downs; None if the axis never stands still after a leg."""
    mine = sorted((r for r in ringdowns if r.axis == axis), key=lambda r: -r.peak_m)
    if not mine:
        return None
    top, *others = mine
    told = top.decay if top.decay is not None else Decay(None, None, 0.0)
    return Ringing(
        axis=axis,
        peak_m=top.peak_m,
        frequency_hz=told.frequency_hz,
        damping_ratio=told.damping_ratio,
        fades_to_5_percent_s=told.fades_s,
        leg=_name(top),
        cruise_speed_m_s=top.leg.cruise_speed_m_s if top.leg else None,
        watched_s=top.end_s - top.start_s,
        drift_hz=told.drift_hz,
        dies_below_m=told.dies_below_m if told.drift_hz is not None else None,
        tones=told.tones,
        others=tuple(
            LegRinging(_name(r), r.peak_m, r.frequency_hz)
            for r in others
            if r.peak_m >= ALIKE * top.peak_m and r.peak_m >= SILENT_M
        ),
        why=told.why,
    )


def no_damping(found: Ringing) -> str:
    """Why a ringing with a frequency has no damping."""
    if len(found.tones) > 1:
        return "several tones at once have no damping in common"
    if found.tones:
        return "no single damped swing fits it, so that no damping can be told"
    return "it grows at first, as tones that beat do, so that no damping is its own"


def _name(down: Ringdown) -> str | None:
    return down.leg.name if down.leg else None
