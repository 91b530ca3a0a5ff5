"""The reading: what a run says, in sentences a person at the bench can act on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from ..practice import INVISIBLE_M, SEEN_M
from ..trace import Slip, Trace
from .path import PathError
from .response import Response
from .ringing import Ringing
from .ringing.levels import LevelRinging
from .terms import ALONG_LINE, OFF_LINE, after_corner


def read(
    trace: Trace,
    ringing: dict[str, Ringing | None],
    path: PathError,
    spacing_m: float | None,
    speed_m_s: float | None,
    levels: tuple[LevelRinging, ...] = (),
    responses: tuple[Response, ...] = (),
    causes: Mapping[str, Sequence[str]] | None = None,
    last_leg: str = "",
) -> tuple[str, ...]:
    """Sentences, the most important first: how the run ended, what went wrong, what rings, how far off the path.

    spacing_m, speed_m_s: of the ripples on a printed wall, None where nothing rings.  levels: of a ladder.
    responses: to a chirp; what rings on after it is then beside the point.  causes: by axis the cause of its told
    frequency, then of each of several tones; None or empty where it is not known.  last_leg: name of the plan's last leg.
    """
    out: list[str] = []
    if trace.stopped_at_s is not None:
        out.append(f"The run ended early, at {trace.stopped_at_s:.3f} s: {trace.ended}.")
    out += _slips(trace)
    out += _slack(trace)
    if trace.broke_down:
        return tuple(out)  # how a machine that broke down rings, and how far off it is, says nothing of the machine
    if responses:
        out += [_response(r) for r in responses]
    else:
        out.append(_ringing(ringing, spacing_m, speed_m_s, causes or {}, last_leg))
    if levels:
        out.append(_levels(levels))
    out.append(_path(path))
    return tuple(out)


def _path(path: PathError) -> str:
    """How far off the path; what shapers delay leaves no mark on a wall, and is told apart from what the tool lags."""
    along = length(path.along_max_m)
    if path.delay_max_m > 0.0:
        along = f"{length(path.own_max_m)}, not counting the shapers' delay of up to {length(path.delay_max_m)}"
    height = "" if path.height_m is None else f" Its height is off by at most {length(path.height_m[0])}."
    return (
        f"The tool goes {OFF_LINE} by at most {length(path.across_max_m)} (rms {length(path.across_rms_m)}); "
        f"{ALONG_LINE} it is at most {along}{'' if path.delay_max_m > 0.0 else ' late or early'}.{height}"
    )


def _slips(trace: Trace) -> list[str]:
    return [
        f"Motor {s.motor} {out_of_step(s, _where(s))}: the move asks for more torque than it has at that speed."
        for s in trace.slips
    ]


def out_of_step(s: Slip, where: str = "") -> str:
    """What a motor that fell out of step did, after its name. where: words behind the time."""
    most = f"{s.most_steps_off} full steps off at most"
    if s.lost_steps:
        more = f" ({most})" if s.most_steps_off > s.lost_steps else ""
        return (
            f"loses {s.lost_steps} full steps{more}, the first at {s.time_s:.3f} s{where}, and everything after that is laid in "
            "the wrong place"
        )
    return (
        f"falls out of step at {s.time_s:.3f} s{where}, {most}; that it ends where it should is chance, and what it laid "
        "meanwhile is in the wrong place"
    )


def _where(slip: Slip) -> str:
    if slip.place_m is None:
        return ""
    x, y, _ = slip.place_m
    return f" near X {x * 1e3:.1f} Y {y * 1e3:.1f}"


def _slack(trace: Trace) -> list[str]:
    return [
        f"Belt {belt} hangs slack for {duration(seconds)}: the move takes more off it than its pretension."
        for belt, seconds in trace.slack_s.items()
        if seconds > 0
    ]


def _ringing(
    ringing: dict[str, Ringing | None],
    spacing_m: float | None,
    speed_m_s: float | None,
    causes: Mapping[str, Sequence[str]],
    last_leg: str,
) -> str:
    known = [r for r in ringing.values() if r is not None]
    if not known:
        return "No axis stands still after a corner, so there is no ringing to measure: give the move a settle_ms."
    loud = [r for r in known if r.peak_m >= 1e-6]
    if not loud:
        return "Nothing rings: the tool comes to rest within 1 µm."
    loud.sort(key=lambda r: -r.peak_m)
    said = [f"{_clause(r, causes.get(r.axis, ()), last_leg)}." for r in loud]
    level = [r.peak_m for r in loud if r.axis != "z"]  # what goes up and down leaves no ripples on a wall
    if not level:
        return " ".join(said)
    peak = level[0]
    if peak < INVISIBLE_M:
        seen = f"at {length(peak)} a wall hardly shows them"
    elif peak > SEEN_M:
        seen = f"at {length(peak)} they are plain to see"
    else:
        seen = f"at {length(peak)} a glossy wall shows them"
    if spacing_m is not None and speed_m_s is not None:
        said.append(f"At {speed_m_s * 1e3:.3g} mm/s the wall shows ripples {spacing_m * 1e3:.2g} mm apart; {seen}.")
    else:
        said.append(f"{seen[:1].upper()}{seen[1:].replace('them', 'it').replace('they are', 'it is')}.")
    return " ".join(said)


def _levels(levels: tuple[LevelRinging, ...]) -> str:
    """How far up the ladder one may go before the ringing is plain to see."""
    over = next((n for n, level in enumerate(levels) if level.loudest_m > SEEN_M), None)
    top = levels[-1]
    if over is None:
        return f"The ringing stays below {length(SEEN_M)} on every level; at {at_level(top)} it is {length(top.loudest_m)}."
    first = levels[over]
    if over == 0:
        return f"Even on the lowest level, {at_level(first)}, the ringing is plain to see: {length(first.loudest_m)}."
    return (
        f"Up to {at_level(levels[over - 1])} the ringing stays below {length(SEEN_M)}; at {at_level(first)} it is "
        f"{length(first.loudest_m)}, plain to see."
    )


def at_level(found: LevelRinging) -> str:
    """The limit a level is run at, with its unit."""
    unit = "mm/s²" if found.level.quantity == "acceleration" else "mm/s"
    return f"{found.level.value * 1e3:.4g} {unit}"


def _response(found: Response) -> str:
    name = found.axis.upper()
    if not found.peaks:
        more = ", and still rises where it ends: sweep further with to_hz" if found.still_rising else ""
        return f"{name} has no resonance between the ends of the sweep{more}."
    first, *others = found.peaks
    also = f", and also at {' and '.join(f'{p.frequency_hz:.3g}' for p in others)} Hz" if others else ""
    return (
        f"{name} answers the sweep most at {first.frequency_hz:.3g} Hz, where it swings {length(first.gain_s2)} for each m/s² "
        f"of acceleration{also}."
    )


def _clause(r: Ringing, causes: Sequence[str], last_leg: str) -> str:
    """What an axis does, in one clause: its tone, or why none is told; how long; what changes on the way; the cause."""
    name = r.axis.upper()
    if r.frequency_hz is None:
        where = after_corner(r.leg, last_leg)
        return f"{name} swings {length(r.peak_m)}{where}, at what frequency cannot be told: {r.why or 'too few rows'}"
    if len(r.tones) > 1:
        each = [f": {words}" for words in causes[1:]] or [""] * len(r.tones)
        listed = ", ".join(
            f"{length(tone.amplitude_m)} at {tone.frequency_hz:.3g} Hz{why}"
            for tone, why in zip(r.tones, each, strict=True)
        )
        clause = f"{name} rings at several frequencies at once ({listed})"
    elif drifts(r) and r.drift_hz is not None and r.dies_below_m is not None:
        first, last = r.drift_hz
        clause = f"{name} rings at {first:.3g} Hz at first, {last:.3g} Hz as it dies below {length(r.dies_below_m)},"
    else:
        clause = f"{name} rings at {r.frequency_hz:.3g} Hz"
    if r.fades_to_5_percent_s is None:
        clause += f" and does not fade in the {duration(r.watched_s)} watched"
    else:
        clause += f" and fades in {duration(r.fades_to_5_percent_s)}"
    clause += _other_corner(r, r.frequency_hz, last_leg)
    return f"{clause}: {causes[0]}" if causes and len(r.tones) < 2 else clause


def _other_corner(r: Ringing, told_hz: float, last_leg: str) -> str:
    """A corner after which it rings about as much as after the worst, at another frequency."""
    for other in r.others:
        if other.frequency_hz is not None and abs(other.frequency_hz / told_hz - 1.0) > DRIFT_SHARE:
            beside = f"{length(other.peak_m)} at {other.frequency_hz:.3g} Hz{after_corner(other.leg, last_leg)}"
            return f" ({length(r.peak_m)}{after_corner(r.leg, last_leg)}; {beside})"
    return ""


#: A frequency that changes by more than this share is told with its change.
DRIFT_SHARE = 0.05


def drifts(r: Ringing) -> bool:
    """Whether the frequency changes on the way by enough to be told."""
    return r.drift_hz is not None and abs(r.drift_hz[1] / r.drift_hz[0] - 1.0) > DRIFT_SHARE


def length(value_m: float) -> str:
    """A small length with its unit, in micrometres below a millimetre."""
    if abs(value_m) >= 1e-3:
        return f"{value_m * 1e3:.3g} mm"
    if abs(value_m) >= 99.5e-6:
        return f"{value_m * 1e6:.0f} µm"
    return f"{value_m * 1e6:.2g} µm"


def duration(value_s: float) -> str:
    """A duration with its unit, in milliseconds below a second."""
    if value_s >= 0.9995:
        return f"{value_s:.3g} s"
    return f"{value_s * 1e3:.3g} ms" if value_s >= 0.01 else f"{value_s * 1e3:.2g} ms"
