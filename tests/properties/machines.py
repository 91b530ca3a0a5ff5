"""Machines and places drawn at random, for properties that must hold whatever a person writes."""

from __future__ import annotations

import tomllib
from functools import cache
from typing import Any

from beltspring.sim.machine.layouts import LAYOUTS
from beltspring.sim.scenario.load import scenario_of, with_changes
from beltspring.sim.scenario.schema import Scenario
from hypothesis import strategies as st

from tests.support import ALL_LAYOUTS, BUILT, bare, machine_of


def between(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_nan=False).map(lambda x: float(f"{x:.4g}"))


@cache
def drawn_belts(layout: str) -> list[str]:
    """Drives of a layout that have a belt of their own."""
    own = {belt.name for belt in machine_of(bare(layout)).belts}
    return [drive for drive in LAYOUTS[layout].drives if drive in own]


@st.composite
def scenarios(draw: st.DrawFn, layout: str | None = None, friction: bool = True, damping: bool = True) -> Scenario:
    """A machine with everything in it, of any layout, size, belts, frame and motors."""
    name = draw(st.sampled_from(ALL_LAYOUTS)) if layout is None else layout
    x, y = draw(between(100, 600)), draw(between(100, 600))
    if LAYOUTS[name].on_arms:
        y = x  # a round reach
    changes: dict[str, Any] = {
        "space.x_mm": x,
        "space.y_mm": y,
        "frame.width_mm": x + 320,
        "frame.depth_mm": y + 320,
        "frame.part": draw(st.sampled_from(["slot-2020", "slot-2040", "slot-4040", "rigid"])),
        "carriage.mass_g": draw(between(50, 2000)),
        "gantry.mass_g": draw(between(50, 3000)),
        "bed.mass_g": draw(between(100, 5000)),
        "belts.ea_n": draw(between(5000, 80000)),
        "belts.pretension_n": draw(between(5, 100)),
        "belts.mass_g_m": draw(between(0, 20)),
        "motors.part": draw(st.sampled_from(["motor-17-28", "motor-17-40", "motor-17-48", "ideal"])),
        "motors.pulley_teeth": draw(st.sampled_from([16, 20])),
        "idlers.inertia_g_mm2": draw(between(0, 500)),
    }
    belts = drawn_belts(name)
    if len(belts) > 1 and draw(st.booleans()):
        changes[f"belts.{belts[1]}.ea_n"] = draw(between(5000, 80000))
    if not damping:
        changes["belts.damping"] = 0
        if changes["frame.part"] != "rigid":
            changes["frame.damping"] = 0
        if changes["motors.part"] != "ideal":
            changes["motors.damping"] = 0
    if not friction:
        changes |= {"carriage.friction_n": 0, "gantry.friction_n": 0, "bed.friction_n": 0}
    return with_changes(scenario_of(tomllib.loads(BUILT.format(layout=name)), "drawn.toml"), changes)


#: A place in the reach, as shares of it.
places = st.tuples(st.floats(0, 1), st.floats(0, 1))
