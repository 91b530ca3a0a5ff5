"""Panels and diagonals against statics by hand: stiff bars on pins that only they hold, screws as springs, bars along themselves.

Textbook statics of shear panels and braces, worked here apart from the program (no published number was at hand). With
members that neither stretch nor hold a corner, a frame of four columns has exactly the stiffness its panels give it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from beltspring.sim.machine.build import sway_stiffness
from beltspring.sim.machine.frame import frame_stiffness, two_column_stiffness
from beltspring.sim.machine.panels import panel_stiffness, screw_places
from beltspring.sim.parts.design import DiagonalSpec, FrameSize, PanelSpec

from tests.support import bare, machine_of, shipped

#: What a panel gives when nothing else holds, N/m, at b = h: chosen far below the bars and far above their corners.
K = 1e6


def spec(*panels):
    """A frame whose bars hardly bend at their corners (springs of 0.1 N m/rad) and do not stretch, closed with panels."""
    frame = machine_of(bare("corexy", {"frame.part": "slot-2020"})).design.frame
    assert frame is not None
    return replace(
        frame, joint_nm_rad=0.1, area_m2=1e4, i_strong_m4=1e-3, i_weak_m4=1e-3, torsion_m4=1e-3, panels=panels
    )


def sheet(place, size: FrameSize, k=K):
    """A sheet that gives exactly k over the face of that place, its screws as good as none giving way."""
    b, h = {"sides": (size.depth_m, size.height_m), "top": (size.width_m, size.depth_m)}.get(
        place, (size.width_m, size.height_m)
    )
    return PanelSpec(place, "plywood", 0.006, k * h / b / 0.006, 600.0, 12, 1e15)


def sways(size, *places):
    compliance = np.linalg.inv(frame_stiffness(spec(*(sheet(p, size) for p in places)), size))
    return 1 / compliance[0, 0], 1 / compliance[1, 1]


@pytest.mark.parametrize(("w", "d", "h"), [(0.38, 0.38, 0.38), (0.5, 0.3, 0.4), (0.3, 0.5, 0.7)])
def test_two_sides_carry_y_alone(w, d, h):
    # Two panels of k side by side in Y. Across them nothing holds but the corners (a few N/m).
    x, y = sways(FrameSize(w, d, h), "sides")
    assert y == pytest.approx(2 * K, rel=1e-4)
    assert x < 1e-3 * K


@pytest.mark.parametrize(("w", "d", "h"), [(0.4, 0.4, 0.4), (0.5, 0.3, 0.4), (0.3, 0.5, 0.7)])
def test_a_top_ties_the_open_front_to_the_rear(w, d, h):
    # Push F in X at the middle of the top, square and stiff in its plane: the rear takes F at its own line, the couple F d/2
    # goes to the sides, k each at a lever w/2: 1/X = 1/k + (d/2)^2 / (2 k (w/2)^2), X = k / (1 + d^2 / (2 w^2)).
    size = FrameSize(w, d, h)
    panels = (sheet("rear", size), sheet("sides", size), sheet("top", size, 1e4 * K))
    x = 1 / np.linalg.inv(frame_stiffness(spec(*panels), size))[0, 0]
    assert x == pytest.approx(K / (1 + d**2 / (2 * w**2)), rel=1e-3)
    if w == d:
        assert x == pytest.approx(0.667 * K, rel=1e-3)


def test_without_a_top_a_rear_holds_nothing_at_the_front():
    # The top's middle goes half as far as its front, which nothing holds: only corners do.
    x, y = sways(FrameSize(0.4, 0.4, 0.4), "rear", "sides")
    assert x < 1e-3 * K
    assert y == pytest.approx(2 * K, rel=1e-4)


@pytest.mark.parametrize("place", ["rear", "front"])
def test_front_and_rear_mirror_each_other(place):
    size = FrameSize(0.4, 0.3, 0.5)
    one = frame_stiffness(spec(sheet(place, size), sheet("sides", size), sheet("top", size)), size)
    assert 1 / np.linalg.inv(one)[0, 0] == pytest.approx(
        1 / np.linalg.inv(frame_stiffness(spec(*(sheet(p, size) for p in ("rear", "sides", "top"))), size))[0, 0]
    )


def test_a_bottom_does_nothing_on_a_rigid_base():
    size = FrameSize(0.4, 0.3, 0.5)
    assert frame_stiffness(spec(sheet("bottom", size)), size) == pytest.approx(frame_stiffness(spec(), size))


def test_screws_by_hand():
    # 380 x 380 mm, 12 screws at 126.67 mm: on each upright edge 4 at 190 mm from the middle, 2 more on each level edge at
    # 63.33: Sx = Sy = 8 x 190^2 + 4 x 63.33^2 = 304 844 mm2. A sheet that does not give: k_s Sx / (2 h^2).
    stiff = PanelSpec("rear", "plywood", 0.006, 1e15, 650.0, 12, 2.9e6)
    assert panel_stiffness(stiff, 0.38, 0.38) == pytest.approx(2.9e6 * 304_844 / (2 * 380**2), rel=1e-5)
    # A sheet of G = 0.66 GPa and 4 mm alone: G t b / h = 2.64 MN/m; both in series.
    soft = replace(stiff, shear_modulus_pa=0.66e9, thickness_m=0.004)
    screws = 2.9e6 * 304_844 / (2 * 380**2)
    assert panel_stiffness(soft, 0.38, 0.38) == pytest.approx(1 / (1 / 2.64e6 + 1 / screws), rel=1e-5)


@pytest.mark.parametrize(("b", "h", "n"), [(0.38, 0.38, 12), (0.6, 0.3, 4), (0.6, 0.3, 13), (0.3, 0.7, 21)])
def test_a_sheet_on_its_screws_by_least_energy(b, h, n):
    # Each screw is a spring between the frame's shear field (u = g y) and a rigid sheet that moves and turns freely: the least
    # energy over its three motions, as a least-squares problem. 1/2 k h^2 g^2 is what is left.
    places = screw_places(b, h, n)
    assert len(np.unique(places.round(9), axis=0)) == n
    slip = np.c_[places[:, 1], np.zeros(n)].ravel()
    moves = np.zeros((2 * n, 3))
    moves[0::2, 0], moves[1::2, 1] = 1.0, 1.0
    moves[0::2, 2], moves[1::2, 2] = -places[:, 1], places[:, 0]
    left = np.linalg.lstsq(moves, slip, rcond=None)[1][0]
    k_s = 3e6
    rigid_sheet = PanelSpec("rear", "plywood", 0.006, 1e18, 650.0, n, k_s)
    # An odd screw leaves a small product of its places; the formula counts the two sums alone.
    assert panel_stiffness(rigid_sheet, b, h) == pytest.approx(k_s * left / h**2, rel=1e-6 if n % 2 == 0 else 1e-3)
    corner = [[0, 0], [b, 0], [b, h], [0, h]]
    assert all(np.isclose(places, c).all(axis=1).any() for c in corner)


@pytest.mark.parametrize("count", [1, 2])
def test_diagonals_in_both_sides_by_hand(count):
    # A bar of EA from corner to corner with two ends in series; force along Y of a sway u is k cos^2 u, in each of two sides.
    size = FrameSize(0.4, 0.3, 0.5)
    section = spec().member("top")
    section = replace(section, area_m2=170e-6)
    length = np.hypot(0.3, 0.5)
    bar = 1 / (length / (69e9 * 170e-6) + 2 / 5e6)
    k = frame_stiffness(spec(DiagonalSpec("sides", count, section, 5e6)), size)
    assert 1 / np.linalg.inv(k)[1, 1] == pytest.approx(2 * count * bar * (0.3 / length) ** 2, rel=1e-3)


def test_the_written_front_of_the_page():
    # front = { diagonals = 2, part = "slot-2020", end_n_per_mm = 5000 } on 20 mm profile, told by the whole chain.
    panels = {"frame.panels.front": {"diagonals": 2, "part": "slot-2020", "end_n_per_mm": 5000}}
    machine = machine_of(bare("corexy", {"frame.part": "slot-2020", **panels}))
    (bars,) = machine.design.frame.panels
    assert (bars.count, bars.end_n_m, bars.section.area_m2) == (2, pytest.approx(5e6), pytest.approx(170e-6))
    open_one = machine_of(bare("corexy", {"frame.part": "slot-2020"}))
    assert sway_stiffness(machine, 0) > 1.5 * sway_stiffness(open_one, 0)
    # Across it nothing changes but what the front corners may rise against each other.
    assert sway_stiffness(machine, 1) == pytest.approx(sway_stiffness(open_one, 1), rel=1e-4)


def test_a_strut_behind_each_of_two_columns():
    # From the column's top down to the rear end of the base: k (dy / l)^2 more in Y, twice, where the gantry stands on top.
    frame = spec()
    size = FrameSize(0.4, 0.6, 0.5)
    section = replace(frame.member("top"), area_m2=170e-6)
    braced = replace(frame, panels=(DiagonalSpec("sides", 1, section, 5e6),))
    behind, before = 0.27, 0.33
    length = np.hypot(behind, 0.5)
    bar = 1 / (length / (69e9 * 170e-6) + 2 / 5e6)

    def sway(one):
        return 1 / np.linalg.inv(two_column_stiffness(one, size, 0.5, (behind, before)))[1, 1]

    assert sway(braced) - sway(frame) == pytest.approx(2 * bar * (behind / length) ** 2, rel=1e-3)


@pytest.mark.parametrize(("part", "mm", "screws"), [("printed", 4, 12), ("plywood", 6, 12), ("plywood", 4, 12)])
def test_the_desk_machine_is_computed(part, mm, screws):
    # The order of size worked apart from this program: 550 to 790 N/mm in X and 1890 to 2910 in Y with a top, and an open
    # front and top leave about 127 N/mm in X whatever closes the rest.
    closed = {
        f"frame.panels.{place}": {"part": part, "thickness_mm": mm, "screws": screws}
        for place in ("sides", "rear", "top")
    }
    machine = machine_of(shipped("desk-corexy", closed))
    assert 550e3 <= sway_stiffness(machine, 0) <= 790e3
    assert 1890e3 <= sway_stiffness(machine, 1) <= 2910e3
    open_top = machine_of(shipped("desk-corexy", {**closed, "frame.panels.top": {"part": "none"}}))
    assert sway_stiffness(open_top, 0) == pytest.approx(127e3, rel=0.02)
    assert sway_stiffness(open_top, 1) == pytest.approx(sway_stiffness(machine, 1), rel=1e-3)
    assert machine.design.frame.stiffness_x_n_m is None
