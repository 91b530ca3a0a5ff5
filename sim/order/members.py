"""What to buy and cut for the frame: members, corners, panels, diagonals, and the screws of all of them. SI units."""

from __future__ import annotations

import math
from collections.abc import Iterator

from ..check.item import ASSUMED, Item
from ..machine.machine import Machine
from ..machine.masses import panel_mass
from ..machine.panels import base_reach, faces, struts
from ..parts.catalogue import catalogue
from ..parts.design import DiagonalSpec, MemberSpec, PanelSpec

PLACES = {"sides": "at the sides", "rear": "at the rear", "front": "at the front", "top": "on top", "bottom": "below"}
# Our estimates, by the thread of the slot they are made for.
BRACKET_KG, PLATE_KG = {5: 0.010, 8: 0.060}, {5: 0.025, 8: 0.090}
FOOT_KG = 0.010


def members(machine: Machine) -> list[tuple[str, int, float, MemberSpec]]:
    """(words, count, length m, section) of the frame's members, as the model has them.

    Four columns with a ring at top and base, three with a triangle each, or two columns with a beam on top of them and a
    ring below. Members of a ring
    stand between the columns, or the side members between the front and rear ones.
    """
    d = machine.design
    if d.frame is None:
        return []
    size, column = d.frame_size, d.frame.member("columns")
    base, top = d.frame.member("base"), d.frame.member("top")
    if machine.column_radius_m is not None:
        side = math.sqrt(3) * machine.column_radius_m - column.side_a_m
        return [
            ("column", 3, size.height_m, column),
            ("top member, ends cut at 60 degrees", 3, side, top),
            ("base member, ends cut at 60 degrees", 3, side, base),
        ]
    if machine.gantry_height_m is not None:
        return [
            ("column", 2, size.height_m, column),
            ("beam on the columns", 1, size.width_m - 2 * column.side_a_m, top),
            ("base member across", 2, size.width_m, base),
            ("base member from front to rear", 2, size.depth_m - 2 * base.side_a_m, base),
        ]
    out = [("column", 4, size.height_m, column)]
    for name, spec in (("top", top), ("base", base)):
        out.append((f"{name} member across", 2, size.width_m - 2 * column.side_a_m, spec))
        out.append((f"{name} member from front to rear", 2, size.depth_m - 2 * column.side_b_m, spec))
    return out


def printed_members(machine: Machine) -> list[tuple[str, int, float, MemberSpec]]:
    """Those of the frame's members that are printed."""
    return [m for m in members(machine) if catalogue().get("frames", m[3].part).words["type"] == "printed"]


def frame_items(machine: Machine) -> Iterator[Item]:
    d = machine.design
    spec = d.frame
    if spec is None:
        yield Item("frame", "frame, any", "frame", 1, None, None, "", "the scenario's frame is rigid: choose one")
        return
    printed = printed_members(machine)
    for member in members(machine):
        if member not in printed:
            words, count, length, section = member
            words = f"{words}, {profile_size(section)}"
            yield Item("frame", section.part, words, count, length, count * length * section.mass_kg_m, "bar")
    yield from _corners(machine)
    yield from closing_items(machine, printed=False)
    if d.feet is not None:
        soft = "rubber" if d.feet.part == "feet-rubber" else "hard"
        yield Item(
            "frame",
            d.feet.part,
            f"{soft} foot with M5 thread",
            len(machine.feet_points),
            None,
            len(machine.feet_points) * FOOT_KG,
        )


def joints(machine: Machine) -> list[tuple[MemberSpec, MemberSpec]]:
    """The frame's joints: the member that ends there, and the one it is held on.

    Of four columns: both ends of eight ring members. Of three: of six. Of two: of the base's ring and the
    beam, and the columns' feet.
    """
    d = machine.design
    if d.frame is None:
        return []
    column, base, top = d.frame.member("columns"), d.frame.member("base"), d.frame.member("top")
    if machine.column_radius_m is not None:
        return [(base, column)] * 6 + [(top, column)] * 6
    if machine.gantry_height_m is None:
        return [(base, column)] * 8 + [(top, column)] * 8
    return [(base, base)] * 8 + [(top, column)] * 2 + [(column, base)] * 2


def thread(section: MemberSpec) -> int:
    """Thread of what is screwed to a member, mm: by its slot; M5 into a print."""
    size = catalogue().get("frames", section.part).numbers.get("thread_mm")
    return 5 if size is None else round(size.value)


def profile_size(section: MemberSpec) -> str:
    """What to ask for: "20 x 40 mm slot profile for M5"."""
    sides = sorted((section.side_a_m * 1e3, section.side_b_m * 1e3))
    return f"{sides[0]:g} x {sides[1]:g} mm slot profile for M{thread(section)}"


def _slotted(section: MemberSpec) -> bool:
    return catalogue().get("frames", section.part).words["type"] == "slot"


def _corners(machine: Machine) -> Iterator[Item]:
    """Brackets or plates, by the slot of the member that ends there."""
    spec = machine.design.frame
    held = [thread(a) for a, b in joints(machine) if _slotted(a) or _slotted(b)]
    for size in sorted(set(held)):
        count, larger = held.count(size), "" if size == 5 else f"-m{size}"
        slot = f"for M{size} slots"
        if spec is not None and spec.joints == "bracket":
            mass = count * BRACKET_KG[size]
            yield Item("frame", f"bracket{larger}", f"cast angle bracket {slot}", count, None, mass, "", ASSUMED)
        elif spec is not None and spec.joints == "plates":
            words = f"corner plate {slot}, one on each side"
            yield Item("frame", f"plates{larger}", words, 2 * count, None, 2 * count * PLATE_KG[size], "", ASSUMED)


def closures(machine: Machine) -> list[tuple[PanelSpec | DiagonalSpec, int, tuple[float, float], float]]:
    """(panel or diagonals, pieces, size of a sheet or (length, 0) of a bar m, mass of one piece kg) of every side."""
    d = machine.design
    out: list[tuple[PanelSpec | DiagonalSpec, int, tuple[float, float], float]] = []
    if d.frame is None or machine.column_radius_m is not None:  # panels between three columns are not modelled
        return out
    if machine.gantry_height_m is not None:
        ys = [p[1] for p in machine.feet_points]
        reach = base_reach(d.frame_size.depth_m, (min(ys) + max(ys)) / 2, machine.frame_point[1])
        for strut, along in struts(d.frame, *reach, d.frame_size.height_m):
            length = float(along @ along) ** 0.5
            out.append((strut, 2, (length, 0.0), length * strut.section.mass_kg_m))
    for panel in d.frame.panels:
        if machine.gantry_height_m is not None and panel.place != "bottom":
            continue
        sides = faces(panel.place, d.frame_size)
        kg = panel_mass(panel, sides[0])
        if isinstance(panel, DiagonalSpec):
            bars = panel.count * len(sides)
            out.append((panel, bars, (sides[0].diagonal_m, 0.0), kg / panel.count))
        else:
            out.append((panel, len(sides), (sides[0].b_m, sides[0].h_m), kg))
    return out


def closing_items(machine: Machine, printed: bool) -> Iterator[Item]:
    """Panels and diagonals: those that are printed, or those that are not."""
    for panel, count, size, kg in closures(machine):
        place = PLACES[panel.place]
        if printed != ((panel.section.part if isinstance(panel, DiagonalSpec) else panel.part) == "printed"):
            continue
        if isinstance(panel, DiagonalSpec):
            name, note = panel.section.part, "from corner to corner"
            if name == "printed":
                yield Item("printed", name, f"diagonal {place}", count, size[0], count * kg, "", note)
            else:
                words = f"diagonal {place}, {profile_size(panel.section)}"
                yield Item("frame", name, words, count, size[0], count * kg, "bar", note)
            continue
        words = (
            f"{panel.part} panel {place}, {size[0] * 1e3:.0f} x {size[1] * 1e3:.0f} x {panel.thickness_m * 1e3:g} mm"
        )
        if panel.material:
            note = f"{panel.material}; print in pieces that fit the bed and join them"
            yield Item("printed", "printed", words, count, None, count * kg, "", note)
        else:
            yield Item("frame", f"panel-{panel.part}", words, count, None, count * kg)


def frame_screws(machine: Machine) -> Iterator[tuple[int, bool]]:
    """(thread mm, whether it takes a slot nut) of every screw of the frame's joints, panels and diagonals."""
    spec = machine.design.frame
    for panel, count, _, _ in closures(machine):
        assert spec is not None
        column = spec.member("columns")
        # A sheet's are counted, a bar has two at each end.
        each = panel.screws if isinstance(panel, PanelSpec) else 2 * 2
        for _ in range(count * each):
            yield thread(column), _slotted(column)
    for ends, on in joints(machine):
        if spec is not None and spec.joints == "tapped-bore":
            yield thread(ends), False  # through the slot of one member into the bore of the other
            continue
        each = 4 if spec is not None and spec.joints == "plates" else 1  # in each of the two members
        for section in (ends, on):
            for _ in range(each if _slotted(section) else 1):
                yield thread(section), _slotted(section)
