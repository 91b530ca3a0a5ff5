"""What to buy and cut for a machine: every part with its count, length, mass and the name prices go by. SI units.

Counts of screws, brackets and printed parts are as builders usually make them, our assumption; the list says so.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator

from ..check.item import ASSUMED, Item
from ..machine.machine import Body, Machine
from ..machine.masses import GLASS_KG_M3, PRINTED_KG_M3
from ..machine.routing import order_length_m
from ..parts.catalogue import catalogue
from ..parts.design import BeltSpec, GuideSpec, MotorSpec
from .members import closing_items, frame_items, frame_screws, printed_members, profile_size, thread

CLAMP_M = 0.030  # of belt to hold at each clamp
GRIP_M = {"rods": 0.010, "rail": 0.0, "wheels": 0.0}  # what a line needs beyond its free length at each end
SCREW_M = 0.120  # of a Z drive beyond its travel: nut, bearing, coupling
RAIL_HOLES_M = {
    "9": 0.020,
    "12": 0.025,
    "15": 0.040,
}  # pitch of the holes of miniature rails (handbook value, from memory)
SCREW_KG = {3: 0.0008, 5: 0.0035, 8: 0.012}  # by thread, mm; our estimates, as all that follow
IDLER_GRIP_M = 0.012  # of an idler's screw beyond the idler: flanges, washers, thread; our choice
NUT_KG = {5: 0.0030, 8: 0.008}
Z_DRIVE_KG = 0.45  # motor, screw, nut and coupling; our estimate
ARMS = 2  # under a lifted plate, as the model of its sag has them


def items(machine: Machine) -> list[Item]:
    """Everything to buy, print and cut for a machine, group by group."""
    return [
        *_belts(machine),
        *_drives(machine),
        *_guides(machine),
        *frame_items(machine),
        *_bed(machine),
        *_arms(machine),
        *_printed(machine),
        *_fasteners(machine),
    ]


def _belts(machine: Machine) -> Iterator[Item]:
    for belt in machine.belts:
        length = order_length_m(machine, belt, CLAMP_M)
        teeth = round(length / belt.spec.pitch_m)
        yield Item(
            "belts",
            belt.spec.part,
            f"belt {belt.name}, open, {belt_size(belt.spec)}",
            1,
            length,
            belt.spec.mass_kg_m * length,
            "roll",
            f"{teeth} teeth, with {CLAMP_M * 1e3:g} mm to hold at each clamp",
        )


def _drives(machine: Machine) -> Iterator[Item]:
    d = machine.design
    parts: dict[str, list[str]] = {}
    for motor in machine.motors:
        parts.setdefault("motor, any" if motor.spec is None else motor.spec.part, []).append(motor.name)
    for part, names in parts.items():
        spec = next(m.spec for m in machine.motors if m.name == names[0])
        mass = None if spec is None else len(names) * spec.mass_kg
        note = "the scenario's motors are ideal: choose one" if spec is None else ""
        words = f"motor {', '.join(names)}" + ("" if spec is None else f": {motor_size(spec)}")
        yield Item("drives", part, words, len(names), None, mass, "", note)
    pulleys = [w for w in machine.wheels.values() if w.drive is not None]
    for teeth in sorted({w.teeth or 0 for w in pulleys}):
        mine = [w for w in pulleys if w.teeth == teeth]
        known = catalogue().parts["pulleys"].get(f"pulley-{teeth}")
        mass = None if known is None else len(mine) * known.si("mass_g")
        pitch = machine.belts[0].spec.pitch_m
        words = f"pulley, {teeth} teeth, {pitch * 1e3:g} mm pitch, for {machine.belts[0].spec.width_m * 1e3:g} mm belt"
        words += "" if known is None else f", bore {known.value('bore_mm'):g} mm"
        yield Item("drives", f"pulley-{teeth}", words, len(mine), None, mass)
    for kind, size in (("toothed idler", "toothed"), ("smooth idler", "smooth")):
        found = [w for w in machine.wheels.values() if w.kind == kind]
        if found:
            belt = machine.belts[0].spec
            what = f"{d.idlers.teeth} teeth, {belt.pitch_m * 1e3:g} mm pitch"
            if size == "smooth":
                what = f"{d.idlers.smooth_diameter_m * 1e3:g} mm outside"
            name = f"idler-{d.idlers.teeth}-{size}"
            yield Item(
                "drives",
                name,
                f"{kind}, {what}, for {belt.width_m * 1e3:g} mm belt, on bearings for M5",
                len(found),
                None,
                len(found) * d.idlers.mass_kg,
            )
    lifted = next((b for b in machine.bodies if b.held), None)
    if lifted is not None:
        length = d.space.z_m + SCREW_M
        with_it = "nut, coupling" if d.bed.z_drive == "screw" else "pulley, idler, brake"
        yield Item(
            "drives",
            "z-drive",
            f"Z drive: motor, {d.bed.z_drive} of {length * 1e3:.0f} mm, {with_it}",
            d.bed.z_drives,
            None,
            d.bed.z_drives * Z_DRIVE_KG,
            "",
            "mass is our estimate",
        )


def guided_lines(machine: Machine) -> Iterator[tuple[Body, GuideSpec, float, int]]:
    """(body, guide, length of a line m, lines) of every guide whose lines are bought.

    Wheels that climb the frame's own columns need none. A lifted bed with two drives or more has lines at both sides.
    """
    for body in machine.bodies:
        guide, place = body.guide, body.place
        if guide is None or place is None or body.slide is None:
            continue
        if guide.kind == "wheels" and body.held and body.parent == "frame":
            continue
        sides = 2 if body.held and body.name == machine.work_body and machine.design.bed.z_drives > 1 else 1
        yield body, guide, place.span_m + 2 * GRIP_M[guide.kind], guide.lines * sides


def line_name(guide: GuideSpec) -> str:
    """What prices go by for a guide's rod, rail or profile."""
    if guide.kind == "rods":
        return f"rod-{guide.rod_diameter_m * 1e3:g}"
    return guide.part if guide.kind == "rail" else "slot-2020"


def rail_size(guide: GuideSpec) -> str:
    """Size of a profile rail, mm: "12"."""
    return guide.part.rpartition("-")[2]


def belt_size(spec: BeltSpec) -> str:
    """What to ask for: "2 mm pitch, 6 mm wide, glass cord"."""
    return f"{spec.pitch_m * 1e3:g} mm pitch, {spec.width_m * 1e3:g} mm wide, {spec.cord} cord"


def motor_size(spec: MotorSpec) -> str:
    """What to ask for: "stepper, 42 x 42 x 40 mm, 1.7 A, 0.4 N m"."""
    side, long = spec.body_m * 1e3, spec.length_m * 1e3
    return f"stepper, {side:g} x {side:g} x {long:g} mm, {spec.rated_current_a:g} A, {spec.holding_torque_nm:g} N m"


def _guides(machine: Machine) -> Iterator[Item]:
    movers: dict[str, tuple[int, float, str]] = {}
    for body, guide, length, lines in guided_lines(machine):
        per_line = guide.line_mass_kg_m / guide.lines
        words = {
            "rods": f"{guide.rod_diameter_m * 1e3:g} mm {guide.shaft} rod",
            "rail": f"miniature profile rail, size {rail_size(guide)},",
            "wheels": "20 x 20 mm V-slot profile for the wheels",
        }[guide.kind]
        note = "ground and hardened" if guide.kind == "rods" else ""
        mass = lines * per_line * length
        yield Item("guides", line_name(guide), f"{words} of the {body.name}", lines, length, mass, "bar", note)
    for body in machine.bodies:
        moved = body.guide
        if moved is None or body.slide is None:
            continue
        lines = next((n for b, _, _, n in guided_lines(machine) if b.name == body.name), moved.lines)
        each = moved.mover_mass_kg / moved.lines / moved.blocks
        if moved.kind == "rods":
            size = f"{moved.rod_diameter_m * 1e3:g}"
            name, words, count = f"bushing-{size}", f"linear ball bushing for {size} mm rod", 2 * lines
        elif moved.kind == "rail":
            name, words, count = (
                f"block-{rail_size(moved)}",
                f"block for a profile rail, size {rail_size(moved)}",
                lines * moved.blocks,
            )
        else:
            name, words, count = "wheel", "V-wheel, 24 mm, with bearings for M5; half of them on eccentrics", 4 * lines
        before, mass, _ = movers.get(name, (0, 0.0, words))
        movers[name] = (before + count, mass + lines * moved.blocks * each, words)
    for name, (count, mass, words) in movers.items():
        yield Item("guides", name, words, count, None, mass)


def _bed(machine: Machine) -> Iterator[Item]:
    d = machine.design
    width, depth = machine.plate_m
    thick = d.bed.plate_thickness_m
    size = f"{width * 1e3:.0f} x {depth * 1e3:.0f} x {thick * 1e3:g} mm"
    plate = next((str(o.value) for o in d.origins if o.key == "bed.plate"), "aluminium")
    mass = width * depth * thick * d.bed.plate_density_kg_m3
    yield Item("bed", f"plate-{plate}", f"{plate} plate, {size}", 1, None, mass)
    if d.bed.glass_thickness_m > 0:
        glass = d.bed.glass_thickness_m
        mass = width * depth * glass * GLASS_KG_M3
        yield Item(
            "bed", "plate-glass", f"glass, {width * 1e3:.0f} x {depth * 1e3:.0f} x {glass * 1e3:g} mm", 1, None, mass
        )
    arms = d.bed.arms
    if machine.body(machine.work_body).held and arms is not None:
        length = depth + d.bed.guide_gap_m if d.bed.z_drives == 1 else width + 2 * d.bed.guide_gap_m
        mass = ARMS * length * arms.mass_kg_m
        if catalogue().get("frames", arms.part).words["type"] == "printed":
            yield Item(
                "bed", "printed", "printed arm under the bed", ARMS, length, mass, "", "as the model of its sag has it"
            )
        else:
            yield Item(
                "bed",
                arms.part,
                f"arm under the bed, {profile_size(arms)}",
                ARMS,
                length,
                mass,
                "bar",
                "as the model of its sag has it",
            )


def _arms(machine: Machine) -> Iterator[Item]:
    """Arms, each between two ball joints; their tubes are cut shorter by what the joints take, which their maker says."""
    spec = machine.design.arms
    if spec is None:
        return
    count = 2 * len(machine.arms)
    joint_kg = catalogue().get("arms", spec.part).si("joint_mass_g")
    kind = catalogue().get("arms", spec.part).description.partition(";")[0]
    words = f"arm, {spec.length_m * 1e3:g} mm between ball centres: {kind}"
    note = "tube shorter by its ends; all to one length on a jig, 0.1 mm too long tilts the tool by 2 mrad"
    mass = count * max(spec.arm_mass_kg - 2 * joint_kg, 0.0)
    yield Item("arms", spec.part, words, count, spec.length_m, mass, "", note)
    yield Item("arms", f"{spec.part}-joint", "ball joint for an arm", 2 * count, None, 2 * count * joint_kg)


def _printed(machine: Machine) -> Iterator[Item]:
    """Printed parts with our estimate of their mass."""
    d = machine.design
    lines = sum(n for _, g, _, n in guided_lines(machine) if g.kind == "rods")
    parts = [
        (
            "carriage plate, 12 mm",
            max(len(machine.arms), 1),
            d.carriage.width_m * d.carriage.depth_m * 0.012 * PRINTED_KG_M3,
        ),
        ("gantry end", 2 if d.arms is None else 0, 0.050 * 0.060 * 0.030 * PRINTED_KG_M3),
        ("platform for the tool", 0 if d.arms is None else 1, 0.060),
        ("motor mount", len(machine.motors), 0.045),
        ("rod holder", 2 * lines, 0.012),
        ("belt clamp", 2 * len(machine.belts), 0.004),
        (
            "idler mount on the frame",
            sum(w.body == "frame" and w.drive is None for w in machine.wheels.values()),
            0.020,
        ),
    ]
    for words, count, each in parts:
        if count:
            yield Item("printed", "printed", words, count, None, count * each, "", "mass is our estimate")
    yield from closing_items(machine, printed=True)
    for words, count, length, section in printed_members(machine):
        note = f"{d.frame.material if d.frame else ''}; print in lengths that fit the bed and join them"
        yield Item("printed", "printed", f"frame {words}", count, length, count * length * section.mass_kg_m, "", note)


def _fasteners(machine: Machine) -> Iterator[Item]:
    d = machine.design
    screws: Counter[int] = Counter(
        {
            3: 4 * (len(machine.motors) + (d.bed.z_drives if any(b.held for b in machine.bodies) else 0))
            + 2 * 2 * len(machine.belts)
        }
    )
    nuts: Counter[int] = Counter()
    screws[5] += sum(w.drive is None for w in machine.wheels.values())
    slotted = d.frame is not None and d.frame.kind == "slot"
    own = 5 if d.frame is None else thread(d.frame.member("top"))
    for _, guide, length, lines in guided_lines(machine):
        if guide.kind == "rail":
            pitch = RAIL_HOLES_M.get(rail_size(guide), 0.025)
            screws[3] += lines * (math.floor((length - 0.010) / pitch) + 1) + 4 * lines * guide.blocks
        elif guide.kind == "rods":
            screws[own if slotted else 5] += 2 * 2 * lines
            nuts[own] += 2 * 2 * lines if slotted else 0
        else:
            screws[5] += 4 * lines
    for size, in_slot in frame_screws(machine):
        screws[size] += 1
        nuts[size] += in_slot
    idlers = sum(w.drive is None for w in machine.wheels.values())
    long = 5 * math.ceil((d.idlers.width_m + IDLER_GRIP_M) / 5e-3)
    uses = {
        3: "x 10 mm: motors, rails, belt clamps",
        5: f"x 10 mm: frame, wheels, holders; {idlers} of them x {long} mm for idlers",
        8: "x 16 mm: frame, holders",
    }
    for size, count in sorted(screws.items()):
        if count:
            words = f"screw M{size} {uses[size]}"
            yield Item("fasteners", f"screw-m{size}", words, count, None, count * SCREW_KG[size], "", ASSUMED)
    for size, count in sorted(nuts.items()):
        if count:
            mass = count * NUT_KG[size]
            yield Item("fasteners", f"slot-nut-m{size}", f"slot nut M{size}", count, None, mass, "", ASSUMED)
