"""What could be changed about a frame: its members, its corners, and what closes its sides."""

from __future__ import annotations

from collections.abc import Iterator

from ..parts.catalogue import Part, catalogue
from ..parts.design import Design, DiagonalSpec, FrameSpec, PanelSpec
from ..scenario.fields import tidy
from .improve_change import Change, next_up

#: Screws of a sheet are tried so many times as many; sides of a frame that are usually left open for the hands stay so.
MORE_SCREWS = 2
CLOSED_SIDES = ("sides", "rear", "top")
STIFFER_WALL, LARGER_SIDE = 1.5, 1.25


def frame_changes(design: Design) -> Iterator[Change]:
    """Every single change of a frame that is not rigid."""
    yield from _frame(design)
    yield from _panels(design)


def _frame(design: Design) -> Iterator[Change]:
    frame = design.frame
    if frame is None:
        return
    kinds = catalogue().parts
    if frame.kind == "slot":
        stiffer = next_up("frames", frame.part, _section, lambda a, b: a.words["type"] == b.words["type"])
        if stiffer is not None:
            yield Change({"frame.part": stiffer.name}, f"frame of {stiffer.name}", "members")
            if frame.columns is None and design.arms is None:
                yield Change({"frame.columns": stiffer.name}, f"columns of {stiffer.name}", "members")
    else:
        yield from _printed(design, frame)
    joint = kinds["joints"].get(frame.joints)
    if joint is not None:
        stiff = joint.value("joint_nm_per_rad")
        for part in kinds["joints"].values():
            if part.value("joint_nm_per_rad") > stiff:
                yield Change({"frame.joints": part.name}, f"corners joined by {_plural(part.name)}", "joints")


def _plural(name: str) -> str:
    return name if name.endswith("s") else f"{name}s"


def _section(part: Part) -> float:
    return part.value("area_mm2") if "area_mm2" in part.numbers else 0.0


def _printed(design: Design, frame: FrameSpec) -> Iterator[Change]:
    side, wall = 1e3 * frame.side_a_m, _wall_mm(design)
    if wall is not None and STIFFER_WALL * wall <= side / 2:
        words = f"printed members with walls of {tidy(STIFFER_WALL * wall)} mm"
        yield Change({"frame.wall_mm": STIFFER_WALL * wall}, words, "members")
    yield Change(
        {"frame.side_mm": LARGER_SIDE * side}, f"printed members {tidy(LARGER_SIDE * side)} mm wide", "members"
    )
    materials = catalogue().parts["materials"]
    now = materials[frame.material].value("elastic_gpa")
    for part in materials.values():
        if part.words["use"] == "printed" and part.value("elastic_gpa") > now:
            yield Change({"frame.material": part.name}, f"frame printed from {part.name}", "members")
    for part in catalogue().parts["frames"].values():
        if part.words["type"] == "slot":
            yield Change({"frame.part": part.name}, f"frame of {part.name} instead of printed members", "members")


def _wall_mm(design: Design) -> float | None:
    return next((float(o.value) for o in design.origins if o.key == "frame.wall_mm" and o.value is not None), None)  # type: ignore[arg-type]


def _panels(design: Design) -> Iterator[Change]:
    """Sides that are open closed, by sheet or by diagonals; sheets that are there held by more screws."""
    frame = design.frame
    if frame is None or design.arms is not None:
        return
    there = {panel.place: panel for panel in frame.panels}
    sheet = "printed" if frame.kind == "printed" else "plywood"
    bar = frame.part if frame.kind == "slot" else "slot-2020"
    for place in CLOSED_SIDES:
        at, where = f"frame.panels.{place}", "the sides" if place == "sides" else f"the {place}"
        panel = there.get(place)  # type: ignore[call-overload]
        if panel is None:
            yield Change({f"{at}.part": sheet}, f"a {sheet} sheet on {where}", "panels")
            yield Change({f"{at}.part": bar, f"{at}.diagonals": 1}, f"a diagonal of {bar} on {where}", "panels")
        elif isinstance(panel, PanelSpec):
            yield Change(
                {f"{at}.screws": MORE_SCREWS * panel.screws},
                f"{MORE_SCREWS * panel.screws} screws round each sheet on {where}",
                "panels",
            )
        elif isinstance(panel, DiagonalSpec) and panel.count == 1:
            yield Change({f"{at}.diagonals": 2}, f"a second diagonal on {where}", "panels")
    open_sides = [place for place in CLOSED_SIDES if place not in there]
    if len(open_sides) > 1:
        settings = {f"frame.panels.{place}.part": sheet for place in open_sides}
        yield Change(settings, f"{sheet} sheets on {_listed(open_sides)}", "panels")


def _listed(names: list[str]) -> str:
    return f"{', '.join(names[:-1])} and {names[-1]}"
