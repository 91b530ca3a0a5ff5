"""Clearance of belts against searches that share nothing with it: sampled surfaces, a general optimiser, boxes by hand."""

import itertools
import math

import numpy as np
import pytest
from beltspring.sim.check.clearance import nearest_pairs, overlap
from beltspring.sim.check.solids import Convex, apart, box_points, distance
from beltspring.sim.machine.build import build_machine
from beltspring.sim.machine.routing import Span, belt_path
from beltspring.sim.scenario.load import load_scenario
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize
from scipy.spatial import cKDTree

from tests.tries import examples

STEP_M = 0.6e-3
# Clear of the rods, as built; levels close together; a mount too high; wide belts.
MACHINES = {
    "sound": ["carriage.belt_above_guide_mm=16"],
    "close levels": ["carriage.belt_above_guide_mm=16", "belts.level_gap_mm=2"],
    "raised mount": ["carriage.belt_above_guide_mm=16", "belts.level_gap_mm=2.5", "belts.carriage_raise_mm=5"],
    "wide belts": ["carriage.belt_above_guide_mm=20", "belts.part=belt-2mm-12-glass"],
}


def band(belt, span, z0, z1):
    """Points (n, 3) on the surface of a span, STEP_M apart or closer: written anew from the belt's own measures."""
    s = belt.spec
    outside = s.height_m - s.tooth_height_m - s.pitch_line_m
    inside = s.pitch_line_m + s.tooth_height_m
    d = (span.end - span.start) / np.linalg.norm(span.end - span.start)
    to_teeth = np.array([-d[1], d[0]]) * (1 if belt.teeth_on == "left" else -1)
    n = max(2, math.ceil(span.length_m / STEP_M) + 1)
    t = np.linspace(0, 1, n)
    across = np.linspace(-outside, inside, 5)
    up = np.linspace(-s.width_m / 2, s.width_m / 2, math.ceil(s.width_m / STEP_M) + 1)
    out = []
    for i, (a, h) in enumerate(itertools.product(across, up)):
        skin = i // len(up) in (0, 4) or i % len(up) in (0, len(up) - 1)
        along = t if skin else t[[0, -1]]
        xy = span.start + np.outer(along, span.end - span.start) + a * to_teeth
        out.append(np.c_[xy, z0 + along * (z1 - z0) + h])
    return np.concatenate(out)


def spans_of(machine, tool):
    """name -> (points, names at its two ends) of every span."""
    offsets = machine.offsets(tool)
    out = {}
    for belt in machine.belts:
        stops = [belt.start, *(machine.wheels[w.wheel] for w in belt.wraps), belt.end]
        z = [(getattr(s, "point", None) or s.centre)[2] + offsets[s.body][2] for s in stops]
        spans = [p for p in belt_path(machine, belt, offsets).pieces if isinstance(p, Span)]
        for k, span in enumerate(spans):
            ends = [s.body if hasattr(s, "point") else s.name for s in stops[k : k + 2]]
            out[belt.name, k] = (band(belt, span, z[k], z[k + 1]), set(ends))
    return out


def sampled_nearest(machine, counts):
    """Smallest distance between two spans that do not meet, over a grid of poses, by clouds of points."""
    best = (np.inf, None, None)
    axes = [np.linspace(low, high, n) for (low, high), n in zip(machine.reach, counts, strict=True)]
    for tool in itertools.product(*axes):
        clouds = spans_of(machine, np.array(tool))
        trees = {name: cKDTree(points) for name, (points, _) in clouds.items()}
        for (a, (points, ends)), (b, (_, others)) in itertools.combinations(clouds.items(), 2):
            if ends & others:
                continue
            d, _ = trees[b].query(points, distance_upper_bound=min(best[0], 0.012))
            if d.min() < best[0]:
                best = (float(d.min()), (a, b), tool)
    return best


@pytest.mark.parametrize("name", MACHINES)
def test_nearest_belts_against_sampled_surfaces(name):
    machine = build_machine(load_scenario("desk-corexy", MACHINES[name]))
    exact = [n for n in nearest_pairs(machine, care_m=0.012) if n.second.kind == "span"]
    near = exact[0]
    sampled, pair, _ = sampled_nearest(machine, (7, 7, 1))
    # Points lie on the solids, so sampling can only find more: by half a step of the grids at most where faces cross.
    assert sampled >= near.distance_m - 1e-9
    assert sampled <= near.distance_m + 0.3e-3
    assert {pair[0][0], pair[1][0]} == {near.first.belt, near.second.belt}
    # At the pose the program names, finer still.
    clouds = spans_of(machine, near.tool)
    here = min(
        cKDTree(points).query(others)[0].min()
        for (points, ends), (others, far) in itertools.combinations(clouds.values(), 2)
        if not ends & far
    )
    assert near.distance_m - 1e-9 <= here <= near.distance_m + 0.15e-3


def test_crossed_levels_are_apart_by_the_gap_that_was_asked_for():
    for gap_mm in (1.5, 3.0):
        machine = build_machine(load_scenario("desk-corexy", [*MACHINES["sound"], f"belts.level_gap_mm={gap_mm}"]))
        pair = next(n for n in nearest_pairs(machine) if n.second.kind == "span")
        assert pair.distance_m == pytest.approx(gap_mm * 1e-3, abs=1e-7)


def test_a_raised_mount_at_the_crossing_by_similar_triangles():
    """Belt b's clamp span rises from its idler to the clamp and passes under belt a's lane on the way.

    Carriage at the right end: from the idler's tangent point to the clamp over 23.206 mm; the lane's far edge, with the
    back of the belt, lies 4.04 mm from the tangent point.
    """
    raise_mm, gap_mm = 6.0, 3.0
    sets = [*MACHINES["sound"], f"belts.level_gap_mm={gap_mm}", f"belts.carriage_raise_mm={raise_mm}"]
    machine = build_machine(load_scenario("desk-corexy", sets))
    near = next(n for n in nearest_pairs(machine) if {n.first.name[:6], n.second.name[:6]} == {"belt a", "belt b"})
    offsets = machine.offsets(np.array([0.18, 0.09, 0.09]))
    spans = {b.name: [p for p in belt_path(machine, b, offsets).pieces if isinstance(p, Span)] for b in machine.belts}
    clamp_span, lane = spans["b"][0], spans["a"][4]
    tangent, clamp = clamp_span.end[0], clamp_span.start[0]
    inner_edge = lane.start[0] - 1.014e-3  # the teeth of belt a face the machine's middle
    rise = raise_mm * (tangent - inner_edge) / (tangent - clamp)
    slope = math.atan2(raise_mm * 1e-3, tangent - clamp)
    # The lane is level and its nearest edge a line along Y: the distance is taken square to the rising band.
    assert near.gap_m == pytest.approx((gap_mm - rise) * 1e-3 * math.cos(slope), abs=2e-5)
    assert near.tool[0] == pytest.approx(0.18)


@pytest.mark.parametrize(
    ("shift", "expected"),
    [((3, 0, 0), 1.0), ((3, 4, 0), math.hypot(1, 2)), ((3, 4, 5), math.sqrt(1 + 4 + 9)), ((1, 1, 1), 0.0)],
)
def test_two_boxes_by_hand(shift, expected):
    box = box_points(np.zeros(3), np.full(3, 2.0)) * 1e-3
    d, a, b = distance(box, box + 1e-3 * np.array(shift, float))
    assert d == pytest.approx(expected * 1e-3, abs=1e-9)
    assert np.linalg.norm(a - b) == pytest.approx(d, abs=1e-12)


def test_overlap_is_what_one_must_be_lifted_by():
    box = box_points(np.zeros(3), np.array([0.02, 0.02, 0.006]))
    assert overlap(box, box + np.array([0.005, 0.005, 0.0045])) == pytest.approx(0.0015, abs=3e-6)
    assert overlap(box, box + np.array([0.005, 0.005, -0.004])) == pytest.approx(0.002, abs=3e-6)
    assert overlap(box, box + np.array([0.03, 0.0, 0.0])) == 0.0


points = st.lists(st.tuples(*[st.floats(-20, 20)] * 3), min_size=4, max_size=8)


@settings(max_examples=examples(40))
@given(points, points, st.floats(0, 60))
def test_distance_of_any_two_hulls_against_a_general_optimiser(first, second, apart):
    """min |A w - B v| over weights that are not negative and add up to one, by SciPy's SLSQP."""
    a, b = np.array(first), np.array(second) + np.array([apart, 0, 0])
    d, _, _ = distance(a * 1e-3, b * 1e-3)
    n, m = len(a), len(b)

    def squared(w):
        r = w[:n] @ a - w[n:] @ b
        return float(r @ r), np.concatenate([2 * a @ r, -2 * b @ r])

    ones = [
        {"type": "eq", "fun": lambda w: w[:n].sum() - 1, "jac": lambda w: np.r_[np.ones(n), np.zeros(m)]},
        {"type": "eq", "fun": lambda w: w[n:].sum() - 1, "jac": lambda w: np.r_[np.zeros(n), np.ones(m)]},
    ]
    start = np.r_[np.full(n, 1 / n), np.full(m, 1 / m)]
    found = minimize(squared, start, jac=True, method="SLSQP", bounds=[(0, 1)] * (n + m), constraints=ones,
                     options={"maxiter": 500, "ftol": 1e-13})  # fmt: skip
    other = math.sqrt(max(0.0, found.fun))
    assert d * 1e3 <= other + 1e-4, "the optimiser came nearer"
    assert other <= d * 1e3 + 1e-3 or not found.success


@settings(max_examples=examples(40))
@given(st.floats(-30, 30), st.floats(-30, 30), st.floats(-10, 10), st.floats(4, 10))
def test_box_beside_a_wheel_against_the_general_way(x, y, z, radius):
    """The formula for a level span and a wheel against the hull of a polygon of 48 corners about the wheel."""
    box = Convex("span", "span", 1e-3 * box_points(np.array([-15, -0.6, -3.0]), np.array([15, 0.9, 3.0])))
    turn = 2 * np.pi * np.arange(48) / 48
    outline = np.c_[x + radius * np.cos(turn), y + radius * np.sin(turn)]
    corners = 1e-3 * np.r_[np.c_[outline, np.full(48, z - 4.5)], np.c_[outline, np.full(48, z + 4.5)]]
    wheel = Convex("wheel", "wheel", corners, disc=(x * 1e-3, y * 1e-3, radius * 1e-3))
    exact, _ = apart(box, wheel)
    general, _, _ = distance(box.points, wheel.points)
    # The polygon lies inside the circle, by at most r (1 - cos(pi / 48)).
    assert general - 1e-3 * radius * (1 - np.cos(np.pi / 48)) - 1e-8 <= exact <= general + 1e-8
