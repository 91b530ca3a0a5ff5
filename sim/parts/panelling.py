"""Panels and diagonals of the frame, from the scenario's [frame.panels]: the part of `resolve` that reads them."""

from __future__ import annotations

from collections.abc import Callable
from typing import get_args

from ..errors import ScenarioError
from .catalogue import Part
from .completion import Completion
from .design import DiagonalSpec, MemberSpec, PanelPlace, PanelSpec
from .kinds import KINDS

PLACES: tuple[PanelPlace, ...] = get_args(PanelPlace)
SCREWS = 12
OF_SHEETS = ("thickness_mm", "screws", "screw_n_per_mm")


def idle_panels(c: Completion, why: str) -> None:
    """Tell that written panels do nothing."""
    for place in PLACES:
        c.idle(("frame", "panels", place, "part"), why)


def printed_panels(c: Completion) -> bool:
    """Whether any sheet or diagonal is printed."""
    return any(c.written(("frame", "panels", place, "part")) == "printed" for place in PLACES)


def printed_diagonals(c: Completion) -> bool:
    """Whether any diagonal is a printed member."""
    paths = [("frame", "panels", place) for place in PLACES]
    return any(c.written((*p, "part")) == "printed" and c.written((*p, "diagonals")) is not None for p in paths)


def panel_specs(c: Completion, section: Callable[[Part], MemberSpec]) -> tuple[PanelSpec | DiagonalSpec, ...]:
    """What closes the sides of the frame. section: the member a frame part makes. Raises ScenarioError."""
    found: list[PanelSpec | DiagonalSpec] = []
    for place in PLACES:
        path = ("frame", "panels", place)
        name = c.written((*path, "part"))
        if name is None:
            continue
        c.value((*path, "part"))
        if name == KINDS["panels"].off:
            for key in (*OF_SHEETS, "diagonals", "end_n_per_mm"):
                c.idle((*path, key), f'since part = "{name}" {KINDS["panels"].off_meaning}')
            continue
        if place == "bottom":
            c.notices.append(
                "frame.panels.bottom does nothing against swaying: the base counts as rigid; it is weighed and ordered"
            )
        bars = c.written((*path, "diagonals")) is not None
        found.append(_diagonals(c, place, section) if bars else _sheet(c, place))
    if found and any(c.written(("frame", f"stiffness_{axis}_n_per_mm")) is not None for axis in "xy"):
        c.notices.append(
            "frame.stiffness_x_n_per_mm and frame.stiffness_y_n_per_mm hold where they are written, whatever frame.panels says;"
            " leave them out to have panels computed"
        )
    return tuple(found)


def _sheet(c: Completion, place: PanelPlace) -> PanelSpec:
    path = ("frame", "panels", place)
    name = c.value((*path, "part"))
    part = c.catalogue.parts["panels"].get(name)
    if part is None:
        sheets = ", ".join(c.catalogue.parts["panels"])
        rule = f"a profile makes diagonals: write diagonals = 1 or 2 beside it, or name a sheet, {sheets}"
        raise ScenarioError([c.problem((*path, "part"), rule)])
    if c.written((*path, "end_n_per_mm")) is not None:
        raise ScenarioError([c.problem((*path, "end_n_per_mm"), "only diagonals have ends; leave it out")])
    material = ""
    source = part
    if part.words["type"] == "printed":
        note = f"usual for a {part.name} sheet"
        material = str(c.value_or(("frame", "material"), part.words["material"], note, "default"))
        source = c.catalogue.get("materials", material)
    c.use(source, "shear_gpa")
    return PanelSpec(
        place=place,
        part=part.name,
        thickness_m=c.si((*path, "thickness_mm"), part),
        shear_modulus_pa=source.si("shear_gpa"),
        density_kg_m3=source.si("density_kg_m3"),
        screws=int(c.value_or((*path, "screws"), SCREWS, "common practice, no source", "default")),
        screw_n_m=c.si((*path, "screw_n_per_mm"), part),
        material=material,
    )


def _diagonals(c: Completion, place: PanelPlace, section: Callable[[Part], MemberSpec]) -> DiagonalSpec:
    path = ("frame", "panels", place)
    name = c.value((*path, "part"))
    part = c.catalogue.parts["frames"].get(name)
    if part is None:
        bars = ", ".join(c.catalogue.parts["frames"])
        rule = f"diagonals are bars: name one of {bars}, or leave diagonals out for a sheet"
        raise ScenarioError([c.problem((*path, "part"), rule)])
    wrong = [c.problem((*path, k), "only a sheet has it; leave it out or leave diagonals out")
             for k in OF_SHEETS if c.written((*path, k)) is not None]  # fmt: skip
    if wrong:
        raise ScenarioError(wrong)
    return DiagonalSpec(place, int(c.value((*path, "diagonals"))), section(part), c.si((*path, "end_n_per_mm"), part))
