"""The machine from above as SVG that plays: its shapes once, and what moves in each of some hundred pictures."""

from __future__ import annotations

from typing import Any

import numpy as np
from beltspring.sim.machine.machine import Machine
from beltspring.sim.machine.routing import belt_path
from numpy.typing import NDArray

from ..charts.corners import Corner
from ..charts.shown import Shown
from ..draw.order import extent_of
from ..svg.belts import pieces_d
from ..svg.marks import circle, element, line, polygon, rect

Array = NDArray[np.float64]

WIDE = 520.0  # drawing units
MOST_PICTURES = 150
BELT, LARGER = 3.4, 5.0  # width of a belt at rest, and how much more than it is the change of its pull is drawn
FILLS = {
    "frame": "fr",
    "bed": "bd",
    "rail": "rl",
    "gantry": "gt",
    "carriage": "ca",
    "motor": "mo",
    "column": "fr",
    "tool": "ca",
}
LAST = ("carriage", "tool")


def moving_machine(shown: Shown, corner: Corner, said: str) -> tuple[str, dict[str, Any]]:
    """(SVG, what moves as JSON) of a corner's stretch. said: the finding, for who cannot see it."""
    machine, trace = shown.result.machine, shown.trace
    low, high = extent_of(machine)
    scale = WIDE / float(max(high - low))
    size = (high - low) * scale

    def to(x: float, y: float) -> tuple[float, float]:
        return (x - float(low[0])) * scale, (float(high[1]) - y) * scale

    rows = np.flatnonzero((shown.t_s >= corner.begin_s) & (shown.t_s <= corner.end_s))
    rows = rows[np.unique(np.linspace(0, len(rows) - 1, min(len(rows), MOST_PICTURES)).astype(int))]
    moves = _pictures(machine, shown, rows, to, scale)
    level = [k for k, belt in enumerate(machine.belts) if belt.plane[1][2] == 0.0]
    parts = [*_shapes(machine, to, scale, first=True)]
    for number, run in enumerate(moves["runs"]):
        parts.append(
            element("path", d=run["d"][0], class_=f"belt b{run['belt'] % 3}", id=f"run{number}", stroke_width=BELT)
        )
    wheels = {w.wheel for k in level for w in machine.belts[k].wraps}
    by_body: dict[str, list[str]] = {}
    for name in wheels:
        wheel = machine.wheels[name]
        x, y = to(wheel.centre[0], wheel.centre[1])
        r = max(2.5, (wheel.radius_m - 0.001) * scale)
        by_body.setdefault(wheel.body, []).append(circle(x, y, r, class_="pu" if wheel.drive else "id"))
    parts += [element("g", "".join(drawn), data_body=body) for body, drawn in by_body.items()]
    parts += [line(0, 0, 0, 0, class_="arm", id=f"arm{k}") for k in range(len(machine.arms))]
    parts += _shapes(machine, to, scale, first=False)
    parts += [rect(0, 0, moves["carriage"][0], moves["carriage"][1], class_="asked", id="asked")]
    parts += [line(0, 0, 0, 0, class_="way", id="way"), circle(0, 0, 4, class_="tool", id="tool")]
    parts += [circle(0, 0, 4, class_="askeddot", id="askeddot")]
    svg = element(
        "svg", "".join(parts), viewBox=f"0 0 {size[0]:.0f} {size[1]:.0f}", role="img", aria_label=said, class_="machine"
    )
    moves["ms"] = [round(1e3 * (float(trace.t_s[k]) - corner.stop_s), 1) for k in rows]
    return svg, moves


def _shapes(machine: Machine, to: Any, scale: float, first: bool) -> list[str]:
    """What lies below the belts, or the carriage above them."""
    out = []
    for shape in sorted(machine.outlines, key=lambda o: o.level):
        if (shape.kind in LAST) == first:
            continue
        points = [to(x, y) for x, y in shape.points]
        kind = FILLS.get(shape.kind, "gt")
        if len(points) == 2:
            wide = max(1.5, shape.width_m * scale)
            drawn = line(*points[0], *points[1], class_=f"ln {kind}s", stroke_width=wide)
        elif shape.kind == "frame":
            drawn = polygon(points, class_="frs", stroke_width=2 * shape.width_m * scale)
        else:
            drawn = polygon(points, class_=kind)
        out.append(element("g", drawn, data_body=shape.body))
    return out


def _pictures(machine: Machine, shown: Shown, rows: Array, to: Any, scale: float) -> dict[str, Any]:
    """Where everything is in each picture, in drawing units."""
    trace, larger = shown.trace, shown.larger
    off = trace.tool[:, :2] - trace.commanded[:, :2]
    bodies: dict[str, list[list[float]]] = {body.name: [] for body in machine.bodies if body.parent is not None}
    runs: list[dict[str, Any]] = []
    level = [k for k, belt in enumerate(machine.belts) if belt.plane[1][2] == 0.0]
    for k in level:
        path = belt_path(machine, machine.belts[k])
        runs += [{"belt": k, "run": n, "name": name, "d": [], "w": []} for n, name in enumerate(path.runs)]
    arms: list[list[list[float]]] = [[] for _ in machine.arms]
    tools, askeds = [], []
    home = np.asarray(machine.tool_point[:2], float)
    for row in rows:
        asked = np.asarray(trace.commanded[row], float)
        there = asked.copy()
        there[:2] += larger * off[row]
        offsets = machine.offsets(there)
        for name, kept in bodies.items():
            kept.append([round(float(offsets[name][0]) * scale, 1), round(-float(offsets[name][1]) * scale, 1)])
        paths = {k: belt_path(machine, machine.belts[k], offsets) for k in level}
        for run in runs:
            belt, path = machine.belts[run["belt"]], paths[run["belt"]]
            run["d"].append(pieces_d(path.run_pieces(run["run"]), to, scale, digits=1))
            pull = float(trace.tension_n[row, trace.runs.index((belt.name, run["name"]))])
            rest = max(belt.spec.pretension_n, 1e-9)
            run["w"].append(round(min(12.0, max(0.6, BELT * (1 + LARGER * (pull / rest - 1)))), 1))
        for n, arm in enumerate(machine.arms):
            (a_body, a), (b_body, b) = arm.ends
            p, q = np.array(a) + offsets[a_body], np.array(b) + offsets[b_body]
            arms[n].append([round(v, 1) for v in (*to(p[0], p[1]), *to(q[0], q[1]))])
        at, want = offsets[machine.tool_body][:2], machine.offsets(asked)[machine.tool_body][:2]
        tools.append([round(v, 1) for v in to(*(home + at))])
        askeds.append([round(v, 1) for v in to(*(home + want))])
    wide = next((s for s in machine.outlines if s.body == machine.tool_body), None)
    box = np.ptp(np.asarray(wide.points, float), axis=0) * scale if wide is not None else np.array([30.0, 30.0])
    return {
        "bodies": {name: kept for name, kept in bodies.items() if any(v != [0, 0] for v in kept)},
        "runs": runs,
        "arms": arms,
        "tool": tools,
        "asked": askeds,
        "carriage": [round(float(box[0]), 1), round(float(box[1]), 1)],
        "off": [round(1e6 * float(shown.sideways_m[row]), 1) for row in rows],
    }
