"""CoreXY: two motors fixed at the front, two belts on two levels, each from the carriage round to the carriage.

Belt a, upper level, in order: carriage left clamp, round the smooth idler at the gantry's left end to the front, round
motor a at the front left, up the outer left lane, along the rear, down the right lane, round the toothed idler at the
gantry's right end, back to the carriage's right clamp. Belt b is its mirror image on the lower level, set back by
`2 * LANE` as a whole, so that both have exactly the same length and no two spans coincide seen from above.
(Order and crossing after I. E. Moyer, MIT, 2012, from memory; places of wheels are our own.)
"""

from __future__ import annotations

from ...parts.design import Design
from .. import masses
from ..machine import Belt, Machine, Motor, Shape, Wheel, Wrap
from . import common as c

DRIVES = ("a", "b")
LANE = 0.009  # belts pass the carriage this far in front of and behind its middle, m
CLEAR = 0.004  # between the carriage at the end of its reach and the gantry's idlers, m
LANE_GAP = 0.010  # between neighbouring lanes at one side, m


def build(d: Design) -> Machine:
    """The machine at mid-reach. Raises MachineError where the frame is too small for the belts."""
    x_reach, y_reach, z_reach = d.space.x_m, d.space.y_m, d.space.z_m
    half_w = d.carriage.width_m / 2
    mid = (x_reach / 2, y_reach / 2)
    guide_z = z_reach + d.carriage.nozzle_below_guide_m
    level_z = c.level_heights(d, guide_z + d.carriage.belt_above_guide_m, DRIVES)
    low_z = level_z["b"]
    deck_z = c.below_wheels(d, low_z) - c.SHAFT_CLEAR_M  # the motors' faces and the top of the frame

    toothed = max(c.toothed_radius(d, b) for b in d.belts.values())
    inner = -half_w - CLEAR - 2 * toothed - 0.003  # lane of the far belt at the left, mirrored at the right
    motor_lane = inner - LANE_GAP
    biggest = max(c.pulley_radius(d, n) for n in DRIVES)
    front = -LANE - 2 * max(c.back_radius(d, b) for b in d.belts.values()) - 0.020
    rear = y_reach + LANE + 2 * toothed + 0.020
    motor_half = max(c.motor_body_m(d, n) for n in DRIVES) / 2
    size = d.frame_size
    c.need_room(
        d, "width_mm", size.width_m, x_reach - 2 * (motor_lane - 2 * biggest), "the reach and the belts beside it"
    )
    c.need_room(
        d, "depth_mm", size.depth_m, rear + 2 * LANE - front + motor_half, "the reach, the belts and the motors"
    )

    wheels: dict[str, Wheel] = {}
    belts = []
    motors = []
    for name, side, shift in (("a", 1, -LANE), ("b", -1, LANE)):
        spec = d.belts[name]
        r, rt, rb = c.pulley_radius(d, name), c.toothed_radius(d, spec), c.back_radius(d, spec)
        z = level_z[name]

        def across(x: float, side: int = side) -> float:
            return x if side > 0 else x_reach - x

        y_c = mid[1] + shift  # the belt's lane past the carriage
        # Belt b stands 2 LANE further back as a whole: front, rear and carriage lanes alike.
        y_front, y_rear = front + LANE + shift, rear + LANE + shift
        far = x_reach - inner
        mirror = side  # senses turn round in the mirror
        motor_at = (across(motor_lane - r), y_front, z)
        row = [
            c.smooth_idler(d, spec, f"gantry {name} near", "gantry", (across(motor_lane + rb), y_c - rb, z)),
            c.pulley(d, name, "frame", motor_at),
            c.toothed_idler(d, spec, f"rear {name} near", "frame", (across(motor_lane - 2 * r + rt), y_rear - rt, z)),
            c.toothed_idler(d, spec, f"rear {name} far", "frame", (across(far - rt), y_rear - rt, z)),
            c.toothed_idler(d, spec, f"gantry {name} far", "gantry", (across(far - rt), y_c + rt, z)),
        ]
        wheels |= {w.name: w for w in row}
        senses = (mirror, -mirror, -mirror, -mirror, -mirror)
        held = c.side_clamps(d, mid[0], y_c, z + spec.carriage_raise_m)
        start, end = held if side > 0 else held[::-1]
        belts.append(
            Belt(
                name,
                start,
                tuple(Wrap(w.name, s) for w, s in zip(row, senses, strict=True)),
                end,
                spec,
                "right" if side > 0 else "left",
                1 if name == "a" else 0,
            )
        )
        motors.append(Motor(name, "frame", f"motor {name.upper()}", d.motors[name], motor_at))

    rail = (inner + motor_lane) / 2
    gantry_span = x_reach - 2 * rail
    bed_w, bed_d = x_reach + 0.020, y_reach + 0.020
    y_mid = (front + rear + 2 * LANE) / 2
    profile = 0.020 if d.frame is None else d.frame.side_a_m
    guide_at = (mid[0], mid[1], guide_z)
    rail_span = size.depth_m - 2 * profile
    lines = c.guide_on(d.gantry.guide, (rail, x_reach - rail), y_mid, guide_z, size.depth_m)
    bodies = (
        *c.box_frame(d, (mid[0], y_mid), guide_z, c.on_frame(d, "frame", wheels.values(), motors, lines)),
        c.z_bed(d, (mid[0], mid[1], z_reach / 2), bed_w, bed_d),
        c.y_gantry(d, guide_at, masses.gantry_mass(d, gantry_span), gantry_span, rail_span, gantry_span),
        c.carriage(d, "gantry", guide_at, gantry_span),
    )
    y0, y1 = y_mid - size.depth_m / 2, y_mid + size.depth_m / 2
    beam = c.box(rail - 0.002, mid[1] - 0.012, x_reach - rail + 0.002, mid[1] + 0.012)
    # Wheels run on the beam itself, a rail lies on it, rods are no beam at all: there it is only drawn.
    kind = "" if d.carriage.guide is None else d.carriage.guide.kind
    beam_z = {"wheels": (guide_z - 0.010, guide_z + 0.010), "rail": (guide_z - 0.024, guide_z - 0.004)}.get(kind)
    end_z = (guide_z - 0.015, c.below_wheels(d, low_z) - c.WASHER_M)
    ends = (inner + 2 * toothed + 0.001, motor_lane - 0.004)
    shapes = [
        c.outline(d, (mid[0], y_mid), "frame", deck_z),
        c.bed_shape(d, mid, bed_w, bed_d, 1, z_reach / 2),
        *(
            Shape("rail", "frame", ((x, y0 + profile), (x, y1 - profile)), 0.010, 2, "rail")
            for x in (rail, x_reach - rail)
        ),
        *(
            Shape(
                "motor",
                m.stator,
                c.square(m.centre[0], m.centre[1], c.motor_body_m(d, m.name)),
                0.0,
                3,
                m.name,
                c.motor_z(deck_z, d),
            )
            for m in motors
        ),
        Shape("gantry", "gantry", beam, 0.0, 4, "gantry", beam_z),
        *(
            Shape(
                "gantry", "gantry", c.box(min(e), mid[1] - 0.030, max(e), mid[1] + 0.030), 0.0, 4, "gantry end", end_z
            )
            for e in (ends, (x_reach - ends[0], x_reach - ends[1]))
        ),
        *c.carriage_shapes(d, mid, guide_z, low_z),
    ]
    return Machine(
        title=d.title,
        layout=d.layout,
        design=d,
        bodies=bodies,
        wheels=wheels,
        belts=tuple(belts),
        motors=tuple(motors),
        tool_body="carriage",
        tool_point=(mid[0], mid[1], z_reach),
        work_body="bed",
        reach=((0.0, x_reach), (0.0, y_reach), (0.0, z_reach)),
        frame_point=(mid[0], y_mid, guide_z),
        feet_points=c.feet(d, (mid[0], y_mid), guide_z - size.height_m - 0.020),
        shapes=tuple(shapes),
    )
