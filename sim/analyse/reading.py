"""The reading: what a run says, in sentences a person at the bench can act on."""

from __future__ import annotations

from ..trace import Slip, Trace
from .path import PathError
from .ringing import Ringing

# Common practice, no source: a glossy wall begins to show ripples of 5 to 10 um, 20 um is certainly seen, and a nail
# feels 20 to 30 um.
INVISIBLE_M = 5e-6
SEEN_M = 20e-6


def read(
    trace: Trace,
    ringing: dict[str, Ringing | None],
    path: PathError,
    spacing_m: float | None,
    speed_m_s: float | None,
) -> tuple[str, ...]:
    """Sentences, the most important first: how the run ended, what went wrong, what rings, how far off the path.

    spacing_m, speed_m_s: of the ripples on a printed wall, None where nothing rings.
    """
    out: list[str] = []
    if trace.stopped_at_s is not None:
        out.append(f"The run ended early, at {trace.stopped_at_s:.3f} s: {trace.ended}.")
    out += _slips(trace)
    out += _slack(trace)
    out.append(_ringing(ringing, spacing_m, speed_m_s))
    out.append(
        f"The tool strays from the asked path by at most {length(path.across_max_m)} "
        f"({length(path.across_rms_m)} rms, {length(path.along_max_m)} at most along it)."
    )
    return tuple(out)


def _slips(trace: Trace) -> list[str]:
    return [
        f"Motor {s.motor} loses {abs(s.lost_steps)} full steps, the first at {s.time_s:.3f} s{_where(s)}, and everything after "
        "that is laid in the wrong place: lower the acceleration or the speed, or give the motor more current."
        for s in trace.slips
        if s.lost_steps
    ]


def _where(slip: Slip) -> str:
    if slip.place_m is None:
        return ""
    x, y, _ = slip.place_m
    return f" near X {x * 1e3:.1f} Y {y * 1e3:.1f}"


def _slack(trace: Trace) -> list[str]:
    return [
        f"Belt {belt} hangs slack for {duration(seconds)}: raise its pretension or lower the acceleration."
        for belt, seconds in trace.slack_s.items()
        if seconds > 0
    ]


def _ringing(ringing: dict[str, Ringing | None], spacing_m: float | None, speed_m_s: float | None) -> str:
    known = [r for r in ringing.values() if r is not None]
    if not known:
        return "No axis stands still after a leg, so there is no ringing to measure: give the move a settle_ms."
    loud = [r for r in known if r.frequency_hz is not None and r.peak_m >= 1e-6]
    if not loud:
        top = max(known, key=lambda r: r.peak_m)
        if top.peak_m < 1e-6:
            return "Nothing rings: the tool comes to rest within 1 µm."
        return f"Nothing rings: the tool swings back at most {length(top.peak_m)} in {top.axis.upper()} and stays."
    loud.sort(key=lambda r: -r.peak_m)
    clauses = [_clause(r) for r in loud]
    if spacing_m is not None and speed_m_s is not None:
        clauses.append(f"at {speed_m_s * 1e3:.3g} mm/s the wall shows ripples {spacing_m * 1e3:.2g} mm apart")
    peak = loud[0].peak_m
    sentence = f"{'; '.join(clauses)}."
    if peak < INVISIBLE_M:
        return sentence + f" At {length(peak)} a wall hardly shows them."
    if peak > SEEN_M:
        return sentence + f" At {length(peak)} they are plain to see."
    return sentence + f" At {length(peak)} a glossy wall shows them."


def _clause(r: Ringing) -> str:
    assert r.frequency_hz is not None
    name = f"{r.axis.upper()} rings at {r.frequency_hz:.3g} Hz"
    if r.fades_to_5_percent_s is None:
        return f"{name} and does not fade in the {duration(r.watched_s)} watched"
    return f"{name} and fades in {duration(r.fades_to_5_percent_s)}"


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
