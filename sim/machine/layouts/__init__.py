"""The layouts: one small file each and one line here.

A layout says which bodies there are, which guide lets which body slide on which, where wheels sit and in which order
and sense each belt goes round them, and where the motors are. Everything else follows.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from ...parts.design import Design
from ..machine import Machine
from . import box, corexy, delta, hframe, moving_bed


@dataclass(frozen=True)
class Layout:
    """A way to route belts, and what a scenario of it must know before there is a machine.

    drives: motor and belt names in order.  build: from the completed design to the machine.  words: one line for people.
    frame_beside_mm: what its belts need of the frame's width beyond the usual, both sides together.  on_arms: whether
    arms carry the tool, and [delta] holds.  levels: on which its belts pass the carriage.  gantry_motor: whether the gantry
    carries one.  bed_slides: whether the bed moves along Y instead of a gantry.
    """

    drives: tuple[str, ...]
    build: Callable[[Design], Machine]
    words: str
    frame_beside_mm: float = 0.0
    on_arms: bool = False
    levels: int = 1
    gantry_motor: bool = False
    bed_slides: bool = False


LAYOUTS: dict[str, Layout] = {
    "corexy": Layout(
        corexy.DRIVES, corexy.build, "two fixed motors, two crossed belts, carriage on a moving gantry", levels=2
    ),
    "hframe": Layout(
        hframe.DRIVES, hframe.build, "two fixed motors, one belt round the whole H, carriage on a moving gantry"
    ),
    "box": Layout(
        box.DRIVES,
        box.build,
        "bed on Z, gantry driven in Y at both sides, X motor on the gantry",
        box.BESIDE_MM,
        gantry_motor=True,
    ),
    "moving-bed": Layout(
        moving_bed.DRIVES, moving_bed.build, "carriage on a fixed beam in X, bed moving in Y", bed_slides=True
    ),
    "delta": Layout(
        delta.DRIVES,
        delta.build,
        "three carriages on columns carry the tool on pairs of arms; round reach",
        on_arms=True,
    ),
}
