"""Box Cartesian: the bed on Z, a gantry driven in Y at both sides through one cross shaft, the X motor on the gantry.

Belt x is a loop along the gantry. Motor y turns a shaft with a pulley at each side; belts y (left) and y-right are two
equal loops, so the gantry cannot rack without stretching one of them.
"""

from __future__ import annotations

from dataclasses import replace

from ...parts.design import Design
from .. import masses
from ..machine import Belt, Clamp, Machine, Motor, Shape, Wheel, Wrap
from . import common as c

DRIVES = ("x", "y")
END_X = 0.0325  # wheel centre beyond the carriage's clamp at the end of its reach, m
CLAMPS_Y = 0.040  # distance of a side belt's two clamps on the gantry, m
END_Y = 0.035  # wheel centre beyond the gantry's clamp at the end of its reach, m


def build(d: Design) -> Machine:
    """The machine at mid-reach. Raises MachineError where the frame is too small."""
    x_reach, y_reach, z_reach = d.space.x_m, d.space.y_m, d.space.z_m
    half_w = d.carriage.width_m / 2
    mid = (x_reach / 2, y_reach / 2)
    size = d.frame_size
    sx, sy = d.belts["x"], d.belts["y"]
    rx, ry = c.pulley_radius(d, "x"), c.pulley_radius(d, "y")
    tx, ty = c.toothed_radius(d, sx), c.toothed_radius(d, sy)
    guide_z = z_reach + d.carriage.nozzle_below_guide_m
    z = guide_z + d.carriage.belt_above_guide_m
    deck_z = c.below_wheels(d, z) - c.SHAFT_CLEAR_M
    x_left, x_right = -half_w - END_X, x_reach + half_w + END_X
    lane_left = x_left - 0.030 - 2 * max(ry, ty)  # clamped strand of the left side belt; its return runs further in
    lane_right = x_right + 0.030
    y_front = mid[1] - y_reach / 2 - CLAMPS_Y / 2 - END_Y
    y_rear = mid[1] + y_reach / 2 + CLAMPS_Y / 2 + END_Y
    c.need_room(
        d,
        "width_mm",
        size.width_m,
        lane_right - lane_left + 4 * max(ry, ty),
        "the reach, the X motor and the side belts",
    )
    c.need_room(d, "depth_mm", size.depth_m, y_rear - y_front + 2 * max(ry, ty), "the reach and the side belts' wheels")

    wheels: dict[str, Wheel] = {
        "motor X": c.pulley(d, "x", "gantry", (x_left, mid[1] + rx, z)),
        "idler X": c.toothed_idler(d, sx, "idler X", "gantry", (x_right, mid[1] + tx, z)),
    }
    left, right = c.side_clamps(d, mid[0], mid[1], z + sx.carriage_raise_m)
    belts = [Belt("x", left, (Wrap("motor X", -1), Wrap("idler X", -1)), right, sx, "right", 1)]
    zy = z
    for name, lane, side in (("y", lane_left, "left"), ("y-right", lane_right, "right")):
        # Both loops return on their right-hand side as seen from the front, so that one shaft turns both the same way.
        motor = c.pulley(d, "y", "frame", (lane + ry, y_rear, zy))
        motor = replace(motor, name="motor Y" if side == "left" else "motor Y right")
        idler = c.toothed_idler(d, sy, f"idler Y {side}", "frame", (lane + ty, y_front, zy))
        wheels |= {motor.name: motor, idler.name: idler}
        belts.append(
            Belt(
                name,
                Clamp("rear", "gantry", (lane, mid[1] + CLAMPS_Y / 2, zy + sy.carriage_raise_m)),
                (Wrap(motor.name, -1), Wrap(idler.name, -1)),
                Clamp("front", "gantry", (lane, mid[1] - CLAMPS_Y / 2, zy + sy.carriage_raise_m)),
                sy,
                "right",
                0,
            )
        )
    motors = (
        Motor("x", "gantry", "motor X", d.motors["x"], wheels["motor X"].centre),
        Motor("y", "frame", "motor Y", d.motors["y"], wheels["motor Y"].centre),
    )
    rail_left, rail_right = lane_left - 0.012, lane_right + 2 * max(ry, ty) + 0.012
    span = rail_right - rail_left
    bed_w, bed_d = x_reach + 0.020, y_reach + 0.020
    profile = 0.020 if d.frame is None else d.frame.side_a_m
    lines = c.guide_on(d.gantry.guide, (rail_left, rail_right), mid[1], guide_z, size.depth_m)
    gantry, words = masses.gantry_mass(d, span)
    centre_x = (rail_left + rail_right) / 2
    guide_at = (centre_x, mid[1], guide_z)
    bodies = (
        *c.box_frame(d, (centre_x, mid[1]), guide_z, c.on_frame(d, "frame", wheels.values(), motors, lines)),
        c.z_bed(d, (mid[0], mid[1], z_reach / 2), bed_w, bed_d),
        c.y_gantry(
            d, guide_at, (gantry + c.motor_mass(d, "x"), f"{words}, X motor"), span, size.depth_m - 2 * profile, span
        ),
        c.carriage(d, "gantry", (mid[0], mid[1], guide_z), span),
    )
    y0, y1 = mid[1] - size.depth_m / 2, mid[1] + size.depth_m / 2
    shaft_x = (wheels["motor Y"].centre[0], wheels["motor Y right"].centre[0])
    motor_x = wheels["motor X"].centre
    side_m = c.motor_body_m(d, "y")
    shapes = [
        c.outline(d, (centre_x, mid[1]), "frame", deck_z),
        c.bed_shape(d, mid, bed_w, bed_d, 1, z_reach / 2),
        *(
            Shape("rail", "frame", ((x, y0 + profile), (x, y1 - profile)), 0.010, 2, "rail")
            for x in (rail_left, rail_right)
        ),
        Shape("rail", "frame", ((shaft_x[0], y_rear), (shaft_x[1], y_rear)), 0.008, 2, "cross shaft"),
        Shape("motor", "frame", c.square(shaft_x[0], y_rear, side_m), 0.0, 3, "y", c.motor_z(deck_z, d)),
        Shape("gantry", "gantry", c.box(rail_left, mid[1] + 0.014, rail_right, mid[1] + 0.034), 0.0, 4, "gantry"),
        *(
            Shape("gantry", "gantry", c.box(x - 0.014, mid[1] - 0.022, x + 0.014, mid[1] + 0.034), 0.0, 4, "gantry end")
            for x in (rail_left, rail_right)
        ),
        Shape(
            "motor",
            "gantry",
            c.square(motor_x[0], motor_x[1], c.motor_body_m(d, "x")),
            0.0,
            5,
            "x",
            c.motor_z(deck_z, d),
        ),
        *c.carriage_shapes(d, mid, guide_z, z),
    ]
    return Machine(
        title=d.title,
        layout=d.layout,
        design=d,
        bodies=bodies,
        wheels=wheels,
        belts=tuple(belts),
        motors=motors,
        tool_body="carriage",
        tool_point=(mid[0], mid[1], z_reach),
        work_body="bed",
        reach=((0.0, x_reach), (0.0, y_reach), (0.0, z_reach)),
        frame_point=(centre_x, mid[1], guide_z),
        feet_points=c.feet(d, (centre_x, mid[1]), guide_z - size.height_m - 0.020),
        shapes=tuple(shapes),
    )
