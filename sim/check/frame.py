"""Rules about the frame: sway, lowest modes, standing safely, joints, and what fits the profile's bore."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np

from ..machine.build import machine_of, sway_stiffness
from ..machine.machine import Machine
from ..model.facts import moving_mass
from ..model.modes import Mode
from ..parts.design import FrameSpec
from ..practice import SEEN_M, STANDARD_GRAVITY
from .finding import Finding, Place, Rule, derived, estimate, practice
from .subject import Array, Subject
from .ways import better_corners, closed_sides, listed

WRONG_M = 200e-6
SLOW_HZ = 20.0
JOINTS_SHARE = 0.5
FELT_SHARE = (
    0.2  # of the tool's motion in the mode that moves it most: a machine that only rocks on its feet prints well
)
HEARD_HZ = 100.0  # a mode above it hardly swings the tool, however much of the tool's motion its shape holds (estimate)
QUIET_M = 5e-6
TIP_RESERVE = 2.0


def sway(subject: Subject, axis: int) -> tuple[float, float] | None:
    """(sway of the frame top m, force N) under the move's acceleration along an axis; None for a rigid frame."""
    if subject.machine.frame_stiffness is None or subject.system is None:
        return None
    push = moving_mass(subject.system)[axis] * subject.limits.acceleration_m_s2
    return push / sway_stiffness(subject.machine, axis), push


def swaying_axes(machine: Machine) -> tuple[int, ...]:
    """Axes whose push reaches the frame top: those of the bodies it carries; through arms both."""
    if machine.arms:
        return (0, 1)
    names = {"frame"}
    axes = set()
    for body in machine.bodies:
        if body.parent in names:
            names.add(body.name)
            if body.slide is not None and body.driven:
                axes.add(body.slide)
    return tuple(sorted(axes))


def _frame_sway(subject: Subject) -> list[Finding]:
    out = []
    for axis in swaying_axes(subject.machine):
        found = sway(subject, axis)
        if found is None or found[0] <= SEEN_M:
            continue
        moved, push = found
        out.append(
            Finding(
                rule="frame-sway",
                severity="stop" if moved > WRONG_M else "warn",
                where=f"frame top along {'XY'[axis]}",
                value=moved * 1e6,
                limit=SEEN_M * 1e6,
                unit="um",
                basis=practice("20 µm of ripple is certainly seen on a wall"),
                change=listed(
                    [
                        *better_corners(subject.design.frame),
                        "thicker members (frame.part)",
                        *closed_sides(subject, axis),
                        "a lower frame (frame.height_mm)",
                        "a lower motion.acceleration_mm_s2",
                    ]
                ),
                words=f"speeding up along {'XY'[axis]} pushes the frame top with {push:.1f} N; at "
                f"{push / moved / 1e3:.3g} N/mm it gives way by {moved * 1e6:.0f} µm and then rings",
            )
        )
    return out


def joints_share(subject: Subject, axis: int) -> float | None:
    """Share of the computed sway that the corner joints cause, 0 to 1; None where the sway is not computed from beams."""
    spec = subject.design.frame
    if spec is None or not math.isfinite(spec.joint_nm_rad):
        return None
    if (spec.stiffness_x_n_m, spec.stiffness_y_n_m)[axis] is not None:
        return None

    design = subject.design
    firm = replace(design, frame=replace(spec, joint_nm_rad=math.inf), origins=list(design.origins))
    return 1.0 - sway_stiffness(subject.machine, axis) / sway_stiffness(machine_of(firm), axis)


def _of_what(spec: FrameSpec) -> str:
    """What the number of a joint is given for, in words."""
    return (
        "" if spec.kind == "printed" or max(spec.side_a_m, spec.side_b_m) < 0.021 else " on 20 mm profile, more on this"
    )


def _joint_weak(subject: Subject) -> list[Finding]:
    spec = subject.design.frame
    out = []
    for axis in swaying_axes(subject.machine):
        share, found = joints_share(subject, axis), sway(subject, axis)
        if spec is None or share is None or found is None or share <= JOINTS_SHARE:
            continue
        out.append(
            Finding(
                rule="joint-weak",
                severity="warn" if found[0] > QUIET_M else "note",
                where=f"frame joints along {'XY'[axis]}",
                value=share,
                limit=JOINTS_SHARE,
                unit="ratio",
                basis=estimate("beyond half, thicker profile helps less than better corners"),
                change=_before_profile([*better_corners(spec), *closed_sides(subject, axis)]),
                words=f"{share * 100:.0f} % of the frame's sway along {'XY'[axis]} comes from its corners "
                f"({spec.joints}, {spec.joint_nm_rad:g} N m/rad each{_of_what(spec)}) and not from its members",
            )
        )
    return out


def _is_felt(mode: Mode, modes: list[Mode]) -> bool:
    """Whether a slow mode moves the tool, along X or Y, by a good share of what the mode does that moves it most."""
    heard = [m for m in modes if m.frequency_hz < HEARD_HZ]
    return any(abs(mode.tool_share[a]) > FELT_SHARE * max(abs(m.tool_share[a]) for m in heard) for a in (0, 1))


def _before_profile(ways: list[str]) -> str:
    return (
        f"{listed(ways)}, before thicker profile" if ways else "nothing to change: the corners are as good as they get"
    )


def _lowest_mode(subject: Subject) -> list[Finding]:
    if not subject.modes:
        return []
    felt = next((m for m in subject.modes if m.frequency_hz < SLOW_HZ and _is_felt(m, subject.modes)), None)
    # The lowest three, and the one that is felt if it comes after them.
    shown = [m for i, m in enumerate(subject.modes) if i < 3 or m is felt]
    listed = ", ".join(f"{m.frequency_hz:.0f} Hz ({m.words})" for m in shown)
    slow = felt is not None
    lowest = felt or subject.modes[0]
    return [
        Finding(
            rule="lowest-mode",
            severity="warn" if slow else "note",
            where="machine",
            value=lowest.frequency_hz,
            limit=SLOW_HZ,
            unit="Hz",
            basis=estimate("below 20 Hz a machine still shakes when the next corner comes"),
            change="stiffen what the mode moves against, or take mass off" if slow else "nothing to change",
            words=f"natural frequencies with the tool in mid-reach: {listed}",
        )
    ]


def centre_of_mass(machine: Machine, tool: Array) -> tuple[Array, float]:
    """(mass centre (3,) m, mass kg) of the whole machine with the tool at `tool`."""
    offsets = machine.offsets(tool)
    masses = np.array([b.mass_kg for b in machine.bodies])
    centres = np.array([np.array(b.centre) + offsets[b.name] for b in machine.bodies])
    return masses @ centres / masses.sum(), float(masses.sum())


def standing_margin(machine: Machine, tool: Array) -> tuple[float, float]:
    """(distance of the mass centre from the nearest line between two feet, below 0 outside; its height over them), m."""
    feet = np.array(machine.feet_points)
    centre, _ = centre_of_mass(machine, tool)
    inside = math.inf
    for a, b in itertools.permutations(feet[:, :2], 2):
        along = (b - a) / np.linalg.norm(b - a)
        left = np.array([-along[1], along[0]])
        # A line between two feet that has all feet on its left is an edge of what the machine stands on.
        if float(((feet[:, :2] - a) @ left).min()) > -1e-9:
            inside = min(inside, float((centre[:2] - a) @ left))
    return inside, float(centre[2] - feet[:, 2].mean())


def tipping_moment(subject: Subject, axis: int) -> float:
    """Moment about the feet, N m, of what speeds up along an axis: whatever slides so, and everything it carries.

    All of it counts at the height of its highest mass centre; that is on the safe side.
    """
    machine = subject.machine
    slid = [b.name for b in machine.bodies if b.slide == axis or b.free]
    names = {c.name for name in slid for c in subject.carried(name)}
    pushed = [b for b in machine.bodies if b.name in names]
    if not pushed:
        return 0.0
    high = max(b.centre[2] for b in pushed) - machine.feet_points[0][2]
    return sum(b.mass_kg for b in pushed) * subject.limits.acceleration_m_s2 * high


def _centre_of_gravity(subject: Subject) -> list[Finding]:
    machine = subject.machine
    if len(machine.feet_points) < 3:
        return []
    margins = [(*standing_margin(machine, tool), tool) for tool in subject.corners()]
    margin, _, tool = min(margins, key=lambda m: m[0])
    centre, total = centre_of_mass(machine, tool)
    needed = max(tipping_moment(subject, axis) for axis in (0, 1)) / (total * STANDARD_GRAVITY)
    if margin >= TIP_RESERVE * needed and margin > 0:
        return []
    x, y, _ = tool
    return [
        Finding(
            rule="centre-of-gravity",
            severity="stop" if margin <= needed else "warn",
            where="feet",
            value=margin * 1e3,
            limit=TIP_RESERVE * needed * 1e3,
            unit="mm",
            basis=derived("m a h against M g s about the line between two feet, twice over"),
            change="a wider stance, a lower machine, a heavier base, or a lower motion.acceleration_mm_s2",
            words=f"with the tool at X {x * 1e3:.0f}, Y {y * 1e3:.0f} mm the mass centre of {total:.1f} kg stands "
            f"{margin * 1e3:.0f} mm inside the feet; speeding up takes {needed * 1e3:.0f} mm of that",
            places=(Place((float(centre[0]), float(centre[1])), (float(tool[0]), float(tool[1]), float(tool[2]))),),
        )
    ]


def _joint_fit(subject: Subject) -> list[Finding]:
    spec = subject.design.frame
    if spec is None or spec.joints != "tapped-bore":
        return []
    if spec.kind == "printed":
        return [
            Finding(
                rule="joint-fit",
                severity="warn",
                where="frame joints",
                value=None,
                limit=None,
                unit="",
                basis=practice("threads cut in a print strip after a few turns"),
                change="heat-set brass inserts or a nut in a pocket",
                words="a tapped bore needs metal to cut a thread in; this frame is printed",
            )
        ]
    if spec.bore == "round":
        return []
    return [
        Finding(
            rule="joint-fit",
            severity="stop",
            where="frame joints",
            value=None,
            limit=None,
            unit="",
            basis=practice("a thread is cut in a round hole"),
            change='brackets or plates (frame.joints = "bracket"), or profile with a round bore',
            words="the profile has a cross-shaped hole along its middle: there is no wall for a thread, "
            "a screw in it holds by its corners only",
        )
    ]


RULES = (
    Rule("frame-sway", "does the frame stand still when the carriage speeds up?", _frame_sway),
    Rule("joint-weak", "are the corners as good as the members?", _joint_weak),
    Rule("lowest-mode", "what does the machine ring at first?", _lowest_mode),
    Rule("centre-of-gravity", "does the machine stand safely?", _centre_of_gravity),
    Rule("joint-fit", "do the joints fit the members?", _joint_fit),
)
