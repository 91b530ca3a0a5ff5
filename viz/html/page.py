"""A design as one HTML file: what it says, drawn and playing, under a policy that lets nothing else in."""

from __future__ import annotations

import base64
import hashlib
import json
from importlib.resources import files
from typing import Any

import numpy as np
from beltspring.sim import Comparison, Judged, Order, Report, Spreading, bands_by_key, printable
from jinja2 import Environment, PackageLoader
from markupsafe import Markup

from ..charts.corners import Corner, worst_corner
from ..charts.shown import Shown
from ..charts.wall import wall_image
from ..draw.png import png_bytes
from ..draw.theme import DARK, LIGHT, Theme
from ..svg.plots import WIDTHS, curve, ranges
from .moving import moving_machine
from .told import assumed, bars, facts, findings, job, order_groups, order_notes, sources, verdict

MOST_BYTES = 2_000_000
LIGHT_RAD = np.deg2rad(20.0)
WALL_PX = (620, 110)


def page(
    report: Report,
    made: Order,
    comparison: Comparison | None = None,
    order_of: str = "",
    spreading: Spreading | None = None,
) -> str:
    """The page. report: of the design as written.  made: the order of the design the verdict names, `order_of`.

    spreading: how far each design's machines spread, where some were drawn.
    """
    environment = Environment(loader=PackageLoader("beltspring.viz.html", "."), autoescape=True, trim_blocks=True)
    style, script = css(), _own("page.js")
    found = report.findings
    told: dict[str, Any] = {
        "title": printable(report.title),
        "job": job(report),
        "verdict": verdict(report, comparison, spreading),
        "facts": facts(report, made, found.findings, order_of),
        "findings": findings(found.findings, len(found.asked)),
        "cautions": [*dict.fromkeys([*(f.caution for f in found.findings if f.caution), *made.cautions]),
                     "Calculated numbers are estimates, not a certificate of safety. Mains wiring is for a licensed or"
                     " competent person under your local code. Moving axes pinch: keep hands clear, power off first."],
        "order_of": order_of,
        "groups": order_groups(made),
        "bars": bars(made),
        "order_notes": order_notes(made),
        "currency": made.currency if made.price is not None else "",
        "assumed": assumed(report.design, bands_by_key(report.machine)),
        "sources": sources(report.design, found.findings),
        "css": Markup(style),
        "js": Markup(script),
        "policy": policy(style, script),
    }  # fmt: skip
    told |= _drawn(report, comparison, spreading)
    return environment.get_template("page.j2").render(told)


def policy(style: str, script: str) -> str:
    """The page's content-security policy (W3C CSP Level 3): nothing but its own style, script, typeface and pictures."""

    def digest(text: str) -> str:
        return base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii")

    return (
        f"default-src 'none'; style-src 'sha256-{digest(style)}'; script-src 'sha256-{digest(script)}';"
        " font-src data:; img-src data:; base-uri 'none'; form-action 'none'"
    )


def css() -> str:
    """The style with both themes' colours and the typeface in it."""
    faces = []
    for name, weight in (("Regular", 400), ("Semibold", 600)):
        data = (files("font_source_sans_pro") / "files" / f"SourceSansPro-{name}.otf").read_bytes()
        src = f"url(data:font/otf;base64,{base64.b64encode(data).decode('ascii')})"
        faces.append(f'@font-face{{font-family:"Page";font-weight:{weight};src:{src} format("opentype")}}')
    dark = f"@media(prefers-color-scheme:dark){{:root{{{_colours(DARK)}}}}}"
    return "".join([*faces, f":root{{{_colours(LIGHT)}}}", dark, _own("page.css")])


def _colours(theme: Theme) -> str:
    plain = ("page", "panel", "raised", "line", "grid", "text", "dim", "control", "laid", "alarm", "frame", "metal", "pulley",
             "carriage")  # fmt: skip
    named = {name: getattr(theme, name) for name in plain}
    named |= {f"b{k}": colour for k, colour in enumerate(theme.belts)}
    named |= {f"d{k}": colour for k, colour in enumerate(theme.designs)}
    return ";".join(f"--{name}:#{r:02x}{g:02x}{b:02x}" for name, (r, g, b) in named.items())


def _own(name: str) -> str:
    return files(__package__).joinpath(name).read_text(encoding="utf-8")


def _drawn(report: Report, comparison: Comparison | None, spreading: Spreading | None) -> dict[str, Any]:
    """What is drawn: machine, curve, ranges, walls; nothing where nothing was recorded after a corner."""
    shown = Shown(report)
    number = worst_corner(report, shown.corners)
    if number is None and shown.corners:
        number = 0
    if number is None or not len(shown.t_s):
        return {"machine": ""}
    corner = shown.corners[number]
    rings = list(report.analysis.sentences[:1])
    svg, moves = moving_machine(shown, corner, _said("Machine from above", rings))
    told: dict[str, Any] = {
        "machine": Markup(svg),
        # "<" may not stand in a script, whatever a person wrote.
        "moves": Markup(json.dumps(moves, separators=(",", ":"), ensure_ascii=True).replace("<", "\\u003c")),
        "see": f"From 20 ms before the stop at {corner.name}; what the tool is off its place is drawn {shown.larger:g} times"
               " larger, at a fiftieth of its speed. Dashed: where it was asked to be. Belts: thicker pulls more.",
        "off_words": f"µm to the left and right of the asked line at {corner.name}. Grey: speeding up or slowing down.",
        "rings": rings,
        **_curves(shown, corner, rings),
        **_ranges(report, comparison, spreading),
        **_walls(report, comparison, number),
    }  # fmt: skip
    return told


def _said(what: str, rings: list[str]) -> str:
    return f"{what}. {' '.join(rings)}"


def _curves(shown: Shown, corner: Corner, rings: list[str]) -> dict[str, Any]:
    rows = (shown.t_s >= corner.begin_s) & (shown.t_s <= corner.end_s)
    ms = 1e3 * (shown.t_s[rows] - corner.stop_s)
    off = 1e6 * shown.sideways_m[rows]
    ramps = [(1e3 * (a - corner.stop_s), 1e3 * (b - corner.stop_s)) for a, b in shown.ramps]
    fades = [
        r.fades_to_5_percent_s for r in shown.result.analysis.ringing.values() if r is not None and r.leg == corner.leg
    ]
    calm = max((1e3 * f for f in fades if f is not None), default=None)
    said = _said("Curve of how far the tool is off the line", rings)
    return {"curves": Markup("".join(curve(ms, off, ramps, calm, said, size) for size in WIDTHS))}


def _ranges(report: Report, comparison: Comparison | None, spreading: Spreading | None) -> dict[str, Any]:
    known: list[tuple[str, Judged | None, tuple[float, float] | None]] = [("as written", report.judged, None)]
    if comparison is not None:
        of = spreading.judged_um if spreading is not None else (None,) * len(comparison.labels)
        known = [(comparison.labels[i], comparison.judged[i], of[i]) for i in comparison.order]
    found = [
        ((name, 1e6 * j.least_m, 1e6 * j.most_m, 1e6 * j.judged_m), both)
        for name, j, both in known
        if j is not None and j.judged_m is not None and j.least_m is not None and j.most_m is not None
    ]
    rows, drawn = [row for row, _ in found], [both for _, both in found]
    if not rows:
        return {"ranges": ""}
    said = "Ringing of each design: " + "; ".join(
        f"{n} {low:.0f} to {high:.0f} µm, judged {at:.0f}" for n, low, high, at in rows
    )
    many = {1: "How it rings over speeds"}.get(len(rows), f"{len(rows)} designs")
    words = "Ringing left at a stop, µm. Bar: least to most over speeds near its own. Circle: what it is judged by."
    if any(both is not None for both in drawn):
        words += " Thin bar: 8 of 10 machines built from these parts."
    return {
        "ranges": Markup("".join(ranges(rows, drawn, said, s) for s in WIDTHS)),
        "ranges_title": many,
        "ranges_words": words,
    }


def _walls(report: Report, comparison: Comparison | None, number: int) -> dict[str, Any]:
    """The wall of the design as written, and of the best where there are several."""
    wanted = [("As written", report)]
    if comparison is not None and comparison.best not in (None, 0):
        wanted.append((comparison.labels[comparison.best], comparison.reports[comparison.best]))
    out = []
    for name, one in wanted:
        wall = one.wall(number)
        if wall is None:
            continue
        image = png_bytes(wall_image(WALL_PX, wall, 0.010, float(LIGHT_RAD)), {})
        peak = f"{1e6 * wall.peak_m:.0f} µm"
        calm = "" if wall.calm_from_m is None else f", nothing to see from {1e3 * wall.calm_from_m:.0f} mm on"
        words = f"at {1e3 * wall.speed_m_s:.0f} mm/s: {peak}{calm}"
        data = f"data:image/png;base64,{base64.b64encode(image).decode('ascii')}"
        out.append(
            {
                "name": name,
                "words": words,
                "alt": f"A lit wall: ripples of up to {peak} after the corner{calm}",
                "data": data,
            }
        )
    words = "The first 10 mm after that corner, lit at 20 degrees along the wall; every layer is alike, 0.2 mm high."
    return {"walls": out, "wall_words": words}
