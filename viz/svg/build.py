"""The build sheet: one A4 page with the frame and its dimensions, what to cut and where holes go, and the way of every belt."""

from __future__ import annotations

from collections.abc import Sequence

from beltspring.sim import Building, Piece, building
from beltspring.sim.machine.machine import Machine
from beltspring.sim.machine.routing import Arc, belt_path

from .belts import belt_d, toothed_aside
from .marks import circle, element, line, number, polygon, rect, text

WIDE, HIGH, EDGE = 210.0, 297.0, 10.0  # A4, mm
SCALES = (1, 2, 2.5, 3, 4, 5, 6, 7, 8, 10, 12, 15, 20, 25, 30, 40, 50, 100)
BAR_MM = 100.0
LETTER_MM = 1.36  # a letter of the sheet's size in a wide typeface, on average: rows are laid out for it
HUES = ("#0b5fa5", "#9a4c00", "#33691e")
STYLE = """
text{font-family:'Source Sans 3','Source Sans Pro',Arial,sans-serif;font-size:2.7px;fill:#111}
.h{font-size:6px;font-weight:600}.b{font-size:3.4px;font-weight:600}.s{font-size:2.3px;fill:#444}
.m{text-anchor:middle}.e{text-anchor:end}
.f{fill:#dfe3e8;stroke:#333;stroke-width:.25}.i{fill:#fff;stroke:#333;stroke-width:.25}
.o{fill:none;stroke:#999;stroke-width:.25}.d{stroke:#333;stroke-width:.15;fill:none}
.w{fill:#fff;stroke:#333;stroke-width:.25}.p{fill:#cfd6de;stroke:#333;stroke-width:.25}
""" + "".join(
    f".t{k}{{fill:none;stroke:{hue};stroke-width:.7}}"
    f".g{k}{{fill:none;stroke:{hue};stroke-width:.6;stroke-dasharray:.4 .5}}"
    for k, hue in enumerate(HUES)
)


def build_sheet(machine: Machine) -> str:
    """The sheet as SVG text."""
    b = building(machine)
    parts = [*_head(machine), *_frame(machine, b)]
    panels, low = _belts(machine, b, 98.0)
    table, low = _stops(b, low + 6)
    cuts, low = _cuts(b, low + 5)
    parts += [*panels, *table, *cuts, *_foot(low)]
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        + element(
            "svg",
            element("style", STYLE) + rect(0, 0, WIDE, HIGH, fill="#fff") + "".join(parts),
            xmlns="http://www.w3.org/2000/svg",
            width=f"{number(WIDE)}mm",
            height=f"{number(HIGH)}mm",
            viewBox=f"0 0 {number(WIDE)} {number(HIGH)}",
        )
        + "\n"
    )


def _head(machine: Machine) -> list[str]:
    x, y, z = (1e3 * (high - low) for low, high in machine.reach)
    return [
        text(EDGE, 15, machine.title[:70], class_="h"),
        text(
            EDGE,
            20,
            f"{machine.layout}, reach {x:.0f} x {y:.0f} x {z:.0f} mm. Print on A4 at 100 %: the bars then are true.",
        ),
    ]


def _scale(size_m: float, room_mm: float) -> float:
    """The N of 1:N at which so many metres fit."""
    return next((n for n in SCALES if 1e3 * size_m / n <= room_mm), SCALES[-1])


def _bar(x: float, y: float, n: float) -> str:
    long = BAR_MM if BAR_MM / n >= 8 else 5 * BAR_MM
    end = x + long / n
    ticks = line(x, y - 1, x, y + 1, class_="d") + line(end, y - 1, end, y + 1, class_="d")
    return line(x, y, end, y, class_="d") + ticks + text(end + 1.5, y + 0.9, f"{long:.0f} mm, 1:{n:g}", class_="s")


def _across(x0: float, x1: float, y: float, said: str) -> str:
    """A dimension between two places on a level line."""
    ends = "".join(line(x, y - 1.2, x, y + 1.2, class_="d") for x in (x0, x1))
    return line(x0, y, x1, y, class_="d") + ends + text((x0 + x1) / 2, y - 0.8, said, class_="m")


def _upward(x: float, y0: float, y1: float, said: str) -> str:
    ends = "".join(line(x - 1.2, y, x + 1.2, y, class_="d") for y in (y0, y1))
    middle = (y0 + y1) / 2
    turned = f"rotate(-90 {number(x - 0.8)} {number(middle)})"
    return line(x, y0, x, y1, class_="d") + ends + text(x - 0.8, middle, said, class_="m", transform=turned)


def _frame(machine: Machine, b: Building) -> list[str]:
    """The frame from the front and from above, with its dimensions."""
    size, spec = machine.design.frame_size, machine.design.frame
    out = [text(EDGE, 27, "Frame from the front", class_="b"), text(108, 27, "From above", class_="b")]
    if spec is None:
        return [*out, text(EDGE, 34, "The scenario's frame is rigid: choose one, and this sheet shows how to cut it.")]
    n = _scale(max(size.width_m, size.height_m, size.depth_m), 55)
    w, h, depth = (1e3 * v / n for v in (size.width_m, size.height_m, size.depth_m))
    x0, y0 = EDGE + 9, 35.0
    column, base, top = (spec.member(name) for name in ("columns", "base", "top"))
    side = 1e3 * column.side_a_m / n
    low, tall = 1e3 * base.side_b_m / n, 1e3 * top.side_b_m / n
    portal = machine.gantry_height_m is not None and machine.column_radius_m is None
    inset = 0.0 if portal else side
    said = f"{1e3 * (size.width_m - 2 * column.side_a_m):.0f} between the columns"
    square = machine.column_radius_m is None
    between = [_across(x0 + side, x0 + w - side, y0 + tall + 5, said)] if square else []
    out += [
        rect(x0, y0, side, h, class_="f"),
        rect(x0 + w - side, y0, side, h, class_="f"),
        rect(x0 + side, y0, w - 2 * side, tall, class_="f"),
        rect(x0 + inset, y0 + h - low, w - 2 * inset, low, class_="f"),
        _across(x0, x0 + w, y0 - 2, f"{1e3 * size.width_m:.0f}"),
        _upward(x0 - 3, y0, y0 + h, f"{1e3 * size.height_m:.0f}"),
        *between,
    ]
    for mark, place in zip(
        [p.mark for p in b.pieces], ((x0 + side / 2, y0 + h / 2), (x0 + w / 2, y0 + tall / 2)), strict=False
    ):
        out.append(_mark(*place, mark))
    out += [_bar(x0, y0 + h + 5, n), *_plan(machine, b, n, 117.0, y0, depth)]
    return out


def _mark(x: float, y: float, said: str) -> str:
    return circle(x, y, 2.0, class_="w") + text(x, y + 0.9, said, class_="m")


def _plan(machine: Machine, b: Building, n: float, x0: float, y0: float, depth: float) -> list[str]:
    """The frame from above: its outlines, feet and the guides' lines."""
    size = machine.design.frame_size

    def to(x: float, y: float) -> tuple[float, float]:
        return x0 + 1e3 * (x - b.corner[0]) / n, y0 + depth - 1e3 * (y - b.corner[1]) / n

    out = []
    for outline in machine.outlines:
        points = [to(x, y) for x, y in outline.points]
        if outline.kind == "frame":
            wide = 1e3 * outline.width_m / n
            out.append(polygon(points, class_="f"))
            if len(points) == 4:
                xs, ys = [p[0] for p in points], [p[1] for p in points]
                inner = (min(xs) + wide, min(ys) + wide, max(xs) - min(xs) - 2 * wide, max(ys) - min(ys) - 2 * wide)
                out.append(rect(*inner, class_="i"))
        elif outline.kind == "bed":
            out.append(polygon(points, class_="o"))
        elif outline.kind == "motor":
            out.append(polygon(points, class_="p"))
    x1 = x0 + 1e3 * size.width_m / n
    out += [
        _across(x0, x1, y0 - 2, f"{1e3 * size.width_m:.0f}"),
        _upward(x0 - 3, y0, y0 + depth, f"{1e3 * size.depth_m:.0f}"),
        text((x0 + x1) / 2, y0 + depth + 3.5, "front below; thin: the bed, squares: motors", class_="s m"),
    ]
    return out


def _belts(machine: Machine, b: Building, y0: float) -> tuple[list[str], float]:
    """All belts from above, then each level by itself; upright belts in their own plane."""
    upright = any(belt.plane[1][2] != 0.0 for belt in machine.belts)
    numbers = _numbers(b)
    if upright:
        groups = [("One belt, seen from its column's side; all are alike", [0])]
    else:
        levels = sorted({belt.level for belt in machine.belts}, reverse=True)
        groups = [("All belts from above", list(range(len(machine.belts))))]
        if len(levels) > 1:
            for level in levels:
                mine = [k for k, belt in enumerate(machine.belts) if belt.level == level]
                names = " and ".join(machine.belts[k].name for k in mine)
                groups.append(
                    (f"{'Upper' if level else 'Lower'} level: belt{'s' if len(mine) > 1 else ''} {names}", mine)
                )
    room = (WIDE - 2 * EDGE - 6 * (len(groups) - 1)) / len(groups)
    out, lowest = [], y0
    for column, (title, mine) in enumerate(groups):
        x = EDGE + column * (room + 6)
        # Where each level is drawn by itself, the wheels of all together would only hide each other's numbers.
        told = {} if column == 0 and len(groups) > 1 else numbers
        drawn, low = _belt_panel(machine, mine, told, (x, y0), min(room, 92.0), title)
        out += drawn
        lowest = max(lowest, low)
    return out, lowest


def _numbers(b: Building) -> dict[str, int]:
    names = dict.fromkeys(stop.wheel for stops in b.stops.values() for stop in stops)
    return {name: k for k, name in enumerate(names, start=1)}


def _belt_panel(
    machine: Machine, mine: Sequence[int], numbers: dict[str, int], at: tuple[float, float], room: float, title: str
) -> tuple[list[str], float]:
    """One drawing of some belts, with wheels, numbered where a number is told, and dashes on the toothed side."""
    paths = [belt_path(machine, machine.belts[k]) for k in mine]
    level = machine.belts[mine[0]].plane[1][2] == 0.0
    spots = [
        tuple(p)
        for path in paths
        for piece in path.pieces
        if not isinstance(piece, Arc)
        for p in (piece.start, piece.end)
    ]
    if level:
        spots += [p for o in machine.outlines if o.kind == "frame" for p in o.points]
    x_low, x_high = min(p[0] for p in spots) - 0.008, max(p[0] for p in spots) + 0.008
    y_low, y_high = min(p[1] for p in spots) - 0.008, max(p[1] for p in spots) + 0.008
    n = max(_scale(x_high - x_low, room), _scale(y_high - y_low, 62))
    scale, (left, top) = 1e3 / n, (at[0], at[1] + 4)

    def to(x: float, y: float) -> tuple[float, float]:
        return left + (x - x_low) * scale, top + (y_high - y) * scale

    out = [text(at[0], at[1] + 1, title, class_="b")]
    if level:
        out += [polygon([to(*p) for p in o.points], class_="o") for o in machine.outlines if o.kind == "frame"]
    for k, path in zip(mine, paths, strict=True):
        belt = machine.belts[k]
        out.append(element("path", d=belt_d(path, to, scale, toothed_aside(belt, 0.9 / scale)), class_=f"g{k % 3}"))
        out.append(element("path", d=belt_d(path, to, scale), class_=f"t{k % 3}"))
        for piece in path.pieces:
            if isinstance(piece, Arc):
                x, y = to(*piece.centre)
                kind = "p" if machine.wheels[piece.wheel].drive else "w"
                least = 1.7 if numbers else 0.4
                out.append(circle(x, y, max(least, (piece.radius_m - 0.001) * scale), class_=kind))
                if numbers:
                    out.append(text(x, y + 0.9, str(numbers[piece.wheel]), class_="m"))
        for clamp, spot in ((belt.start, path.pieces[0]), (belt.end, path.pieces[-1])):
            point = spot.start if clamp is belt.start else spot.end  # type: ignore[union-attr]
            x, y = to(*point)
            out.append(rect(x - 1, y - 1, 2, 2, class_="p"))
    low = top + (y_high - y_low) * scale
    return [*out, _bar(at[0], low + 3, n)], low + 5


def _stops(b: Building, y0: float) -> tuple[list[str], float]:
    """Every wheel with its place and height, two columns."""
    numbers = _numbers(b)
    rows: list[tuple[str, ...]] = []
    seen = set()
    for belt, stops in b.stops.items():
        for stop in stops:
            if stop.wheel in seen:
                continue
            seen.add(stop.wheel)
            side = "teeth" if stop.teeth else "back"
            where = f"{1e3 * stop.x_m:.1f}", f"{1e3 * stop.y_m:.1f}", f"{1e3 * stop.above_m:.1f}"
            rows.append((str(numbers[stop.wheel]), f"{stop.wheel}: {stop.kind}, {stop.carried_by}", belt, *where, side))
        for name, x, y, z in b.clamps[belt]:
            rows.append(("", f"{name} clamp", belt, f"{1e3 * x:.1f}", f"{1e3 * y:.1f}", f"{1e3 * z:.1f}", "held"))
    out = [
        text(EDGE, y0, "Wheels and clamps, tool in the middle of its reach", class_="b"),
        text(EDGE, y0 + 3.2, "mm from the frame's front left corner; height of the belt's middle above the table. Dashes in the"
             " drawings mark the toothed side; last column: what lies on the wheel.", class_="s"),
    ]  # fmt: skip
    half = (len(rows) + 1) // 2
    for column, part in enumerate((rows[:half], rows[half:])):
        x = EDGE + column * 97
        for k, row in enumerate(part):
            y = y0 + 7 + 3.3 * k
            out += [
                text(x + 3, y, row[0], class_="e"),
                text(x + 4.5, y, _short(row[1], 50 if len(row[2]) == 1 else 44)),
                text(x + (57 if len(row[2]) == 1 else 59), y, row[2], class_="e"),
            ]
            out += [text(x + at, y, cell, class_="e") for at, cell in zip((68, 77.5, 87), row[3:6], strict=True)]
            out.append(text(x + 88, y, row[6], class_="s"))
    return out, y0 + 7 + 3.3 * half


def _cuts(b: Building, y0: float) -> tuple[list[str], float]:
    """What to cut, and where holes go."""
    out = [text(EDGE, y0, "Cut list", class_="b"), text(EDGE + 150, y0, "lengths in mm", class_="s")]
    y = y0
    for piece in (*b.pieces, *b.lines):
        y += 3.4
        length = f"{1e3 * piece.length_m:.1f}".removesuffix(".0")
        out += [text(EDGE + 5, y, piece.mark, class_="e"), text(EDGE + 7, y, _short(piece.words, 83))]
        out += [text(EDGE + 97, y, f"{piece.count} x", class_="e"), text(EDGE + 107, y, length, class_="e")]
        out.append(text(EDGE + 109, y, _done(piece)))
    return out, y


def _short(words: str, room_mm: float) -> str:
    """As much of some words as there is room for."""
    most = int(room_mm / LETTER_MM)
    return words if len(words) <= most else words[: most - 1] + "…"


def _done(piece: Piece) -> str:
    if not piece.holes_m:
        return piece.ends
    first, last = f"{1e3 * piece.holes_m[0]:.1f}", f"{1e3 * piece.holes_m[-1]:.1f}"
    places = f"at {first} and {last}"
    if len(piece.holes_m) > 2:
        pitch = 1e3 * (piece.holes_m[1] - piece.holes_m[0])
        places = f"{len(piece.holes_m)} holes, {first} from the end, then every {pitch:g}"
    return f"{piece.holes}: {places}"


def _foot(low: float) -> list[str]:
    y = max(low + 5, HIGH - 13)
    care = (
        "Take care: clamp the work, wear eye protection, deburr; no gloves near turning tools. Hardened rods and rails are"
        " cut with an abrasive disc, eyes and lungs covered.",
        "A tensioned belt whips when it is let go. Check every length against your own parts before you cut; calculated"
        " numbers are estimates, not a certificate of safety.",
    )
    return [text(EDGE, y + 3 * k, sentence, class_="s") for k, sentence in enumerate(care)]
