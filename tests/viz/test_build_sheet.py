"""The build sheet: well-formed SVG of one A4 page, its numbers those of the machine, every word escaped."""

from __future__ import annotations

import itertools
import re
import xml.etree.ElementTree as ET

import pytest
from beltspring.sim import building, shipped
from beltspring.sim.machine.build import build_machine
from beltspring.sim.machine.machine import Machine
from beltspring.sim.order.building import rail_holes
from beltspring.sim.order.members import members
from beltspring.sim.order.shopping import guided_lines
from beltspring.sim.scenario.load import load_scenario
from beltspring.viz.svg.build import EDGE, HIGH, WIDE, build_sheet

NAMES = [s.name for s in shipped()]


def machine(name: str, *sets: str) -> Machine:
    return build_machine(load_scenario(name, sets))


@pytest.mark.parametrize("name", NAMES)
def test_it_is_one_page_and_nothing_leaves_it(name):
    sheet = build_sheet(machine(name))
    root = ET.fromstring(sheet)
    assert (root.get("width"), root.get("height")) == ("210mm", "297mm")  # ISO 216 A4
    assert " style=" not in sheet
    for node in root.iter():
        for key, most in (
            ("x", WIDE - EDGE / 2),
            ("x2", WIDE - EDGE / 2),
            ("cx", WIDE - EDGE),
            ("y", HIGH - 4),
            ("y2", HIGH - 4),
        ):
            if node.tag.endswith("rect") and node.get("width") == "210":
                continue
            assert 0 <= float(node.get(key, 0)) <= most, (node.tag, node.attrib, node.text)


@pytest.mark.parametrize("name", NAMES)
def test_every_piece_and_every_wheel_stands_on_it(name):
    built = machine(name)
    said = " ".join(
        "".join(node.itertext()) for node in ET.fromstring(build_sheet(built)).iter() if node.tag.endswith("text")
    )
    for _, count, length, _ in members(built):
        assert f"{count} x" in said
        assert f"{1e3 * length:.1f}".removesuffix(".0") in said
    for wheel in built.wheels:
        assert wheel in said
    assert said.count("1:") >= 2 or built.design.frame is None


@pytest.mark.parametrize("name", NAMES)
def test_no_words_of_a_row_lie_on_each_other(name):
    """By the mean letter of a wide typeface, half of its size (common practice, no source); numbers are wider, 0.57 of it."""
    rows: dict[str, list[tuple[float, float, str]]] = {}
    for node in ET.fromstring(build_sheet(machine(name))).iter():
        said, kind = "".join(node.itertext()), node.get("class", "").split()
        if not node.tag.endswith("text") or node.get("transform") or "h" in kind:
            continue
        size = 3.4 if "b" in kind else 2.3 if "s" in kind else 2.7
        wide = sum(size * (0.57 if letter.isdigit() else 0.5) for letter in said)
        x = float(node.get("x")) - (wide if "e" in kind else wide / 2 if "m" in kind else 0.0)
        rows.setdefault(node.get("y"), []).append((x, x + wide, said))
    for row in rows.values():
        for one, other in itertools.pairwise(sorted(row)):
            assert one[1] < other[0], (one, other)


def test_places_are_the_machines_own():
    built = machine("desk-corexy")
    b = building(built)
    stop = next(s for s in b.stops["a"] if s.wheel == "motor A")
    x, y, z = built.wheels["motor A"].centre
    # The frame, 380 mm wide and deep, is about frame_point; it stands on feet.
    assert stop.x_m == pytest.approx(x - built.frame_point[0] + 0.190)
    assert stop.y_m == pytest.approx(y - built.frame_point[1] + 0.190)
    assert stop.above_m == pytest.approx(z - built.feet_points[0][2])
    upper, lower = (next(iter(b.stops[k])).above_m for k in "ab")
    assert upper - lower == pytest.approx(0.006 + 0.004)  # a belt's width and the gap of the levels
    assert {s.teeth for s in b.stops["a"]} == {True, False}


def test_holes_of_a_tapped_frame_lie_in_the_middle_of_what_is_screwed_there():
    built = machine("desk-corexy-slot", "frame.joints=tapped-bore")
    pieces = {p.words.split(",")[0]: p for p in building(built).pieces}
    column = pieces["column"]
    assert column.holes_m == pytest.approx((0.010, column.length_m - 0.010))  # 20 mm profile
    assert "tapped M5" in pieces["top member across"].ends


def test_holes_of_a_rail_are_alike_at_both_ends():
    built = machine("large-corexy")
    _, guide, length, _ = next(line for line in guided_lines(built) if line[1].kind == "rail")
    holes = rail_holes(guide, length)
    assert holes[0] == pytest.approx(length - holes[-1])
    assert holes[0] >= 0.005
    assert {round(b - a, 6) for a, b in itertools.pairwise(holes)} == {0.025}  # size 12, handbook value from memory


def test_words_are_escaped():
    title = 'title="<script>alert(1)</script> & more"'
    sheet = build_sheet(machine("small-hframe", title))
    assert "<script" not in sheet
    assert re.search("&lt;script&gt;", sheet)
    ET.fromstring(sheet)
