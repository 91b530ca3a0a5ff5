"""Moving-bed Cartesian: the carriage runs in X on a beam across two columns, the bed runs in Y under it.

Both belts are plain loops: carriage (or bed) clamp, motor, idler, other clamp, teeth inside. With the carriage a from
its motor and L between the wheels, the free runs are a - w/2 and 2L - a - w/2 + pi r (w = distance of the clamps).
"""

from __future__ import annotations

from ...parts.design import Design
from .. import chassis
from .. import wheels as w
from ..machine import Belt, Clamp, Machine, Wheel, Wrap

DRIVES = ("x", "y")
END_X = 0.0325  # wheel centre beyond the carriage's clamp at the end of its reach, m
END_Y = 0.0325  # the same for the bed
BED_CLAMPS = 0.060  # distance of the two clamps under the bed, m
BED_BELT_Z = -0.020  # the bed's top is at 0


def build(d: Design) -> Machine:
    """The machine at mid-reach. Raises MachineError where the frame is too small."""
    mid, size, half_w = chassis.middle_xy(d), d.frame_size, d.carriage.width_m / 2
    sx, sy = d.belts["x"], d.belts["y"]
    rx, ry = w.pulley_radius(d, "x"), w.pulley_radius(d, "y")
    tx, ty = w.toothed_radius(d, sx), w.toothed_radius(d, sy)
    x_left, x_right = -half_w - END_X, d.space.x_m + half_w + END_X
    chassis.need_room(d, "width_mm", size.width_m, x_right - x_left + rx, "the reach and the wheels at its ends")
    # The bed moves against the tool: for the tool to reach y = Y the bed stands Y/2 further to the front.
    y_rear = mid[1] + d.space.y_m / 2 + BED_CLAMPS / 2 + END_Y
    y_front = mid[1] - d.space.y_m / 2 - BED_CLAMPS / 2 - END_Y
    chassis.need_room(d, "depth_mm", size.depth_m, y_rear - y_front + ry, "the bed's reach and the wheels at its ends")

    zx = chassis.beam_guide_z(d) + d.carriage.belt_above_guide_m
    lane_x, lane_y = mid[1], mid[0]  # the strands that are clamped; the others return behind and right of them
    wheels: dict[str, Wheel] = {
        "motor X": w.pulley(d, "x", "gantry", (x_left, lane_x + rx, zx)),
        # The idler's centre is moved so that the clamped strand stays parallel to the travel.
        "idler X": w.toothed_idler(d, sx, "idler X", "gantry", (x_right, lane_x + tx, zx)),
        "motor Y": w.pulley(d, "y", "base", (lane_y + ry, y_rear, BED_BELT_Z)),
        "idler Y": w.toothed_idler(d, sy, "idler Y", "base", (lane_y + ty, y_front, BED_BELT_Z)),
    }
    left, right = w.side_clamps(d, mid[0], lane_x, zx + sx.carriage_raise_m)
    rear, front = (
        Clamp(end, "bed", (lane_y, mid[1] + sign * BED_CLAMPS / 2, BED_BELT_Z + sy.carriage_raise_m))
        for end, sign in (("rear", 1), ("front", -1))
    )
    belts = [
        Belt("x", left, (Wrap("motor X", -1), Wrap("idler X", -1)), right, sx, "right", 1),
        Belt("y", rear, (Wrap("motor Y", -1), Wrap("idler Y", -1)), front, sy, "right", 0),
    ]
    routed = chassis.Routed(wheels, belts, {"x": "gantry", "y": "base"})
    return chassis.beam_machine(d, routed, (x_left, x_right), zx)
