"""CoreXY: two motors fixed at the front, two belts on two levels, each from the carriage round to the carriage.

Belt a, upper level, in order: carriage left clamp, round the smooth idler at the gantry's left end to the front, round
motor a at the front left, up the outer left lane, along the rear, down the right lane, round the toothed idler at the
gantry's right end, back to the carriage's right clamp. Belt b is its mirror image on the lower level, set back by
`2 * LANE` as a whole, so that both have exactly the same length and no two spans coincide seen from above.
(Order and crossing after I. E. Moyer, MIT, 2012, from memory; places of wheels are our own.)
"""

from __future__ import annotations

from ...parts.design import Design
from ...parts.guide_specs import WHEEL_BEAM_M
from .. import chassis, pieces
from .. import wheels as w
from ..machine import Belt, Machine, Outline, Solid, Wheel, Wrap

DRIVES = ("a", "b")
LANE = 0.009  # belts pass the carriage this far in front of and behind its middle, m
CLEAR = 0.004  # between the carriage at the end of its reach and the gantry's idlers, m
LANE_GAP = 0.010  # between neighbouring lanes at one side, m


def build(d: Design) -> Machine:
    """The machine at mid-reach. Raises MachineError where the frame is too small for the belts."""
    x_reach, mid, size = d.space.x_m, chassis.middle_xy(d), d.frame_size
    guide_z = chassis.gantry_guide_z(d)
    level_z = w.level_heights(d, guide_z + d.carriage.belt_above_guide_m, DRIVES)
    toothed = max(w.toothed_radius(d, b) for b in d.belts.values())
    inner = (
        -d.carriage.width_m / 2 - CLEAR - 2 * toothed - 0.003
    )  # lane of the far belt at the left, mirrored at the right
    motor_lane = inner - LANE_GAP
    biggest = max(w.pulley_radius(d, n) for n in DRIVES)
    front = -LANE - 2 * max(w.back_radius(d, b) for b in d.belts.values()) - 0.020
    rear = d.space.y_m + LANE + 2 * toothed + 0.020
    motor_half = max(w.motor_body_m(d, n) for n in DRIVES) / 2
    wide, deep = x_reach - 2 * (motor_lane - 2 * biggest), rear + 2 * LANE - front + motor_half
    chassis.need_room(d, "width_mm", size.width_m, wide, "the reach and the belts beside it")
    chassis.need_room(d, "depth_mm", size.depth_m, deep, "the reach, the belts and the motors")

    wheels: dict[str, Wheel] = {}
    belts = []
    for name, side, shift in (("a", 1, -LANE), ("b", -1, LANE)):
        spec, z = d.belts[name], level_z[name]
        r, rt, rb = w.pulley_radius(d, name), w.toothed_radius(d, spec), w.back_radius(d, spec)

        def across(x: float, side: int = side) -> float:
            return x if side > 0 else x_reach - x

        y_c = mid[1] + shift  # the belt's lane past the carriage
        # Belt b stands 2 LANE further back as a whole: front, rear and carriage lanes alike.
        y_front, y_rear = front + LANE + shift, rear + LANE + shift
        far = x_reach - inner
        row = [
            w.smooth_idler(d, spec, f"gantry {name} near", "gantry", (across(motor_lane + rb), y_c - rb, z)),
            w.pulley(d, name, "frame", (across(motor_lane - r), y_front, z)),
            w.toothed_idler(d, spec, f"rear {name} near", "frame", (across(motor_lane - 2 * r + rt), y_rear - rt, z)),
            w.toothed_idler(d, spec, f"rear {name} far", "frame", (across(far - rt), y_rear - rt, z)),
            w.toothed_idler(d, spec, f"gantry {name} far", "gantry", (across(far - rt), y_c + rt, z)),
        ]
        wheels |= {wheel.name: wheel for wheel in row}
        senses = (side, -side, -side, -side, -side)  # they turn round in the mirror
        wraps = tuple(Wrap(wheel.name, s) for wheel, s in zip(row, senses, strict=True))
        start, end = w.side_clamps(d, mid[0], y_c, z + spec.carriage_raise_m)[::side]
        belts.append(Belt(name, start, wraps, end, spec, "right" if side > 0 else "left", 1 if side > 0 else 0))

    rail = (inner + motor_lane) / 2
    beam = pieces.box(rail - 0.002, mid[1] - 0.012, x_reach - rail + 0.002, mid[1] + 0.012)
    # Wheels run on the beam itself, a rail lies on it, rods are no beam at all: there it is only drawn.
    kind = "" if d.carriage.guide is None else d.carriage.guide.kind
    tall = WHEEL_BEAM_M / 2
    beam_z = {"wheels": (guide_z - tall, guide_z + tall), "rail": (guide_z - 0.024, guide_z - 0.004)}.get(kind)
    end_z = (guide_z - 0.015, w.below_wheels(d, level_z["b"]) - w.WASHER_M)
    near, out = inner + 2 * toothed + 0.001, motor_lane - 0.004
    ends = [
        pieces.box(min(e), mid[1] - 0.030, max(e), mid[1] + 0.030)
        for e in ((near, out), (x_reach - near, x_reach - out))
    ]
    gantry = chassis.Gantry(
        frame_at=(mid[0], (front + rear + 2 * LANE) / 2),
        rails=(rail, x_reach - rail),
        belt_z=level_z["b"],
        solids=(
            *([Solid("gantry", "gantry", beam, 4, "gantry", z_m=beam_z)] if beam_z else []),
            *(Solid("gantry", "gantry", corners, 4, "gantry end", z_m=end_z) for corners in ends),
        ),
        signs=() if beam_z else (Outline("gantry", "gantry", beam, 4, "gantry"),),
    )
    return chassis.gantry_machine(d, chassis.Routed(wheels, belts, dict.fromkeys(DRIVES, "frame")), gantry)
