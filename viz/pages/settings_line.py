"""The settings that made a result, in one line and as entries: stamped on every export."""

from __future__ import annotations

from beltspring.sim import Design, Report

from ..draw import text


def _value(design: Design, key: str) -> object:
    for origin in design.origins:
        if origin.key == key:
            return origin.value
    return None


def belt_words(design: Design) -> str:
    """ "glass belts 6 mm, EA 15 kN, 16 N" of the first belt."""
    belt = next(iter(design.belts.values()))
    return (
        f"{belt.cord} belt {text.plain(belt.width_m * 1e3)} mm, EA {text.plain(belt.ea_n / 1e3)} kN, "
        f"pretension {text.plain(belt.pretension_n)} N"
    )


def detail_words(result: Report) -> str:
    """At which detail it was run, and what of this machine that leaves out: "detail simple, without rubber feet"."""
    missing = result.left_out
    return f"detail {result.design.detail}" + (f", without {', '.join(missing)}" if missing else "")


def settings_line(result: Report) -> str:
    """One line: what was run on what, at which detail."""
    design = result.design
    parts = [
        design.title,
        f"layout {design.layout}",
        detail_words(result),
        result.plan.description,
        belt_words(design),
    ]
    acceleration = _value(design, "motion.acceleration_mm_s2")
    if acceleration is not None:
        parts.insert(4, f"{text.plain(float(str(acceleration)))} mm/s²")
    return " · ".join(parts)


def settings_entries(result: Report, what: str) -> dict[str, str]:
    """Text metadata for an image file."""
    return {
        "Title": f"{result.title}: {what}",
        "Software": "beltspring",
        "Description": settings_line(result),
        "Settings": "\n".join(f"{o.key} = {o.value}  ({o.origin})" for o in result.design.origins),
    }
