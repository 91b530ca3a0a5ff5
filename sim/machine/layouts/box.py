"""Box Cartesian: the bed on Z, a gantry driven in Y at both sides through one cross shaft, the X motor on the gantry.

Belt x is a loop along the gantry. Motor y turns a shaft with a pulley at each side; belts y (left) and y-right are two
equal loops, so the gantry cannot rack without stretching one of them.
"""

from __future__ import annotations

from dataclasses import replace

from ...parts.design import Design
from .. import chassis, pieces
from .. import wheels as w
from ..machine import Belt, Clamp, Machine, Outline, Wheel, Wrap

DRIVES = ("x", "y")
BESIDE_MM = 80.0  # more of the frame's width, for belts that run beside the gantry's own motor and idler, both sides
END_X = 0.0325  # wheel centre beyond the carriage's clamp at the end of its reach, m
CLAMPS_Y = 0.040  # distance of a side belt's two clamps on the gantry, m
END_Y = 0.035  # wheel centre beyond the gantry's clamp at the end of its reach, m


def build(d: Design) -> Machine:
    """The machine at mid-reach. Raises MachineError where the frame is too small."""
    mid, size, half_w = chassis.middle_xy(d), d.frame_size, d.carriage.width_m / 2
    sx, sy = d.belts["x"], d.belts["y"]
    rx, ry = w.pulley_radius(d, "x"), w.pulley_radius(d, "y")
    tx, ty = w.toothed_radius(d, sx), w.toothed_radius(d, sy)
    z = chassis.gantry_guide_z(d) + d.carriage.belt_above_guide_m
    x_left, x_right = -half_w - END_X, d.space.x_m + half_w + END_X
    lane_left = x_left - 0.030 - 2 * max(ry, ty)  # clamped strand of the left side belt; its return runs further in
    lane_right = x_right + 0.030
    y_front = mid[1] - d.space.y_m / 2 - CLAMPS_Y / 2 - END_Y
    y_rear = mid[1] + d.space.y_m / 2 + CLAMPS_Y / 2 + END_Y
    wide, deep = lane_right - lane_left + 4 * max(ry, ty), y_rear - y_front + 2 * max(ry, ty)
    chassis.need_room(d, "width_mm", size.width_m, wide, "the reach, the X motor and the side belts")
    chassis.need_room(d, "depth_mm", size.depth_m, deep, "the reach and the side belts' wheels")

    wheels: dict[str, Wheel] = {
        "motor X": w.pulley(d, "x", "gantry", (x_left, mid[1] + rx, z)),
        "idler X": w.toothed_idler(d, sx, "idler X", "gantry", (x_right, mid[1] + tx, z)),
    }
    left, right = w.side_clamps(d, mid[0], mid[1], z + sx.carriage_raise_m)
    belts = [Belt("x", left, (Wrap("motor X", -1), Wrap("idler X", -1)), right, sx, "right", 1)]
    for name, lane, side in (("y", lane_left, "left"), ("y-right", lane_right, "right")):
        # Both loops return on their right-hand side as seen from the front, so that one shaft turns both the same way.
        motor = w.pulley(d, "y", "frame", (lane + ry, y_rear, z))
        motor = replace(motor, name="motor Y" if side == "left" else "motor Y right")
        idler = w.toothed_idler(d, sy, f"idler Y {side}", "frame", (lane + ty, y_front, z))
        wheels |= {motor.name: motor, idler.name: idler}
        rear, front = (
            Clamp(end, "gantry", (lane, mid[1] + sign * CLAMPS_Y / 2, z + sy.carriage_raise_m))
            for end, sign in (("rear", 1), ("front", -1))
        )
        belts.append(Belt(name, rear, (Wrap(motor.name, -1), Wrap(idler.name, -1)), front, sy, "right", 0))

    rails = (lane_left - 0.012, lane_right + 2 * max(ry, ty) + 0.012)
    shaft = tuple((wheels[name].centre[0], y_rear) for name in ("motor Y", "motor Y right"))
    beam = pieces.box(rails[0], mid[1] + 0.014, rails[1], mid[1] + 0.034)
    ends = [pieces.box(x - 0.014, mid[1] - 0.022, x + 0.014, mid[1] + 0.034) for x in rails]
    gantry = chassis.Gantry(
        frame_at=((rails[0] + rails[1]) / 2, mid[1]),
        rails=rails,
        belt_z=z,
        signs=(
            Outline("rail", "frame", shaft, 2, "cross shaft", 0.008),
            Outline("gantry", "gantry", beam, 4, "gantry"),
            *(Outline("gantry", "gantry", corners, 4, "gantry end") for corners in ends),
        ),
    )
    return chassis.gantry_machine(d, chassis.Routed(wheels, belts, {"x": "gantry", "y": "frame"}), gantry)
