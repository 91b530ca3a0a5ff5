"""What a film says at a corner: a headline and one line, from what was measured there. SI units."""

from __future__ import annotations

from ..analyse.analysis import Analysis
from ..analyse.reading import duration
from ..practice import INVISIBLE_M


def corner_caption(analysis: Analysis, name: str, leg: str, sized: bool = True) -> tuple[str, str]:
    """(headline, line) for the corner of that name after a leg: what rings there, why, and when it has faded.

    sized: whether the line says how far it swings; not so beside a picture that tells another size of the same moment.
    """
    head = f"{name[0].upper()}{name[1:]}"
    here = [d for d in analysis.ringdowns if d.leg is not None and d.leg.name == leg]
    loud = max(here, key=lambda d: d.peak_m, default=None)
    told = analysis.ringing.get(loud.axis) if loud is not None else None
    if loud is None or told is None:
        return f"{head}: it goes on without a stop.", ""
    if loud.peak_m < INVISIBLE_M:
        return (
            f"{head}: told to stop, it stops.",
            f"{loud.axis.upper()} swings by {1e6 * loud.peak_m:.1f} µm: nothing to see.",
        )
    # The worst corner's decay is told for all that were not looked at closely; its frequency hardly changes.
    decay = loud.decay
    hz = decay.frequency_hz if decay is not None and decay.frequency_hz else told.frequency_hz
    fades = decay.fades_s if decay is not None and decay.fades_s is not None else told.fades_to_5_percent_s
    often = f"{hz:.3g} times a second" if hz else ""
    swings = f"{loud.axis.upper()} swings"
    said = [f"{swings} by {1e6 * loud.peak_m:.0f} µm", often] if sized else [f"{swings} {often or 'on'}"]
    if fades is not None:
        said.append(f"faded after {duration(fades)}")
    gives = analysis.gives_way(loud.axis)
    why = f" It gives way in {gives}." if gives else ""
    return f"{head}: told to stop, it rings on.", f"{', '.join(filter(None, said))}.{why}"
