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
from .. import chassis, pieces
from .. import wheels as w
from ..machine import Belt, Machine, Outline, Solid, Wheel, Wrap

DRIVES = ("a", "b")
LANE = 0.010  # the belt's two strands pass the carriage this far in front of and behind its middle, m
CLEAR = 0.004  # between the carriage at the end of its reach and the gantry's idlers, m


def build(d: Design) -> Machine:
    """The machine at mid-reach. Raises MachineError where the frame is too small, or for settings of a second belt."""
    if any(o.key.startswith("belts.b.") and o.origin in ("file", "set", "variant") for o in d.origins):
        raise MachineError("[belts.b]: an H-frame has one belt, a; write its settings under [belts] or [belts.a]")
    x_reach, mid, size, spec = d.space.x_m, chassis.middle_xy(d), d.frame_size, d.belts["a"]
    rt, rb = w.toothed_radius(d, spec), w.back_radius(d, spec)
    rads = {n: w.pulley_radius(d, n) for n in DRIVES}
    guide_z = chassis.gantry_guide_z(d)
    z = guide_z + d.carriage.belt_above_guide_m
    inner = -d.carriage.width_m / 2 - CLEAR - 2 * rb - 0.003
    front = -LANE - 2 * rb - 0.020 - max(rads.values())
    rear = d.space.y_m + LANE + 2 * rb + 0.020 + rt
    wide = x_reach - 2 * (inner - max(2 * max(rads.values()), 2 * rt))
    deep = rear + rt - front + max(w.motor_body_m(d, n) for n in DRIVES) / 2
    chassis.need_room(d, "width_mm", size.width_m, wide, "the reach and the belts beside it")
    chassis.need_room(d, "depth_mm", size.depth_m, deep, "the reach, the belt's idlers and the motors")

    right = x_reach - inner
    y_front, y_back = mid[1] - LANE, mid[1] + LANE
    places = (
        (w.smooth_idler(d, spec, "gantry front left", "gantry", (inner + rb, y_front - rb, z)), 1),
        (w.pulley(d, "a", "frame", (inner - rads["a"], front, z)), -1),
        # The outer lane follows from the motor's pulley and the idler, which need not have the same size.
        (w.toothed_idler(d, spec, "rear left", "frame", (inner - rt, rear, z)), -1),
        (w.smooth_idler(d, spec, "gantry rear left", "gantry", (inner + rb, y_back + rb, z)), 1),
        (w.smooth_idler(d, spec, "gantry rear right", "gantry", (right - rb, y_back + rb, z)), 1),
        (w.toothed_idler(d, spec, "rear right", "frame", (right + rt, rear, z)), -1),
        (w.pulley(d, "b", "frame", (right + rads["b"], front, z)), -1),
        (w.smooth_idler(d, spec, "gantry front right", "gantry", (right - rb, y_front - rb, z)), 1),
    )
    wheels: dict[str, Wheel] = {wheel.name: wheel for wheel, _ in places}
    start, end = w.side_clamps(d, mid[0], y_front, z + spec.carriage_raise_m)
    belt = Belt("a", start, tuple(Wrap(wheel.name, sense) for wheel, sense in places), end, spec, "right", 0)

    rails = (inner + rb, x_reach - (inner + rb))
    beam = pieces.box(rails[0], mid[1] - 0.007, rails[1], mid[1] + 0.007)
    end_z = (guide_z - 0.015, w.below_wheels(d, z) - w.WASHER_M)
    ends = [pieces.box(x - rb - 0.004, mid[1] - 0.032, x + rb + 0.004, mid[1] + 0.032) for x in rails]
    gantry = chassis.Gantry(
        frame_at=(mid[0], (front + rear) / 2),
        rails=rails,
        belt_z=z,
        solids=[Solid("gantry", "gantry", corners, 4, "gantry end", z_m=end_z) for corners in ends],
        signs=[Outline("gantry", "gantry", beam, 4, "gantry")],
    )
    return chassis.gantry_machine(d, chassis.Routed(wheels, [belt], dict.fromkeys(DRIVES, "frame")), gantry)
