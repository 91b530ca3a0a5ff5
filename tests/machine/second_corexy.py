"""A second way to route a CoreXY, for tests: motors at the rear, both belts exactly above each other.

Belt a, in order: carriage left clamp, round the smooth idler at the gantry's left end to the rear, round motor a at the
rear left, down the outer left lane, along the front, up the right lane, round the toothed idler at the gantry's right end,
back to the carriage's right clamp. Belt b is its mirror image one level lower.
"""

from __future__ import annotations

from beltspring.sim.machine import chassis, pieces
from beltspring.sim.machine import wheels as w
from beltspring.sim.machine.layouts import Layout
from beltspring.sim.machine.machine import Belt, Machine, Outline, Solid, Wheel, Wrap
from beltspring.sim.parts.design import Design

DRIVES = ("a", "b")
CLEAR = 0.004  # between the carriage at the end of its reach and the gantry's idlers, m
LANE_GAP = 0.010  # between neighbouring lanes at one side, m
ROOM = 0.020  # from the reach to the wheels at front and rear, m


def build(d: Design) -> Machine:
    """The machine at mid-reach. Raises MachineError where the frame is too small for the belts."""
    x_reach, mid = d.space.x_m, chassis.middle_xy(d)
    guide_z = chassis.gantry_guide_z(d)
    level_z = w.level_heights(d, guide_z + d.carriage.belt_above_guide_m, DRIVES)
    toothed = max(w.toothed_radius(d, b) for b in d.belts.values())
    back = max(w.back_radius(d, b) for b in d.belts.values())
    biggest = max(w.pulley_radius(d, n) for n in DRIVES)
    inner = -d.carriage.width_m / 2 - CLEAR - 2 * toothed
    motor_lane = inner - LANE_GAP
    front, rear = -2 * toothed - ROOM, d.space.y_m + 2 * back + ROOM + biggest
    wide = x_reach - 2 * (motor_lane - 2 * biggest)
    chassis.need_room(d, "width_mm", d.frame_size.width_m, wide, "the reach and the belts beside it")
    chassis.need_room(
        d, "depth_mm", d.frame_size.depth_m, rear + biggest - front, "the reach, the belts and the motors"
    )

    wheels: dict[str, Wheel] = {}
    belts = []
    for name, side in (("a", 1), ("b", -1)):
        spec, z = d.belts[name], level_z[name]
        r, rt, rb = w.pulley_radius(d, name), w.toothed_radius(d, spec), w.back_radius(d, spec)

        def across(x: float, side: int = side) -> float:
            return x if side > 0 else x_reach - x

        far = x_reach - inner
        row = [
            w.smooth_idler(d, spec, f"gantry {name} near", "gantry", (across(motor_lane + rb), mid[1] + rb, z)),
            w.pulley(d, name, "frame", (across(motor_lane - r), rear, z)),
            w.toothed_idler(d, spec, f"front {name} near", "frame", (across(motor_lane - 2 * r + rt), front + rt, z)),
            w.toothed_idler(d, spec, f"front {name} far", "frame", (across(far - rt), front + rt, z)),
            w.toothed_idler(d, spec, f"gantry {name} far", "gantry", (across(far - rt), mid[1] - rt, z)),
        ]
        wheels |= {wheel.name: wheel for wheel in row}
        wraps = tuple(Wrap(wheel.name, s) for wheel, s in zip(row, (-side, side, side, side, side), strict=True))
        start, end = w.side_clamps(d, mid[0], mid[1], z + spec.carriage_raise_m)[::side]
        belts.append(Belt(name, start, wraps, end, spec, "left" if side > 0 else "right", 1 if side > 0 else 0))

    rail = (inner + motor_lane) / 2
    end_z = (guide_z - 0.015, w.below_wheels(d, level_z["b"]) - w.WASHER_M)
    ends = [pieces.box(x - 0.015, mid[1] - 0.030, x + 0.015, mid[1] + 0.030) for x in (rail, x_reach - rail)]
    gantry = chassis.Gantry(
        frame_at=(mid[0], (front + rear) / 2),
        rails=(rail, x_reach - rail),
        belt_z=level_z["b"],
        solids=[Solid("gantry", "gantry", corners, 4, "gantry end", z_m=end_z) for corners in ends],
        signs=[
            Outline("gantry", "gantry", pieces.box(rail, mid[1] - 0.01, x_reach - rail, mid[1] + 0.01), 4, "gantry")
        ],
    )
    return chassis.gantry_machine(d, chassis.Routed(wheels, belts, dict.fromkeys(DRIVES, "frame")), gantry)


LAYOUT = Layout(DRIVES, build, "two fixed motors at the rear, two belts above each other, carriage on a moving gantry")
