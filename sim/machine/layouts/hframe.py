"""H-frame: two motors fixed at the front, one belt on one level round the whole H.

In order: carriage left clamp, smooth idler at the gantry's front left, motor a at the front left, outer left lane, rear
left idler, inner left lane, smooth idler at the gantry's rear left, behind the carriage, smooth idler at the gantry's
rear right, inner right lane, rear right idler, outer right lane, motor b, smooth idler at the gantry's front right,
carriage right clamp. (Order after Sollmann, Jouaneh, Lavender, IEEE/ASME Trans. Mechatronics 15(2), 2010; places ours.)
A pull of the belt's two ends on the carriage turns the gantry: this layout racks where a crossed one does not.
"""

from __future__ import annotations

from ...errors import MachineError
from ...parts.design import Design
from .. import masses
from ..machine import Belt, Machine, Motor, Shape, Wheel, Wrap
from . import common as c

DRIVES = ("a", "b")
LANE = 0.010  # the belt's two strands pass the carriage this far in front of and behind its middle, m
CLEAR = 0.004  # between the carriage at the end of its reach and the gantry's idlers, m


def build(d: Design) -> Machine:
    """The machine at mid-reach. Raises MachineError where the frame is too small, or for settings of a second belt."""
    if any(o.key.startswith("belts.b.") and o.origin in ("file", "set", "variant") for o in d.origins):
        raise MachineError("[belts.b]: an H-frame has one belt, a; write its settings under [belts] or [belts.a]")
    x_reach, y_reach, z_reach = d.space.x_m, d.space.y_m, d.space.z_m
    half_w = d.carriage.width_m / 2
    mid = (x_reach / 2, y_reach / 2)
    spec = d.belts["a"]
    rt, rb = c.toothed_radius(d, spec), c.back_radius(d, spec)
    guide_z = z_reach + d.carriage.nozzle_below_guide_m
    z = guide_z + d.carriage.belt_above_guide_m
    deck_z = c.below_wheels(d, z) - c.SHAFT_CLEAR_M
    inner = -half_w - CLEAR - 2 * rb - 0.003
    rads = {n: c.pulley_radius(d, n) for n in DRIVES}
    front = -LANE - 2 * rb - 0.020 - max(rads.values())
    rear = y_reach + LANE + 2 * rb + 0.020 + rt
    motor_half = max(c.motor_body_m(d, n) for n in DRIVES) / 2
    size = d.frame_size
    widest = max(2 * max(rads.values()), 2 * rt)
    c.need_room(d, "width_mm", size.width_m, x_reach - 2 * (inner - widest), "the reach and the belts beside it")
    c.need_room(
        d, "depth_mm", size.depth_m, rear + rt - front + motor_half, "the reach, the belt's idlers and the motors"
    )
    right = x_reach - inner
    y_front, y_back = mid[1] - LANE, mid[1] + LANE
    places = (
        (c.smooth_idler(d, spec, "gantry front left", "gantry", (inner + rb, y_front - rb, z)), 1),
        (c.pulley(d, "a", "frame", (inner - rads["a"], front, z)), -1),
        # The outer lane follows from the motor's pulley and the idler, which need not have the same size.
        (c.toothed_idler(d, spec, "rear left", "frame", (inner - rt, rear, z)), -1),
        (c.smooth_idler(d, spec, "gantry rear left", "gantry", (inner + rb, y_back + rb, z)), 1),
        (c.smooth_idler(d, spec, "gantry rear right", "gantry", (right - rb, y_back + rb, z)), 1),
        (c.toothed_idler(d, spec, "rear right", "frame", (right + rt, rear, z)), -1),
        (c.pulley(d, "b", "frame", (right + rads["b"], front, z)), -1),
        (c.smooth_idler(d, spec, "gantry front right", "gantry", (right - rb, y_front - rb, z)), 1),
    )
    wheels: dict[str, Wheel] = {wheel.name: wheel for wheel, _ in places}
    start, end = c.side_clamps(d, mid[0], y_front, z + spec.carriage_raise_m)
    belt = Belt("a", start, tuple(Wrap(wheel.name, sense) for wheel, sense in places), end, spec, "right", 0)
    motors = tuple(
        Motor(n, "frame", f"motor {n.upper()}", d.motors[n], wheels[f"motor {n.upper()}"].centre) for n in DRIVES
    )
    rail = inner + rb
    span = x_reach - 2 * rail
    bed_w, bed_d = x_reach + 0.020, y_reach + 0.020
    y_mid = (front + rear) / 2
    profile = 0.020 if d.frame is None else d.frame.side_a_m
    guide_at = (mid[0], mid[1], guide_z)
    lines = c.guide_on(d.gantry.guide, (rail, x_reach - rail), y_mid, guide_z, size.depth_m)
    bodies = (
        *c.box_frame(d, (mid[0], y_mid), guide_z, c.on_frame(d, "frame", wheels.values(), motors, lines)),
        c.z_bed(d, (mid[0], mid[1], z_reach / 2), bed_w, bed_d),
        c.y_gantry(d, guide_at, masses.gantry_mass(d, span), span, size.depth_m - 2 * profile, span),
        c.carriage(d, "gantry", guide_at, span),
    )
    y0, y1 = y_mid - size.depth_m / 2, y_mid + size.depth_m / 2
    end_z = (guide_z - 0.015, c.below_wheels(d, z) - c.WASHER_M)
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
                "frame",
                c.square(m.centre[0], m.centre[1], c.motor_body_m(d, m.name)),
                0.0,
                3,
                m.name,
                c.motor_z(deck_z, d),
            )
            for m in motors
        ),
        Shape("gantry", "gantry", c.box(rail, mid[1] - 0.007, x_reach - rail, mid[1] + 0.007), 0.0, 4, "gantry"),
        *(
            Shape(
                "gantry",
                "gantry",
                c.box(x - rb - 0.004, mid[1] - 0.032, x + rb + 0.004, mid[1] + 0.032),
                0.0,
                4,
                "gantry end",
                end_z,
            )
            for x in (rail, x_reach - rail)
        ),
        *c.carriage_shapes(d, mid, guide_z, z),
    ]
    return Machine(
        title=d.title,
        layout=d.layout,
        design=d,
        bodies=bodies,
        wheels=wheels,
        belts=(belt,),
        motors=motors,
        tool_body="carriage",
        tool_point=(mid[0], mid[1], z_reach),
        work_body="bed",
        reach=((0.0, x_reach), (0.0, y_reach), (0.0, z_reach)),
        frame_point=(mid[0], y_mid, guide_z),
        feet_points=c.feet(d, (mid[0], y_mid), guide_z - size.height_m - 0.020),
        shapes=tuple(shapes),
    )
