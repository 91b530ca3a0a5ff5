"""Moving-bed Cartesian: the carriage runs in X on a beam across two columns, the bed runs in Y under it.

Both belts are plain loops: carriage (or bed) clamp, motor, idler, other clamp, teeth inside. With the carriage a from
its motor and L between the wheels, the free runs are a - w/2 and 2L - a - w/2 + pi r (w = distance of the clamps).
"""

from __future__ import annotations

from ...parts.design import Design
from .. import masses
from ..machine import Belt, Clamp, GuidePlace, Machine, Motor, Shape, Wheel, Wrap
from . import common as c

DRIVES = ("x", "y")
END_X = 0.0325  # wheel centre beyond the carriage's clamp at the end of its reach, m
END_Y = 0.0325  # the same for the bed
BED_CLAMPS = 0.060  # distance of the two clamps under the bed, m


def build(d: Design) -> Machine:
    """The machine at mid-reach. Raises MachineError where the frame is too small."""
    x_reach, y_reach, z_reach = d.space.x_m, d.space.y_m, d.space.z_m
    mid = (x_reach / 2, y_reach / 2)
    size = d.frame_size
    half_w = d.carriage.width_m / 2
    guide_z = z_reach / 2 + d.carriage.nozzle_below_guide_m
    x_left, x_right = -half_w - END_X, x_reach + half_w + END_X
    c.need_room(
        d, "width_mm", size.width_m, x_right - x_left + c.pulley_radius(d, "x"), "the reach and the wheels at its ends"
    )
    bed_w, bed_d = x_reach + 0.020, y_reach + 0.020

    sx, sy = d.belts["x"], d.belts["y"]
    rx, ry = c.pulley_radius(d, "x"), c.pulley_radius(d, "y")
    tx, ty = c.toothed_radius(d, sx), c.toothed_radius(d, sy)
    zx = guide_z + d.carriage.belt_above_guide_m
    clamp_zx = zx + sx.carriage_raise_m
    lane_x = mid[1]  # the strand that is clamped; the other returns behind it
    wheels: dict[str, Wheel] = {
        "motor X": c.pulley(d, "x", "gantry", (x_left, lane_x + rx, zx)),
        # The idler's centre is moved so that the clamped strand stays parallel to the travel.
        "idler X": c.toothed_idler(d, sx, "idler X", "gantry", (x_right, lane_x + tx, zx)),
    }
    left, right = c.side_clamps(d, mid[0], lane_x, clamp_zx)
    belt_x = Belt(
        "x",
        left,
        (Wrap("motor X", -1), Wrap("idler X", -1)),
        right,
        sx,
        "right",
        1,
    )
    # The bed moves against the tool: for the tool to reach y = Y the bed stands Y/2 further to the front.
    y_rear = mid[1] + y_reach / 2 + BED_CLAMPS / 2 + END_Y
    y_front = mid[1] - y_reach / 2 - BED_CLAMPS / 2 - END_Y
    c.need_room(
        d,
        "depth_mm",
        size.depth_m,
        y_rear - y_front + c.pulley_radius(d, "y"),
        "the bed's reach and the wheels at its ends",
    )
    zy = -0.020
    clamp_zy = zy + sy.carriage_raise_m
    lane_y = mid[0]
    wheels |= {
        "motor Y": c.pulley(d, "y", "base", (lane_y + ry, y_rear, zy)),
        "idler Y": c.toothed_idler(d, sy, "idler Y", "base", (lane_y + ty, y_front, zy)),
    }
    belt_y = Belt(
        "y",
        Clamp("rear", "bed", (lane_y, mid[1] + BED_CLAMPS / 2, clamp_zy)),
        (Wrap("motor Y", -1), Wrap("idler Y", -1)),
        Clamp("front", "bed", (lane_y, mid[1] - BED_CLAMPS / 2, clamp_zy)),
        sy,
        "right",
        0,
    )
    motors = (
        Motor("x", "gantry", "motor X", d.motors["x"], wheels["motor X"].centre),
        Motor("y", "base", "motor Y", d.motors["y"], wheels["motor Y"].centre),
    )
    profile = 0.020 if d.frame is None else d.frame.side_a_m
    beam_span = x_right - x_left
    gantry_mass, words = masses.gantry_mass(d, beam_span)
    guide_at = (mid[0], mid[1], guide_z)
    base_z = -0.040
    rail_span = size.depth_m - 2 * profile
    column_y = mid[1] + 0.030
    top_z = base_z + size.height_m
    c.need_room(
        d,
        "height_mm",
        size.height_m,
        guide_z + z_reach / 2 - base_z,
        "the columns, which carry the gantry up to the top of its reach,",
    )
    top, base = masses.portal_members(d, mid, column_y, base_z, top_z)
    lines = c.guide_on(d.bed.guide, (mid[0] - bed_w / 4, mid[0] + bed_w / 4), mid[1], base_z, size.depth_m)
    bodies = (
        *c.frame_bodies(d, top, base, [], c.on_frame(d, "base", wheels.values(), motors, lines)),
        c.slider(
            "gantry",
            "frame",
            (gantry_mass + c.motor_mass(d, "x"), words),
            guide_at,
            2,
            d.gantry.guide,
            (beam_span, 0.040, 0.040),
            GuidePlace(guide_at, 0, size.width_m - profile, 0.050, size.height_m, size.height_m / 2),
        ),
        c.carriage(d, "gantry", guide_at, beam_span),
        c.slider(
            "bed",
            "base",
            masses.bed_mass(d, bed_w, bed_d),
            (mid[0], mid[1], -0.005),
            1,
            d.bed.guide,
            (bed_w, bed_d, 0.004),
            GuidePlace((mid[0], mid[1], -0.020), 0, bed_w / 2, c.BED_SPACING_M, rail_span, rail_span / 2, True),
        ),
    )
    x0, x1 = mid[0] - size.width_m / 2, mid[0] + size.width_m / 2
    y0, y1 = mid[1] - size.depth_m / 2, mid[1] + size.depth_m / 2
    motor_x, motor_y = wheels["motor X"].centre, wheels["motor Y"].centre
    face_x, face_y = (c.below_wheels(d, z) - c.SHAFT_CLEAR_M for z in (zx, zy))
    beam_tall = 0.010 if d.frame is None else d.frame.side_b_m / 2
    shapes = [
        c.outline(d, mid, "base", base_z + profile / 2),
        *(
            Shape("rail", "base", ((x, y0 + profile), (x, y1 - profile)), 0.010, 1, "rail")
            for x in (mid[0] - bed_w / 4, mid[0] + bed_w / 4)
        ),
        Shape(
            "motor",
            "base",
            c.square(motor_y[0], motor_y[1], c.motor_body_m(d, "y")),
            0.0,
            1,
            "y",
            c.motor_z(face_y, d),
        ),
        c.bed_shape(d, mid, bed_w, bed_d, 2, 0.0),
        *(
            Shape(
                "column",
                "frame",
                c.square(x, mid[1] + 0.030, profile * 1.5),
                0.0,
                3,
                "column",
                (base_z, base_z + size.height_m),
            )
            for x in (x0 + profile / 2, x1 - profile / 2)
        ),
        Shape(
            "gantry",
            "gantry",
            c.box(x0, mid[1] + 0.022, x1, mid[1] + 0.022 + profile),
            0.0,
            4,
            "beam",
            (guide_z - beam_tall, guide_z + beam_tall),
        ),
        Shape(
            "motor",
            "gantry",
            c.square(motor_x[0], motor_x[1], c.motor_body_m(d, "x")),
            0.0,
            5,
            "x",
            c.motor_z(face_x, d),
        ),
        *c.carriage_shapes(d, mid, guide_z, zx),
    ]
    return Machine(
        title=d.title,
        layout=d.layout,
        design=d,
        bodies=bodies,
        wheels=wheels,
        belts=(belt_x, belt_y),
        motors=motors,
        tool_body="carriage",
        tool_point=(mid[0], mid[1], z_reach / 2),
        work_body="bed",
        reach=((0.0, x_reach), (0.0, y_reach), (0.0, z_reach)),
        frame_point=(mid[0], column_y, guide_z),
        feet_points=c.feet(d, mid, base_z - 0.020),
        shapes=tuple(shapes),
        gantry_height_m=guide_z - base_z,
    )
