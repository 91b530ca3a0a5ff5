"""Ringing: what the tool still does where an axis has been told to stand still.

A ring-down of an axis begins when its last shaped ramp ends and lasts until that axis is asked to move again. Its
peak comes from the extremes kept at every step of the simulation, so that no peak is lost to the recording rate; its
frequency and damping come from a fit of the recorded free decay, and belong to that part of it which makes the peak:
the one with the largest swing where the ring-down begins (`leading`). What goes on longer is told beside it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import takewhile

import numpy as np
from numpy.typing import NDArray

from ...plan.plan import Leg, Plan
from ...trace import Trace, WindowExtremes
from .decay import DecayFit, DecayMode, fit_decay
from .leading import at_start, fade_s
from .stills import AXES, Still, closest, record_of, stand_stills

Array = NDArray[np.float64]

SILENT_M = 2e-8  # below 20 nm nothing rings: a hundredth of the smallest mark anybody can see
FADED = 0.05  # "fades" means: falls to 5 % of where it began
TELLING = 0.4  # a ring-down this large, as a share of the largest, may tell the frequency in its place
LONGER = 1.3  # a smaller swing that takes this much longer than the main one is told beside it
SMALLEST_REST_M = 1e-6  # and is at least this large
CLEAN = 0.05  # a fit that leaves less than this describes the whole ring-down


@dataclass(frozen=True)
class Ringdown:
    """One stand-still of one axis after a leg.

    leg: the leg before it.  rest_m: where the tool comes to rest, m, on that axis.  peak_m: largest |tool - rest|.
    fit: the free decay, None where there is none to see.  fades_s: from start_s until 5 % of it all is left, None if
    unknown or never.  modes: those of the fit, amplitudes as at start_s, the largest swing first.
    """

    axis: str
    leg: Leg | None
    start_s: float
    end_s: float
    rest_m: float
    peak_m: float
    fit: DecayFit | None
    fades_s: float | None
    modes: tuple[DecayMode, ...] = ()


@dataclass(frozen=True)
class Remainder:
    """A smaller swing that goes on after the main one. amplitude_m: where the ring-down begins.

    fades_s: from there until 5 % of the peak is left of it all, None if it does not fade in the time watched.
    """

    frequency_hz: float
    amplitude_m: float
    fades_s: float | None


@dataclass(frozen=True)
class Ringing:
    """The ringing of one axis: its worst leg, and the frequency and damping of what makes the peak.

    peak_m: largest |tool - final rest| after the last shaped ramp of a leg.  frequency_hz, damping_ratio,
    fades_to_5_percent_s: of the part with the largest swing at the start, None where nothing rings or nothing can be
    told.  leg: name of the worst leg.  remainder: what goes on longer, None where nothing does.
    """

    axis: str
    peak_m: float
    frequency_hz: float | None
    damping_ratio: float | None
    fades_to_5_percent_s: float | None
    leg: str | None
    cruise_speed_m_s: float | None
    watched_s: float
    remainder: Remainder | None = None


def find_ringdowns(trace: Trace, plan: Plan) -> list[Ringdown]:
    """Every ring-down of X and Y worth a close look (the largest of each axis), in order of time."""
    out: list[Ringdown] = []
    breaks = Breaks(plan, trace.windows)
    for axis in range(len(AXES)):
        out += [ringdown(trace, s, rest, breaks) for s, rest in closest(trace, stand_stills(trace, plan, axis))]
    return sorted(out, key=lambda r: (r.start_s, r.axis))


def worst(ringdowns: list[Ringdown], axis: str) -> Ringing | None:
    """The ringing of one axis, from its ring-downs; None if the axis never stands still after a leg."""
    mine = sorted((r for r in ringdowns if r.axis == axis), key=lambda r: -r.peak_m)
    if not mine:
        return None
    top = mine[0]
    # A disturbed or too short ring-down tells no frequency; the next largest of the axis then speaks for it.
    told = [r for r in mine if r.fit is not None and r.peak_m >= TELLING * top.peak_m]
    clear = [r for r in told if r.fit is not None and r.fit.residual <= 0.1]
    best = clear[0] if clear else min(told, key=lambda r: r.fit.residual if r.fit else 1.0, default=None)
    mode = best.modes[0] if best is not None and best.modes else None
    fades = _leading_fade(best) if best is not None and mode is not None else None
    return Ringing(
        axis=axis,
        peak_m=top.peak_m,
        frequency_hz=mode.frequency_hz if mode else None,
        damping_ratio=mode.damping_ratio if mode else None,
        fades_to_5_percent_s=fades,
        leg=top.leg.name if top.leg else None,
        cruise_speed_m_s=top.leg.cruise_speed_m_s if top.leg else None,
        watched_s=top.end_s - top.start_s,
        remainder=_remainder(best, fades) if best is not None else None,
    )


def _leading_fade(down: Ringdown) -> float | None:
    """Seconds until 5 % is left of the leading mode: alone it is the ring-down as it happened, and friction may stop it
    before its envelope does."""
    if len(down.modes) == 1:
        return down.fades_s
    own = fade_s(down.modes[0])
    return own if down.fades_s is None or own is None else min(own, down.fades_s)


def _remainder(down: Ringdown, fades: float | None) -> Remainder | None:
    """The largest of the other modes that goes on clearly longer, if it is large enough to be seen beside the peak."""
    if fades is None:
        return None
    for mode in down.modes[1:]:
        own = fade_s(mode)
        lasts = own is None or own > LONGER * fades
        if lasts and mode.amplitude_m > max(FADED * down.peak_m, SMALLEST_REST_M):
            whole = down.fades_s if down.fades_s is not None else own
            return Remainder(mode.frequency_hz, mode.amplitude_m, whole) if whole is None or whole > fades else None
    return None


class Breaks:
    """Times at which the commanded acceleration jumps: as the windows kept them, else read from the plan if needed."""

    def __init__(self, plan: Plan, windows: list[WindowExtremes]) -> None:
        self._plan = plan
        self._windows = windows
        self._times: Array | None = None

    def longest_quiet(self, start: float, end: float) -> tuple[float, float]:
        """The longest stretch between two times in which no axis changes its acceleration."""
        if self._times is None:
            self._times = np.unique(np.concatenate([np.empty(0), *self._pieces()]))
        inside = self._times[(self._times > start + 1e-6) & (self._times < end - 1e-6)]
        cuts = np.concatenate(([start], inside, [end]))
        longest = int(np.argmax(np.diff(cuts)))
        return float(cuts[longest]), float(cuts[longest + 1])

    def first_after(self, start: float, end: float) -> float:
        """The first time between two times at which some axis changes its acceleration; else the later one."""
        self.longest_quiet(start, end)
        assert self._times is not None
        inside = self._times[(self._times > start + 1e-6) & (self._times < end - 1e-6)]
        return float(inside[0]) if len(inside) else end

    def _pieces(self) -> Iterator[Array]:
        watched = [w for w in self._windows if any(w.resting)]
        if all(w.breakpoints is not None for w in watched):
            yield from (np.concatenate(([w.t0], w.breakpoints)) for w in watched if w.breakpoints is not None)
            return
        until = self._windows[-1].t1
        for window in takewhile(lambda w: w.t0 < until, self._plan.windows()):
            yield np.concatenate(([window.t0], window.breakpoints))


def ringdown(trace: Trace, still: Still, rest: float, breaks: Breaks) -> Ringdown:
    """What a stand-still shows. rest: where the tool comes to rest in it, m."""
    start, end, seen_until = still.start_s, still.end_s, still.seen_until_s
    t, y = record_of(trace, still)
    fit: DecayFit | None = None
    quiet = (start, seen_until)
    if still.swing_m > SILENT_M and len(t):
        fit = whole = fit_decay(t, y)
        if whole is None or whole.residual > CLEAN:
            quiet = breaks.longest_quiet(start, seen_until)
            fit = _better(whole, t, y, quiet)
    peak = still.peak_m(rest)
    if peak < SILENT_M:
        fit = None
    # What the other axis stirs up later, when it brakes, is not this ring-down fading.
    own = t <= quiet[1] + 1e-9
    fades = _fade_time(t[own], y[own], rest, peak, fit, start) if fit is not None else None
    name, leg = AXES[still.axis], still.leg
    if fit is None:
        return Ringdown(name, leg, start, end, rest, peak, None, None)
    until = breaks.first_after(start, seen_until) if fit.start_s - start > 1e-3 else start
    early = (t >= start - 1e-9) & (t <= until + 1e-9)
    found = at_start(fit, t[early], y[early], start, peak)
    return Ringdown(name, leg, start, end, rest, peak, fit, fades, found)


def _better(whole: DecayFit | None, t: Array, y: Array, quiet: tuple[float, float]) -> DecayFit | None:
    """The better of the whole fit and that of the quiet stretch alone."""
    a, b = np.searchsorted(t, (quiet[0] - 1e-9, quiet[1] + 1e-9))
    if b - a < 12 or b - a == len(t):
        return whole
    part = fit_decay(t[a:b], y[a:b])
    if part is None or (whole is not None and whole.residual <= part.residual):
        return whole
    return part


def _fade_time(t: Array, y: Array, rest: float, peak: float, fit: DecayFit, start: float) -> float | None:
    """Seconds from `start` until 5 % is left: by the fitted envelope where the fit is clean, else as it happened."""
    if fit.residual < CLEAN and abs(fit.start_s - start) < 1e-3:
        return _envelope_time(fit, peak)
    away = np.flatnonzero(np.abs(y - rest) > FADED * peak)
    if len(away) and away[-1] + 1 < len(t):
        return float(t[away[-1] + 1] - start)
    return _envelope_time(fit, peak)


def _envelope_time(fit: DecayFit, peak: float) -> float | None:
    """When the modes' envelopes together have fallen to 5 % of the start: for one mode ln 20 / (zeta omega).

    Several modes add up to more than the peak ever seen; then the peak counts, or the dominant mode if that is larger.
    """
    amplitudes = np.array([m.amplitude_m for m in fit.modes])
    frequencies = np.array([m.frequency_hz for m in fit.modes])
    ratios = np.array([m.damping_ratio for m in fit.modes])
    decay = 2 * np.pi * frequencies * ratios / np.sqrt(1 - ratios**2)
    goal = FADED * min(amplitudes.sum(), max(peak, amplitudes[0]))
    if np.sum(amplitudes[decay < 1e-4]) >= goal:
        return None
    low, high = 0.0, 10.0 / float(decay[decay >= 1e-4].min())
    for _ in range(80):
        middle = 0.5 * (low + high)
        if np.sum(amplitudes * np.exp(-decay * middle)) > goal:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)
