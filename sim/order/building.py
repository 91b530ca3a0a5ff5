"""How to build it: pieces with their hole places, guides' lines, and where every wheel of a belt stands. SI units."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..machine.machine import Machine
from ..machine.routing import Arc, belt_path
from ..parts.catalogue import catalogue
from ..parts.design import GuideSpec, MemberSpec
from .members import closures, members, profile_size, thread
from .shopping import GRIP_M, RAIL_HOLES_M, guided_lines, rail_size

RAIL_END_M = 0.005  # least from a rail's end to its first hole; handbook value, from memory


@dataclass(frozen=True)
class Piece:
    """One kind of piece to cut. mark: how drawings call it.  ends: what is done at its ends.

    holes_m: places along it, from one end, m; () where there are none.  holes: what they are, "" without.
    """

    mark: str
    words: str
    count: int
    length_m: float
    ends: str = ""
    holes_m: tuple[float, ...] = ()
    holes: str = ""


@dataclass(frozen=True)
class Stop:
    """A wheel that a belt goes round, in the belt's order. x_m, y_m: from the frame's front left corner.

    above_m: height of the belt's middle above the table.  teeth: whether the toothed side lies on it.
    """

    wheel: str
    kind: str
    carried_by: str
    x_m: float
    y_m: float
    above_m: float
    teeth: bool


@dataclass(frozen=True)
class Building:
    """pieces: of the frame.  lines: rods, rails and profiles of the guides.  stops: of each belt, by its name.

    clamps: (name, x, y, height) m of each belt's two ends, alike.  corner: of the frame, front left, (2,) m.
    """

    pieces: tuple[Piece, ...]
    lines: tuple[Piece, ...]
    stops: dict[str, tuple[Stop, ...]]
    clamps: dict[str, tuple[tuple[str, float, float, float], ...]]
    corner: tuple[float, float]
    table_z_m: float


def building(machine: Machine) -> Building:
    """What a person at the saw and the bench needs of a machine; the tool stands in the middle of its reach."""
    frame = [np.array(o.points) for o in machine.outlines if o.kind == "frame"]
    points = np.concatenate(frame) if frame else np.array([p[:2] for p in machine.feet_points])
    x0, y0 = (float(v) for v in points.min(axis=0))
    table = min(p[2] for p in machine.feet_points)
    stops, clamps = {}, {}
    for belt in machine.belts:
        path = belt_path(machine, belt)
        arcs = [p for p in path.pieces if isinstance(p, Arc)]
        found = []
        for arc in arcs:
            wheel = machine.wheels[arc.wheel]
            x, y, z = wheel.centre
            found.append(Stop(arc.wheel, wheel.kind, wheel.body, x - x0, y - y0, z - table, arc.touches_teeth))
        stops[belt.name] = tuple(found)
        ends = (belt.start, belt.end)
        clamps[belt.name] = tuple((c.name, c.point[0] - x0, c.point[1] - y0, c.point[2] - table) for c in ends)
    return Building(tuple(_pieces(machine)), tuple(_lines(machine)), stops, clamps, (x0, y0), table)


def _pieces(machine: Machine) -> list[Piece]:
    spec = machine.design.frame
    out: list[Piece] = []
    for number, (words, count, length, section) in enumerate(members(machine)):
        ends, holes, what = _ends(machine, words, length, section)
        plain, _, angle = words.partition(", ")
        ends = ", ".join(filter(None, [angle, ends]))
        out.append(Piece(chr(ord("A") + number), f"{plain}, {_size(section)}", count, length, ends, holes, what))
    for panel, count, size, _ in closures(machine):
        if size[1] == 0.0 and spec is not None:
            out.append(
                Piece(chr(ord("A") + len(out)), f"diagonal, {panel.place}", count, size[0], "cut to the corners' angle")
            )
    return out


def _size(section: MemberSpec) -> str:
    if catalogue().get("frames", section.part).words["type"] == "slot":
        return profile_size(section)
    return f"printed box {section.side_a_m * 1e3:g} x {section.side_b_m * 1e3:g} mm"


def _ends(machine: Machine, words: str, length: float, section: MemberSpec) -> tuple[str, tuple[float, ...], str]:
    """(what is done at the ends, hole places from one end, what the holes are) of a member."""
    d = machine.design
    assert d.frame is not None
    if catalogue().get("frames", section.part).words["type"] != "slot":
        return f"printed flange with holes for M{thread(section)}", (), ""
    size = thread(section)
    joint = d.frame.joints
    if joint != "tapped-bore":
        how = {"bracket": "no holes: brackets in the slots", "plates": "no holes: plates on the slots"}
        return how.get(joint, "square cut"), (), ""
    if not words.startswith("column"):
        return f"both ends tapped M{size} in the bore, 15 mm deep", (), ""
    base, top = d.frame.member("base"), d.frame.member("top")
    places = (base.side_b_m / 2, length - top.side_b_m / 2)
    through = "through, across both slots, for the key"
    return "square cut", places, f"{size + 1} mm {through}"


def _lines(machine: Machine) -> list[Piece]:
    out = []
    for number, (body, guide, length, lines) in enumerate(guided_lines(machine), start=1):
        place = body.place
        assert place is not None
        apart = f", {place.apart_m * 1e3:.1f} mm apart".replace(".0 mm", " mm") if lines > 1 and place.apart_m else ""
        mark = f"G{number}"
        if guide.kind == "rods":
            words = f"{guide.rod_diameter_m * 1e3:g} mm rod of the {body.name}{apart}"
            out.append(
                Piece(
                    mark, words, lines, length, f"square, chamfered; held over {GRIP_M['rods'] * 1e3:g} mm at each end"
                )
            )
        elif guide.kind == "rail":
            holes = rail_holes(guide, length)
            words = f"rail of the {body.name}, size {rail_size(guide)}{apart}"
            out.append(
                Piece(
                    mark, words, lines, length, "cut so that the holes lie alike at both ends", holes, "M3, as drilled"
                )
            )
        else:
            out.append(Piece(mark, f"20 x 20 mm V-slot of the {body.name}{apart}", lines, length, "square cut"))
    return out


def rail_holes(guide: GuideSpec, length_m: float) -> tuple[float, ...]:
    """Where the holes of a cut rail are, from one end, m: as many as its pitch allows, alike at both ends."""
    pitch = RAIL_HOLES_M.get(rail_size(guide), 0.025)
    count = max(1, math.floor((length_m - 2 * RAIL_END_M) / pitch + 1e-9) + 1)
    first = (length_m - (count - 1) * pitch) / 2
    return tuple(first + k * pitch for k in range(count))
