"""The rule about belts that rub: on each other, on wheels they do not run on, on frame, motors and printed parts."""

from __future__ import annotations

from ..machine.machine import Belt
from .clearance import Nearest
from .finding import Finding, Place, Rule, Severity, estimate
from .subject import Subject

WANTED_M = 1.0e-3
LEAST_M = 0.3e-3
BASIS = estimate(
    "1 mm, since each belt may wander by half a millimetre between its flanges; below 0.3 mm it rubs as soon as it moves"
)


def _belt_rub(subject: Subject) -> list[Finding]:
    close = [near for near in subject.nearest if near.gap_m < WANTED_M]
    if close:
        # A belt that lies too low lies so along all its spans: the nearest of each belt and thing stands for the others.
        groups: dict[tuple[str, str], list[Nearest]] = {}
        for near in close:
            groups.setdefault((near.first.belt, near.second.belt or near.second.name), []).append(near)
        return [_finding(subject, group[0], len(group) - 1) for group in groups.values()]
    if not subject.nearest:
        return []
    near = subject.nearest[0]
    return [
        Finding(
            rule="belt-rub",
            severity="note",
            where=_where(near),
            value=near.gap_m * 1e3,
            limit=WANTED_M * 1e3,
            unit="mm",
            basis=BASIS,
            change="nothing to change",
            words=f"nowhere in the reach does a belt come nearer to anything: {near.first.name} passes {near.second.name}"
            f" at {near.gap_m * 1e3:.1f} mm",
            places=_places(near),
        )
    ]


def _finding(subject: Subject, near: Nearest, others: int) -> Finding:
    """others: how many more spans of the same belt come too near to the same thing."""
    # A guide's rods and rails lie where the layout puts them, which is our assumption and not the person's word.
    assumed = near.second.kind == "guide"
    severity: Severity = "stop" if near.gap_m < LEAST_M and not assumed else "warn"
    deep = -near.gap_m * 1e3
    if deep >= 0.01:
        how = f"rubs on {near.second.name}: they overlap by {deep:.2f} mm in height"
    elif deep >= 0:
        how = f"just touches {near.second.name}"
    else:
        how = f"passes {near.second.name} at {near.gap_m * 1e3:.2f} mm"
    more = f"; so {'does' if others == 1 else 'do'} {others} more of its spans" if others else ""
    assumption = "; where the guide's lines run is our assumption, look at your own drawing" if assumed else ""
    x, y, z = (1e3 * v for v in near.tool)
    return Finding(
        rule="belt-rub",
        severity=severity,
        where=_where(near),
        value=round(near.gap_m * 1e3, 2) + 0.0,
        limit=WANTED_M * 1e3,
        unit="mm",
        basis=BASIS,
        change=_change(subject, near),
        words=f"{near.first.name} {how}, with the tool at X {x:.0f}, Y {y:.0f}, Z {z:.0f} mm{more}{assumption}",
        places=_places(near),
    )


def _where(near: Nearest) -> str:
    return f"{near.first.name} / {near.second.name}"


def _places(near: Nearest) -> tuple[Place, ...]:
    tool = (float(near.tool[0]), float(near.tool[1]), float(near.tool[2]))
    return (Place((float(near.point[0]), float(near.point[1])), tool),)


def _change(subject: Subject, near: Nearest) -> str:
    """What to change: the keys that set the heights, with the numbers that would clear it."""
    design = subject.design
    missing_mm = (WANTED_M - near.gap_m) * 1e3
    ways = []
    belts = {b.name: b for b in subject.machine.belts}
    first = belts[near.first.belt]
    other = _belt_of(subject, near)
    crossed = other is not None and other.level != first.level
    if crossed:
        wanted = design.level_gap_m * 1e3 + missing_mm
        ways.append(
            f"set the idlers' levels further apart: belts.level_gap_mm = {_up(wanted)} (now {design.level_gap_m * 1e3:g})"
        )
    raised = [b for b in (first, other) if b is not None and abs(b.spec.carriage_raise_m) > 1e-9]
    if raised:
        now = raised[0].spec.carriage_raise_m * 1e3
        ways.append(f"bring the carriage's belt mount to the idlers' height: belts.carriage_raise_mm = 0 (now {now:g})")
    if not ways:
        now = design.carriage.belt_above_guide_m * 1e3
        if (
            near.second.kind in ("guide", "shape")
            and abs(near.first.points[:, 2].mean() - near.second.points[:, 2].mean()) > 1e-3
        ):
            ways.append(
                f"lift the belts by {_up(missing_mm)} mm: carriage.belt_above_guide_mm = {_up(now + missing_mm)}"
            )
        else:
            ways.append(f"move them apart by {_up(missing_mm)} mm, or take smaller wheels")
    return "; ".join(ways)


def _belt_of(subject: Subject, near: Nearest) -> Belt | None:
    """The belt the second solid is, or the belt that runs on that wheel; None for anything else."""
    for belt in subject.machine.belts:
        on_wheel = near.second.kind == "wheel" and any(w.wheel == near.second.name for w in belt.wraps)
        if belt.name == near.second.belt or on_wheel:
            return belt
    return None


def _up(value_mm: float) -> str:
    """A length rounded up to half a millimetre."""
    return f"{int(2 * value_mm + 0.999) / 2:g}"


RULES = (Rule("belt-rub", "do belts pass each other and everything else?", _belt_rub),)
