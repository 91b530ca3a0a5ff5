"""The judgement of one run: ringing, spectra, path error, ripple spacing and the reading in words. SI units."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from ..model.system import System
from ..plan.plan import Plan
from ..trace import Trace
from .cause import Behind, causes, raised_by_friction, raised_words
from .path import PathError, path_error
from .path.error import MeanSquare
from .reading import read
from .response import Response, responses
from .ringing import AXES, SILENT_M, Ringdown, Ringing, find_ringdowns, worst
from .ringing.levels import LevelRinging, level_ringing
from .ripples import RippleMap
from .spectrum import Spectra, Spectrum


@dataclass(frozen=True)
class Analysis:
    """What a trace says about its machine.

    ringing: by axis "x", "y", on arms "z" too; None where that axis never stands still after a leg.  ringdowns: those looked at.
    spectra: by axis, each worked out when it is first asked for.  path: across and along.  ringing_axis: the axis that rings
    most, None if nothing rings.
    ripple_spacing_m: v / f of that axis at the cruise speed of its worst leg.  sentences: the reading, most
    important first.  ripples: path error along the path, of programs.  levels: of a ladder.  responses: to a chirp.
    behind: by axis the modes behind its ringing, the told frequency first; empty where none is told.  raised: a sentence
    where guides that stick raise what is told, moving_hz: by axis what is seen on the move then.
    """

    ringing: dict[str, Ringing | None]
    ringdowns: list[Ringdown]
    spectra: Mapping[str, Spectrum]
    path: PathError
    ringing_axis: str | None
    ripple_spacing_m: float | None
    ripple_speed_m_s: float | None
    sentences: tuple[str, ...]
    ripples: RippleMap | None = None
    levels: tuple[LevelRinging, ...] = ()
    responses: tuple[Response, ...] = ()
    behind: dict[str, tuple[Behind, ...]] = field(default_factory=lambda: dict.fromkeys(AXES, ()))
    raised: str | None = None
    moving_hz: dict[str, float] = field(default_factory=dict)

    def gives_way(self, axis: str) -> str:
        """ "the belts (63 %)": what gives way in what is heard of an axis; "" where no mode stands behind it."""
        behind = self.behind.get(axis)
        return behind[0].words if behind and behind[0].mode is not None else ""

    @property
    def reading(self) -> str:
        """The sentences as one paragraph."""
        return " ".join(self.sentences)


def analyse(
    trace: Trace,
    plan: Plan,
    path: PathError | None = None,
    ripples: RippleMap | None = None,
    remarks: tuple[str, ...] = (),
    system: System | None = None,
    axes: tuple[str, ...] = AXES,
) -> Analysis:
    """Judge a run. trace: as simulated from plan. Nothing in the result is NaN: what cannot be told is None.

    path: its path error, where it was measured while it was simulated (`path.meter`); None: measured here.
    ripples: of programs.
    remarks: finished sentences about the model it was run with, the last of the reading.  system: that model, from whose
    modes the cause of what rings is told; None: no cause is.
    axes: those that may ring, X, Y and, where arms carry the tool, Z, which leaves no ripples on a wall.
    """
    ringdowns = find_ringdowns(trace, plan, axes)
    ringing = {axis: worst(ringdowns, axis) for axis in axes}
    loud = [r for axis, r in ringing.items() if axis in AXES and r is not None and r.peak_m >= SILENT_M]
    top = max(loud, key=lambda r: r.peak_m, default=None)
    speed = top.cruise_speed_m_s if top is not None and top.cruise_speed_m_s else None
    spacing = speed / top.frequency_hz if top is not None and top.frequency_hz and speed else None
    if path is None:
        path = path_error(trace, plan)
    if "z" in axes and len(trace.t_s):
        path = replace(path, height_m=_height(trace))
    levels, answered = level_ringing(trace, plan), responses(trace, plan)
    if answered:
        spacing = None  # a sweep prints no wall
    behind: dict[str, tuple[Behind, ...]] = dict.fromkeys(AXES, ())
    if system is not None and not answered:
        behind = {axis: causes(system, trace, ringdowns, ringing[axis]) for axis in AXES}
    words = {axis: [b.words for b in found] for axis, found in behind.items()}
    moving_hz = raised_by_friction(system, ringing, behind) if system is not None else {}
    last = plan.legs[-1].name if plan.legs else ""
    return Analysis(
        ringing=ringing,
        ringdowns=ringdowns,
        spectra=Spectra(trace, ringdowns, AXES),
        path=path,
        ringing_axis=top.axis if top is not None else None,
        ripple_spacing_m=spacing,
        ripple_speed_m_s=speed if spacing is not None else None,
        sentences=(*read(trace, ringing, path, spacing, speed, levels, answered, words, last), *remarks),
        ripples=ripples,
        levels=levels,
        responses=answered,
        behind=behind,
        raised=raised_words(ringing, moving_hz),
        moving_hz=moving_hz,
    )


def _height(trace: Trace) -> tuple[float, float]:
    """(largest over every step, time-weighted rms) of how far the tool is off its commanded height, m."""
    off = trace.tool[:, 2] - trace.commanded[:, 2]
    square = MeanSquare(1)
    square.add(trace.t_s, off[:, None])
    return trace.largest("off_z") or 0.0, float(square.root()[0])
