"""Results whose curves are written by hand, for the stored pictures: they must not change when the physics gets better.

The machine, the plan and the shape of every record are the engine's; what the tool does and what it means are not.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
from beltspring.sim import Report
from beltspring.sim.analyse import analyse
from beltspring.viz.window.runs import run_changed

#: frequency Hz, damping ratio, amplitude m by axis.
RINGS = {"x": (71.0, 0.05, 38e-6), "y": (47.0, 0.06, 96e-6)}


def drawn_result(scenario: Any, changes: Mapping[str, Any]) -> Report:
    """A run with damped sines after every ramp instead of a simulation; a wider belt halves them."""
    real = run_changed(scenario, changes)
    trace, plan = real.trace, real.plan
    t = trace.t_s
    share = 0.5 if "-9-" in next(iter(real.design.belts.values())).part else 1.0
    tool = trace.commanded.copy()
    for axis, (name, (hz, ratio, size)) in enumerate(RINGS.items()):
        for leg in plan.legs:
            way = leg.direction["xy".index(name)]
            for at, sign in ((leg.start_s, -1), (leg.cruise_from_s, 1), (leg.cruise_to_s, 1), (leg.end_s, -1)):
                later = np.clip(t - at, 0.0, None)
                omega = 2 * math.pi * hz
                tool[:, axis] += share * size * sign * way * np.exp(-ratio * omega * later) * np.sin(omega * later)
    beat = np.sin(2 * math.pi * 3.0 * t)
    tension = np.column_stack([16.0 + (k + 1) * beat for k in range(len(trace.runs))])
    motors = np.cumsum(np.vstack([np.zeros(len(trace.motors)), np.diff(trace.motor_rad, axis=0).round(4)]), axis=0)
    told = replace(trace, tool=tool, tension_n=tension, motor_rad=motors, slips=[])
    return Report(replace(real.outcome, trace=told, analysis=_meaning(analyse(told, plan), share)))


def _meaning(found: Any, share: float) -> Any:
    """The analysis with its judgements set to what the sines are."""
    ringing, spectra = {}, {}
    for name, (hz, ratio, size) in RINGS.items():
        fades = math.log(20.0) / (ratio * 2 * math.pi * hz)
        ringing[name] = replace(
            found.ringing[name], peak_m=share * size, frequency_hz=hz, damping_ratio=ratio, fades_to_5_percent_s=fades
        )
        f = np.arange(5.0, 250.0, 0.5)
        amplitude = share * size * 0.05 / np.sqrt((1 - (f / hz) ** 2) ** 2 + (2 * ratio * f / hz) ** 2)
        top = replace(found.spectra[name].peaks[0], frequency_hz=hz, amplitude_m=float(np.interp(hz, f, amplitude)))
        spectra[name] = replace(found.spectra[name], frequency_hz=f, amplitude_m=amplitude, peaks=(top,), ringdowns=4)
    return replace(found, ringing=ringing, spectra=spectra, ringing_axis="y", ripple_spacing_m=3.2e-3)
