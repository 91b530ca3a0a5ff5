"""Guides as springs: where the bearings of rods, wheels and rails sit, and what holds a body on them. SI units.

Deflections d (6,) are those of a joint (joints.py): translation and rotation of the guided body against its guide, at
the middle of the bearings.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..errors import MachineError
from ..machine.machine import Body, GuidePlace
from ..parts.design import GuideSpec
from .kinematics import Kinematics, cross
from .shafts import Shaft, middle_shape

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Held:
    """What holds a body on its guide. blocks: (6, 6), bearings of constant stiffness.  shaft, shaft_rows: of rods, (r, 2, 6)."""

    blocks: Array
    shaft: Shaft | None = None
    shaft_rows: Array | None = None

    def at_rest(self) -> Array:
        """Stiffness (6, 6) with the slide at its reference."""
        k = self.blocks.copy()
        if self.shaft is not None and self.shaft_rows is not None:
            two, _ = self.shaft.stiffness(0.0)
            for rows in self.shaft_rows:
                k += rows.T @ two @ rows
        return k


def bearings(guide: GuideSpec, place: GuidePlace, slide: int) -> list[Array]:
    """Where the guide's bearings sit relative to its point, (3,) m each, the two of one rod one after the other.

    Rods: two bushings on each.  Rails: one or two blocks on each.  Wheels: four on each profile, two along either of its
    sides, above and below it (left and right of a column, or under a bed); their V holds them in both directions across.
    """
    across, along = _across(place), _axis(slide)
    lines = (-0.5, 0.5) if guide.lines > 1 else (0.0,)
    steps = (-0.5, 0.5) if guide.kind != "rail" or guide.blocks > 1 else (0.0,)
    sides = [np.zeros(3)]
    if guide.kind == "wheels":
        facing = wheel_facing(place, slide)
        sides = [-place.edge_m * facing, place.edge_m * facing]
    return [
        place.apart_m * y * across + side + place.spacing_m * x * along for y in lines for side in sides for x in steps
    ]


def wheel_facing(place: GuidePlace, slide: int) -> Array:
    """Direction in which the wheels are pressed onto their profile, (3,)."""
    return _across(place) if place.flat or slide == 2 else _axis(2)


def _across(place: GuidePlace) -> Array:
    """Direction in which a guide's two lines lie apart, (3,)."""
    return _axis(place.across) if place.sideways is None else np.array(place.sideways)


def _axis(number: int) -> Array:
    return np.asarray(np.eye(3)[number])


def spot(r: Array) -> Array:
    """Rows (3, 6) on d of the deflection of a bearing at r from the joint's point: d_t + d_r x r."""
    return np.hstack([np.eye(3), -cross(r)])


def guide_stiffness(name: str, guide: GuideSpec, place: GuidePlace, axis: int) -> Held:
    """Springs of a guide whose body slides along `axis`. Raises MachineError where it leaves more than the slide free."""
    planes = [p for p in range(3) if p != axis]
    spots = bearings(guide, place, axis)
    if guide.kind == "rods":
        shaft = Shaft(
            guide.rod_diameter_m, place.span_m, place.before_m, place.spacing_m, guide.stiffness_n_m, guide.ends
        )
        pairs = [spots[i : i + 2] for i in range(0, len(spots), 2)]
        rows = np.array([[spot(r)[p] for r in pair] for pair in pairs for p in planes])
        held = Held(np.zeros((6, 6)), shaft, rows)
    else:
        k = np.zeros((6, 6))
        for r in spots:
            across = spot(r)[planes]
            k += guide.stiffness_n_m * across.T @ across
            k[3:, 3:] += guide.stiffness_nm_rad * np.eye(3)
        held = Held(k)
    _refuse_free(name, guide, axis, held.at_rest())
    return held


def _refuse_free(name: str, guide: GuideSpec, axis: int, k: Array) -> None:
    """A guide must hold everything but its slide."""
    keep = [i for i in range(6) if i != axis]
    held = k[np.ix_(keep, keep)]
    # Turning stiffness is judged against what a tenth of a millimetre of lever would give.
    size = np.where(np.array(keep) < 3, 1.0, 1e-4)
    values, shapes = np.linalg.eigh(held / np.outer(size, size) / np.abs(held).max())
    if values[0] > 1e-6:
        return
    loose = keep[int(np.argmax(np.abs(shapes[:, 0] / size)))]
    if guide.kind == "rods" or loose == 3 + axis:
        raise MachineError(
            f"[{name}] guide = {guide.part}: a single line of round bearings leaves rotation about it free;"
            " rods are needed in pairs (lines = 2), or wheels, or a profile rail"
        )
    raise MachineError(
        f"[{name}] guide = {guide.part}: its bearings leave turning about {'XYZ'[loose % 3]} free;"
        " give them a distance along the line (spacing_mm, blocks = 2) or a tilting stiffness (stiffness_nm_per_rad)"
    )


def rod_inertia(kin: Kinematics) -> Array:
    """What the rods' own mass adds to M (n, n) as they bend under what slides on them; full model only.

    The rods travel with the body that carries them and are part of its mass; bending by w adds mu int (u phi w + phi^2 w^2)
    with phi the shape under a load in the middle, taken for every place of the slide.
    """
    m = np.zeros((kin.n, kin.n))
    for body in kin.machine.bodies:
        guide, place, axis = body.guide, body.place, body.slide
        if body.name not in kin.loose or guide is None or place is None or axis is None or guide.kind != "rods":
            continue
        assert body.parent is not None
        held = guide_stiffness(body.name, guide, place, axis)
        assert held.shaft is not None
        assert held.shaft_rows is not None
        mean, square = middle_shape(guide.ends)
        # No more than the carrying body weighs: a mass somebody wrote may leave the rods out.
        rods = min(guide.line_mass_kg_m * place.span_m, kin.machine.body(body.parent).mass_kg)
        point = np.array(place.point)
        d0 = np.vstack([kin.at(body.name, point), kin.rows[body.name][3:]]) - np.vstack(
            [kin.at(body.parent, point), kin.rows[body.parent][3:]]
        )
        influence, _ = held.shaft.influence(0.0)
        two, _ = held.shaft.stiffness(0.0)
        middle = point + (place.span_m / 2 - place.before_m) * np.eye(3)[axis]
        for number, plane in enumerate(p for p in range(3) if p != axis):
            # Both rods together: what makes one bend up and the other down is a turning of the body, and light.
            rows = held.shaft_rows[number::2].mean(axis=0)
            bent = (np.full(2, 0.5) @ influence @ two @ rows) @ d0[:, : kin.n]
            carried = kin.at(body.parent, middle)[plane, : kin.n]
            m += rods * (mean * (np.outer(carried, bent) + np.outer(bent, carried)) + square * np.outer(bent, bent))
    return m


def wheel_loads(body: Body, d: Array) -> Array:
    """How much of their preload the wheels of a guide use up, N, (..., wheels), at deflections d (..., 6).

    A wheel in a V slot stays on while what its spring gives across and away from the profile, together, is less than
    its preload (faces at 45 degrees); beyond that its stiffness is not valid.
    """
    guide, place, axis = body.guide, body.place, body.slide
    assert guide is not None
    assert place is not None
    assert axis is not None
    facing = wheel_facing(place, axis)
    side = np.cross(_axis(axis), facing)
    loads = []
    for r in bearings(guide, place, axis):
        rows = spot(r)
        loads.append(np.abs(d @ (facing @ rows)) + np.abs(d @ (side @ rows)))
    return guide.stiffness_n_m * np.stack(loads, axis=-1)
