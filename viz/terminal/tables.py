"""Terminal tables: one screen in 80 columns, without colour in a pipe. SI becomes reading units here."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import groupby
from typing import Any

from beltspring.sim import Design, Origin, OverReach
from rich import box
from rich.console import Group
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

Renderable = Any
NONE = "-"


def number(value: float | None, digits: int = 3, least: float = 0.0) -> str:
    """A number to so many figures, without exponent in everyday sizes; a dash for what is undefined."""
    if value is None:
        return NONE
    if value == 0 or abs(value) < least:
        return "0"
    text = f"{value:.{digits}g}"
    if "e" in text:
        text = f"{value:.0f}" if abs(value) >= 1 else f"{value:.{digits}g}"
    return text.replace("-", "−") if value < 0 and "e" not in text else text


def table(*columns: str, left: int = 1) -> Table:
    """A plain table: the first `left` columns to the left, numbers to the right."""
    made = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, header_style="dim", padding=(0, 1))
    for i, name in enumerate(columns):
        made.add_column(name, justify="left" if i < left else "right", no_wrap=i >= left, overflow="fold")
    return made


def spaced(*parts: Renderable | None) -> Group:
    """Parts below each other with an empty line between."""
    rows: list[Renderable] = []
    for part in parts:
        if part is not None:
            rows += [part, Text()]
    return Group(*rows[:-1])


def completed_table(design: Design, bands: Mapping[str, tuple[float, float]]) -> Renderable:
    """The completed scenario: every value with where it came from, table by table as in the file.

    bands: by key, (low, high) in file units that 19 of 20 machines keep.
    """
    made = table("key", "value", "from", left=3)
    made.columns[0].width, made.columns[1].width = 28, 18
    made.columns[2].style = "dim"
    for section, origins in groupby(design.origins, key=lambda o: o.key.rpartition(".")[0]):
        if section:
            made.add_row(Text(f"[{section}]", style="bold"), "", "")
        for origin in origins:
            name = origin.key.rpartition(".")[2]
            made.add_row(
                f"  {name}" if section else name, value_text(origin.value), _from(origin, bands.get(origin.key))
            )
    return spaced(
        made,
        Text(
            "Two numbers after a source are the low and high that 19 of 20 machines keep; what is written without [band]"
            " counts as measured. `beltspring parts` gives the source of every number that comes from a part.",
            style="dim",
        ),
    )


def value_text(value: object) -> str:
    """A value of the scenario file as a person reads it."""
    if value is None:
        return NONE
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return f"{value:.6g}" if abs(value) < 1e6 else f"{value:.0f}"
    return str(value)


def _from(origin: Origin, band: tuple[float, float] | None) -> str:
    between = "" if band is None else f", {number(band[0], 4)} to {number(band[1], 4)}"
    return f"{_whence(origin)}{between}"


def _whence(origin: Origin) -> str:
    if origin.origin == "part":
        return f"part {origin.note.partition(':')[0]}"
    if origin.origin == "computed" and origin.note:
        return f"computed: {origin.note}"
    if origin.origin == "variant":
        return origin.note or "variant"
    return origin.origin


def shipped_table(shipped: Iterable[Any]) -> Renderable:
    """The scenarios that come with the program."""
    made = table("Shipped scenario", "what it is", "variants", left=3)
    for one in shipped:
        made.add_row(one.name, one.title, ", ".join(one.variants) or NONE)
    return spaced(made, Text("`beltspring run NAME` simulates one, `beltspring show NAME` prints it completed."))


def parts_tables(rows: Sequence[Any]) -> list[Renderable]:
    """The catalogue: a table for each part; equal sources are told once, below the numbers they belong to."""
    out: list[Renderable] = []
    for (kind, part), group in groupby(rows, key=lambda r: (r.kind, r.part)):
        listed = list(group)
        sources = list(dict.fromkeys(_source(r) for r in listed))
        made = table("", "value", "unit", "band", "source", left=1)
        made.show_header = False
        made.box = None
        made.columns[0].width = 24
        for r in listed:
            band = f"{number(r.band[0], 6)} to {number(r.band[1], 6)}" if r.band else ""
            made.add_row(r.key, number(r.value, 6), r.unit, band, f"({sources.index(_source(r)) + 1})")
        made.columns[2].justify = made.columns[3].justify = "left"
        head = Text.assemble((part, "bold"), f"  {kind}; {listed[0].description}")
        notes = Text("\n".join(f"({i + 1}) {s}" for i, s in enumerate(sources)), style="dim")
        out += [head, Padding(made, (0, 0, 0, 2)), Padding(notes, (0, 0, 1, 4))]
    return out


def _source(row: Any) -> str:
    band = f"; band: {row.band_source}" if row.band_source else ""
    return f"{row.mark}: {row.source}" + (f" ({row.why})" if row.why else "") + band


def band_text(band: Sequence[float]) -> str:
    """ "47 to 60"; a dash where it has no width."""
    low, high = (number(v) for v in band)
    return NONE if low == high else f"{low} to {high}"


#: Why a band is a dash.
NO_BAND = f"{NONE} of 19: nothing that moves it is uncertain; what is written counts as measured."


def modes_table(found: OverReach) -> Renderable:
    """Natural frequencies in the middle of the reach, with their bands, and how far each moves over its corners."""
    machine, middle, bands = found.machine, found.places[0].modes, found.places[0].bands_hz
    made = table("Mode", "Hz mid-reach", "19 of 20", "damping", "over the reach")
    for i, mode in enumerate(middle):
        over = [place.modes[i].frequency_hz for place in found.places if i < len(place.modes)]
        low, high = number(min(over)), number(max(over))
        made.add_row(
            mode.words,
            number(mode.frequency_hz, 4),
            band_text(bands[i]),
            number(mode.damping_ratio, 2),
            low if low == high else f"{low} to {high}",
        )
    head = Text.assemble((machine.title, "bold"), f"\n{machine.layout}, detail {machine.design.detail}")
    if not middle:
        return spaced(head, Text("Nothing in this machine gives way, so it has no natural frequency."))
    said = [
        "19 of 20: machines built from these parts, as far as their springs are known; `beltspring parts` has the bands.",
        "Over the reach: the middle and its four corners. Guide friction is left out.",
        found.detent,
        found.left_out,
    ]
    last = Text("\n".join(filter(None, said)), style="dim")
    return spaced(head, made, last)


def times(value: float | None, factor: float) -> float | None:
    return None if value is None else value * factor
