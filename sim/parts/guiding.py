"""Guides, what slides on them and how high the belts pass over them: the part of `resolve` that reads guides."""

from __future__ import annotations

from ..errors import ScenarioError
from ..scenario.fields import tidy
from .catalogue import Part
from .completion import Completion, off
from .design import GuideSpec

# Belts above the guide of their carriage, where nobody says how high: air between them, and room for idlers and clamps.
BELT_CLEAR_M, LEAST_BELT_HEIGHT_MM = 0.004, 16.0


def guide_spec(c: Completion, table: str) -> GuideSpec | None:
    """The guide of a table ([carriage], [gantry], [bed]); None where it is rigid. Raises ScenarioError."""
    part = c.part((table, "guide"))
    if part is None:
        c.refuse_overrides((table,), "guide", off("guides"))
        for name in ("lines", "blocks", "ends", "spacing_mm", "apart_mm", "shaft", "mismatch_um"):
            c.idle((table, name), off("guides"))
        return None
    rods = part.words["type"] == "rods"
    usual = 1 if table == "carriage" and not rods else 2
    path = (table, "lines")
    lines = int(c.value_or(path, usual, "rods come in pairs" if rods else "one under a carriage, else two", "default"))
    if rods and lines != 2:
        why = "a single rod leaves the carriage free to turn about it; rods are used in pairs, so write 2"
        raise ScenarioError([c.problem(path, why)])
    blocks, preload_n, times = _bearings(c, table, part, lines)
    friction_n = c.value((table, "friction_n"), part, times)
    ratio = part.numbers["static_ratio"]
    note = f"{tidy(ratio.value)} x friction_n; {ratio.source.words}"
    static_n = c.value_or((table, "friction_static_n"), round(friction_n * ratio.value, 9), note)
    if c.origin((table, "friction_static_n")) == "computed":
        c.use(part, "static_ratio")
    # Two that are drawn apart may cross; what is told may not.
    crossing = any((table, name) in c.drawn.keys for name in ("friction_n", "friction_static_n"))
    if static_n < friction_n and not crossing:
        why = f"must be at least friction_n = {tidy(friction_n)}: breaking away takes no less than sliding"
        raise ScenarioError([c.problem((table, "friction_static_n"), why)])
    if not rods:
        c.idle((table, "shaft"), f"{part.name} has no rods")
    if lines < 2 or rods:
        c.idle((table, "mismatch_um"), "only two rails or profiles can be out of parallel in height")
    return GuideSpec(
        part=part.name,
        kind=part.words["type"],
        friction_n=c.si((table, "friction_n")),
        friction_static_n=max(c.si((table, "friction_n")), c.si((table, "friction_static_n"))),
        stribeck_m_s=c.si((table, "stribeck_mm_s"), part),
        presliding_m=c.si((table, "presliding_um"), part),
        mover_mass_kg=lines * blocks * part.si("mover_mass_g"),
        line_mass_kg_m=lines * part.si("line_mass_kg_m"),
        lines=lines,
        rod_diameter_m=part.si("rod_diameter_mm") if rods else 0.0,
        stiffness_n_m=c.si((table, "stiffness_n_per_mm"), part),
        stiffness_nm_rad=c.si((table, "stiffness_nm_per_rad"), part),
        damping_ratio=c.si((table, "damping"), part),
        shaft=str(c.value_or((table, "shaft"), "h6", "what ball bushings are made for", "default")) if rods else "h6",
        mismatch_m=optional(c, (table, "mismatch_um")),
        ends=_ends(c, table, rods),
        blocks=blocks,
        preload_n=preload_n,
        spacing_m=optional(c, (table, "spacing_mm")),
        apart_m=optional(c, (table, "apart_mm")),
    )


def belt_height(c: Completion, guide: GuideSpec | None, levels: int, widest_m: float) -> float:
    """How high the belts pass over the carriage's guide, m: as written, else clear of it and of each other."""
    below_m = levels * widest_m / 2 + (levels - 1) * c.si(("belts", "level_gap_mm")) / 2
    above_m = 0.0 if guide is None else guide.half_height_m
    needed_mm = max(LEAST_BELT_HEIGHT_MM, round(1e3 * (above_m + BELT_CLEAR_M + below_m), 3))
    note = f"above what the carriage runs on, {tidy(1e3 * BELT_CLEAR_M)} mm of air, half of the belts (our choice)"
    c.value_or(("carriage", "belt_above_guide_mm"), needed_mm, note)
    return c.si(("carriage", "belt_above_guide_mm"))


def optional(c: Completion, path: tuple[str, ...]) -> float | None:
    """The written value at a path in SI, None where nobody wrote one."""
    return None if c.written(path) is None else c.si(path)


def _ends(c: Completion, table: str, rods: bool) -> str:
    if not rods:
        c.idle((table, "ends"), "only rods are held at their ends")
        return "clamped"
    return str(c.value_or((table, "ends"), "clamped", "in printed or aluminium blocks", "default"))


def _bearings(c: Completion, table: str, part: Part, lines: int) -> tuple[int, float, float]:
    """(blocks on a rail, preload of a wheel N, how many times the part's friction the whole guide has)."""
    kind = part.words["type"]
    blocks, preload_n, times = 1, 0.0, float(lines)
    if kind == "rail":
        blocks = int(c.value_or((table, "blocks"), 1, "one block on each rail", "default"))
        times *= blocks
    else:
        c.idle((table, "blocks"), f"{part.name} is no profile rail")
    if kind == "wheels":
        preload_n = c.si((table, "preload_n"), part)
        # Rolling resistance is a share of what presses the wheels on, so friction follows the preload.
        times *= preload_n / part.si("preload_n")
    elif c.written((table, "preload_n")) is not None:
        raise ScenarioError([c.problem((table, "preload_n"), f"only wheels have eccentrics, and {part.name} has none")])
    return blocks, preload_n, times
