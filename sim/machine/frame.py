"""The frame as beams: columns, what ties their tops, and a base, condensed to 6x6 between base and frame top.

Euler-Bernoulli beams in space (12x12, e.g. Przemieniecki, Theory of Matrix Structural Analysis, 1968, ch. 5, from
memory) with rotational springs where a joint is not rigid. Corner order: front left, front right, rear right, rear left.
The base (its ring, its feet) is one rigid body here: the columns stand in it through one joint each.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..parts.catalogue import catalogue
from ..parts.design import JOINT_SIDE_M, FrameSize, FrameSpec, MemberSpec
from .panels import add_panels, diagonal_stiffness, frame_corners, refuse_between_columns, struts

Array = NDArray[np.float64]
Springs = float | tuple[float, float, float]


def beam_stiffness(
    e_pa: float, g_pa: float, area_m2: float, iy_m4: float, iz_m4: float, j_m4: float, length_m: float
) -> Array:
    """Stiffness of one beam along its local x, (12, 12): three translations and three rotations at each end."""
    k = np.zeros((12, 12))
    axial, torsion = e_pa * area_m2 / length_m, g_pa * j_m4 / length_m
    for a, b, s in ((0, 6, axial), (3, 9, torsion)):
        k[a, a] = k[b, b] = s
        k[a, b] = k[b, a] = -s
    for (d1, r1, d2, r2), i, sign in (((1, 5, 7, 11), iz_m4, 1.0), ((2, 4, 8, 10), iy_m4, -1.0)):
        ei = e_pa * i / length_m**3
        block = ei * np.array(
            [
                [12, sign * 6 * length_m, -12, sign * 6 * length_m],
                [sign * 6 * length_m, 4 * length_m**2, -sign * 6 * length_m, 2 * length_m**2],
                [-12, -sign * 6 * length_m, 12, -sign * 6 * length_m],
                [sign * 6 * length_m, 2 * length_m**2, -sign * 6 * length_m, 4 * length_m**2],
            ]
        )
        at = np.ix_((d1, r1, d2, r2), (d1, r1, d2, r2))
        k[at] += block
    return k


def with_joints(k: Array, start_nm_rad: Springs | None, end_nm_rad: Springs | None) -> Array:
    """The beam with a rotational spring between each end and its node, about local x, y and z; None: rigid.

    One number stands for all three axes. Each spring adds three inner rotations, which carry no load of their own and are
    condensed out.
    """
    springs = [(base, np.broadcast_to(s, 3)) for base, s in ((3, start_nm_rad), (9, end_nm_rad)) if s is not None]
    if not springs:
        return k
    n = 12 + 3 * len(springs)
    big = np.zeros((n, n))
    index = np.arange(12)
    for j, (base, _) in enumerate(springs):
        index[base : base + 3] = 12 + 3 * j + np.arange(3)
    big[np.ix_(index, index)] += k
    for j, (base, s) in enumerate(springs):
        for axis in range(3):
            a, b = base + axis, 12 + 3 * j + axis
            big[a, a] += s[axis]
            big[b, b] += s[axis]
            big[a, b] -= s[axis]
            big[b, a] -= s[axis]
    outer, inner = np.arange(12), np.arange(12, n)
    coupling = big[np.ix_(outer, inner)]
    condensed = big[np.ix_(outer, outer)] - coupling @ np.linalg.solve(big[np.ix_(inner, inner)], coupling.T)
    return np.asarray(condensed)


def _local_axes(along: Array, strong_towards: Array) -> Array:
    """Rows: local x along the beam, local z the axis it bends about when it bends towards `strong_towards`."""
    x = along / np.linalg.norm(along)
    z = np.cross(x, strong_towards)
    z /= np.linalg.norm(z)
    return np.array([x, np.cross(z, x), z])


def assemble(nodes: Array, members: list[tuple[int, int, Array]]) -> Array:
    """Sum of members (start node, end node, 12x12 in global axes) into a (6n, 6n) matrix."""
    k = np.zeros((6 * len(nodes), 6 * len(nodes)))
    for a, b, block in members:
        at = np.r_[6 * a : 6 * a + 6, 6 * b : 6 * b + 6]
        k[np.ix_(at, at)] += block
    return k


def member(
    spec: FrameSpec | MemberSpec,
    a: Array,
    b: Array,
    joints: tuple[Springs | None, Springs | None],
    strong_towards: Array,
) -> Array:
    """One member between two nodes in global axes, (12, 12). Its strong side resists bending towards `strong_towards`."""
    length = float(np.linalg.norm(b - a))
    local = beam_stiffness(
        spec.elastic_modulus_pa,
        spec.shear_modulus_pa,
        spec.area_m2,
        spec.i_weak_m4,
        spec.i_strong_m4,
        spec.torsion_m4,
        length,
    )
    turn = np.kron(np.eye(4), _local_axes(b - a, strong_towards))
    return np.asarray(turn.T @ with_joints(local, *joints) @ turn)


def frame_stiffness(spec: FrameSpec, size: FrameSize) -> Array:
    """Frame top against base, four columns, a ring, panels and diagonals: (6, 6), N/m and N m/rad, at the middle of the ring.

    Joint springs at the feet of the columns and at both ends of every beam of the ring.
    """
    nodes = frame_corners(size)
    columns, ring = spec.member("columns"), spec.member("top")
    foot, end = (corner(spec.joint_nm_rad, m, spec.other_size_factor) for m in (columns, ring))
    # A column's wide side stands along Y (the heavier axis); the ring's beams stand on edge.
    column = member(columns, nodes[0], nodes[4], (foot, None), ALONG_Y)  # all four stand upright
    parts = [(i, i + 4, column) for i in range(4)]
    for i in range(4):
        j = (i + 1) % 4
        parts.append((i + 4, j + 4, member(ring, nodes[i + 4], nodes[j + 4], (end, end), UPWARD)))
    k = assemble(nodes, parts)
    add_panels(k, spec, size)
    return condensed(k[24:, 24:], nodes[4:] - np.array([0.0, 0.0, size.height_m]))


def two_column_stiffness(
    spec: FrameSpec, size: FrameSize, gantry_m: float, base_m: tuple[float, float] | None = None
) -> Array:
    """Two columns and a beam on top of them against the base, (6, 6), where a gantry stands on the columns at `gantry_m`
    above their feet; force and torque at the middle between the columns, at that height.

    base_m: how far the base reaches behind and before the columns, m; None: to half the frame's depth. Diagonals at the
    sides end there. Two points leave turning about the line through them to the columns' own bending. Raises MachineError
    for panels that two columns cannot hold.
    """
    refuse_between_columns(spec)
    w, h = size.width_m, size.height_m
    at = min(gantry_m, h)
    columns, beam = spec.member("columns"), spec.member("top")
    foot, end = (corner(spec.joint_nm_rad, m, spec.other_size_factor) for m in (columns, beam))
    nodes = np.array([[x, 0.0, z] for z in (0.0, at, h) for x in (-w / 2, w / 2)])
    parts = [(i, i + 2, member(columns, nodes[i], nodes[i + 2], (foot, None), ALONG_Y)) for i in (0, 1)]
    if h - at > 1e-3:
        parts += [(i, i + 2, member(columns, nodes[i], nodes[i + 2], (None, None), ALONG_Y)) for i in (2, 3)]
        parts.append((4, 5, member(beam, nodes[4], nodes[5], (end, end), UPWARD)))
    else:
        nodes = nodes[:4]
        parts.append((2, 3, member(beam, nodes[2], nodes[3], (end, end), UPWARD)))
    k = assemble(nodes, parts)[12:, 12:]
    for strut, along in struts(spec, *(base_m or (size.depth_m / 2, size.depth_m / 2)), h):
        length = float(np.linalg.norm(along))
        for node in (len(nodes) - 4, len(nodes) - 3):  # the columns' tops, as k counts them
            at_top = slice(6 * node, 6 * node + 3)
            k[at_top, at_top] += diagonal_stiffness(strut, length) * np.outer(along, along) / length**2
    inner = k[12:, 12:]
    held = k[:12, :12] - (k[:12, 12:] @ np.linalg.solve(inner, k[12:, :12]) if len(inner) else 0.0)
    return condensed(held, nodes[2:4] - np.array([0.0, 0.0, at]))


def triangle_stiffness(spec: FrameSpec, radius_m: float, height_m: float, at_m: float) -> Array:
    """Three columns at `radius_m` with a triangle on top of them against the base, (6, 6), where carriages stand on them at
    `at_m` above their feet; force and torque in the middle between the columns, at that height. The same in X and Y.

    The carriages' height is frozen there: what sways less where they stand lower is left out.
    """
    at = min(at_m, height_m)
    columns, beam = spec.member("columns"), spec.member("top")
    foot, end = corner(spec.joint_nm_rad, columns), corner(spec.joint_nm_rad, beam)
    out = np.array([[np.cos(a), np.sin(a), 0.0] for a in np.radians([90.0, 210.0, 330.0])])
    levels = [0.0, at, height_m] if height_m - at > 1e-3 else [0.0, height_m]
    nodes = np.vstack([radius_m * out + [0.0, 0.0, z] for z in levels])
    parts = [(i, i + 3, member(columns, nodes[i], nodes[i + 3], (foot, None), out[i])) for i in range(3)]
    if len(levels) == 3:
        parts += [(i + 3, i + 6, member(columns, nodes[i + 3], nodes[i + 6], (None, None), out[i])) for i in range(3)]
    last = len(nodes) - 3
    for i in range(3):
        a, b = last + i, last + (i + 1) % 3
        parts.append((a, b, member(beam, nodes[a], nodes[b], (end, end), UPWARD)))
    k = assemble(nodes, parts)[18:, 18:]
    inner = k[18:, 18:]
    held = k[:18, :18] - (k[:18, 18:] @ np.linalg.solve(inner, k[18:, :18]) if len(inner) else 0.0)
    return condensed(held, nodes[3:6] - np.array([0.0, 0.0, levels[1]]))


ALONG_Y, UPWARD = np.array([0.0, 1.0, 0.0]), np.array([0.0, 0.0, 1.0])


def corner(joint_nm_rad: float, section: MemberSpec, other_size: float = 1.0) -> Springs | None:
    """Springs of a bolted corner at the end of a member, N m/rad: twist, weak and strong bending; None where it is rigid.

    k = c k20 (w/20) (d/20)^2, d the side in the bending plane, w the one across it: similar corners, as wide as the member,
    with the screws' forces at levers as long as the member is deep. Twist takes the smaller. Our estimate; measured corners
    may have a third of it or three times as much. A printed corner gives in its plastic and is no likeness of a smaller one
    in metal: it has the number as it stands. c = other_size is 1, 1/3 to 3 as far as anybody knows.
    """
    if not np.isfinite(joint_nm_rad):
        return None
    if catalogue().get("frames", section.part).words["type"] == "printed":
        return (joint_nm_rad,) * 3
    a, b = section.side_a_m / JOINT_SIDE_M, section.side_b_m / JOINT_SIDE_M
    known = other_size if section.other_size else 1.0
    weak, strong = known * joint_nm_rad * b * a**2, known * joint_nm_rad * a * b**2
    return min(weak, strong), weak, strong


def condensed(k: Array, points: Array) -> Array:
    """(6, 6) at the origin of nodes with stiffness k (6n, 6n) at `points` (n, 3), which carry one rigid body.

    The body's motion is the mean of its nodes': loads reach them as a rigid plate would share them, but the members
    between may bend. Its turning is held by the nodes' translations; two nodes hold it about the line through them by
    their own rotation.
    """
    rigid = np.zeros((6 * len(points), 6))
    line = None
    if len(points) == 2:
        line = (points[1] - points[0]) / np.linalg.norm(points[1] - points[0])
    for i, lever in enumerate(points):
        rigid[6 * i : 6 * i + 3, :3] = np.eye(3)
        rigid[6 * i : 6 * i + 3, 3:] = -_cross(lever)
        if line is not None:
            rigid[6 * i + 3 : 6 * i + 6, 3:] = np.outer(line, line)
    share = rigid @ np.linalg.inv(rigid.T @ rigid)
    compliance = share.T @ np.linalg.solve(k, share)
    stiffness = np.linalg.inv(compliance)
    return np.asarray((stiffness + stiffness.T) / 2)


def _cross(v: Array) -> Array:
    """Matrix [v]x with [v]x w = v x w."""
    return np.array([[0.0, -v[2], v[1]], [v[2], 0.0, -v[0]], [-v[1], v[0], 0.0]])
