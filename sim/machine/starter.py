"""A file to begin with: a small machine of any layout that works as it stands, with what may be chosen beside each key.

What is chosen here by the reach is our own rule of thumb (no published one was found); `check` judges the machine.
"""

from __future__ import annotations

import json
import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

from ..errors import InputError
from ..parts.keys import KeyFact, key_fact
from ..scenario.index import Path, dotted, leaves, tables
from ..scenario.load import scenario_of, with_changes
from ..scenario.names import LAYOUTS as NAMES
from ..scenario.schema import Scenario
from ..scenario.telling import nearest
from .layouts import LAYOUTS

USUAL_SPACE_MM = (200.0, 200.0, 200.0)
#: Columns before a comment, and in all; what does not fit stands above its key.
CODE_COLUMNS, ALL_COLUMNS = 36, 116
#: Up to which reach, mm: rods carry, one screw lifts the bed, two do, light profile stands, moves may be brisk.
RODS_TO, RODS_TO_HEAVY, ONE_SCREW_TO, TWO_SCREWS_TO, LIGHT_TO, BRISK_TO = 220, 180, 200, 300, 250, 600
END = """
# Everything else has a default: `beltspring show FILE` prints it, `beltspring keys` lists every key with its meaning.
# A design to compare: `beltspring compare FILE` runs the machine above and each of these under the same move.
"""


def starter(
    layout: str | None = None,
    space_mm: Sequence[float] = USUAL_SPACE_MM,
    title: str = "My machine",
    changes: Mapping[str, Any] | None = None,
) -> str:
    """The text of a scenario to begin with. layout: None: the first registered.  space_mm: reach in X, Y, Z.

    changes: dotted keys laid over it.

    Raises InputError for a layout there is not, and ScenarioError for a reach or a change that breaks a rule.
    """
    layout = next(iter(LAYOUTS)) if layout is None else layout
    if layout not in NAMES:
        near = nearest(layout, NAMES)
        raise InputError(f"layout {layout!r}: " + (f"did you mean {near}?" if near else f"one of {', '.join(NAMES)}"))
    begun = scenario_of(_tree(layout, space_mm, title), "the starter")
    return _text(with_changes(begun, changes) if changes else begun)


def _tree(layout: str, space_mm: Sequence[float], title: str) -> dict[str, Any]:
    x, y, z = (float(v) for v in space_mm)
    reach = max(x, y)
    facts = LAYOUTS[layout]
    light = reach <= LIGHT_TO
    rods = reach <= (RODS_TO_HEAVY if facts.gantry_motor else RODS_TO)
    # Rods as long as columns under arms would be the softest thing on the machine.
    guide = "rail-9" if facts.on_arms and light else "rod-8-pair" if rods and not facts.on_arms else "rail-12"
    bed = "rod-8-pair" if reach <= RODS_TO else "rod-12-pair" if reach <= 350 else "rail-12"
    screws = 1 if reach <= ONE_SCREW_TO else 2 if reach <= TWO_SCREWS_TO else 4
    frame = "slot-2020" if light else "slot-2040" if facts.bed_slides else "slot-4040"
    brisk = 1500.0 if facts.on_arms else 2500.0
    tree: dict[str, Any] = {"title": title, "layout": layout}
    tree["space"] = {"x_mm": x, "y_mm": y, "z_mm": z}
    tree["carriage"] = {"guide": guide}
    if not facts.on_arms:
        tree["carriage"]["tool_mass_g"] = 200.0
        tree["gantry"] = {"guide": guide}
        tree["bed"] = {"guide": bed} | ({} if facts.bed_slides else {"z_drives": screws})
    else:
        tree["delta"] = {"arm": "arm-tube-6" if light else "arm-tube-8", "effector_mass_g": 250.0}
    tree["belts"] = {"part": "belt-2mm-6-glass" if light else "belt-2mm-6-steel", "pretension_n": 15.0}
    tree["motors"] = {"part": "motor-17-40" if light else "motor-17-48", "supply_v": 24.0}
    tree["frame"] = {"part": frame, "joints": "plates"}
    if not facts.on_arms and not facts.bed_slides:
        tree["frame"]["panels"] = {side: {"part": "composite"} for side in ("sides", "rear")}
    gentle = brisk if light else 1500.0 if reach <= BRISK_TO else 800.0
    tree["motion"] = {"speed_mm_s": 120.0, "acceleration_mm_s2": gentle}
    tree["move"] = {"pattern": "square"}
    other = "belt-2mm-6-steel" if light else "belt-2mm-9-steel"
    tree["variant"] = [{"name": "stiffer belts", "set": {"belts.part": other}}]
    return tree


def _text(scenario: Scenario) -> str:
    """A scenario as a file with a comment beside each key, tables in the schema's order."""
    by_table: dict[Path, list[tuple[Path, Any]]] = {}
    for path, value in leaves(scenario.tree):
        if path[0] != "variant":
            by_table.setdefault(path[:-1], []).append((path, value))
    order = list(tables())
    lines = [f"# {scenario.title}: begun with `beltspring new`. Units stand in the names of the keys.", ""]
    for table in sorted(by_table, key=lambda t: order.index(t) if t in order else order.index(t[:1])):
        if table:
            lines += ["", f"[{dotted(table)}]"]
        for path, value in by_table[table]:
            lines += _line(path, value, key_fact(path))
    lines += END.splitlines()
    for variant in scenario.file.variant:
        changes = ", ".join(f"{_toml(key)} = {_toml(value)}" for key, value in variant.set.items())
        lines += ["[[variant]]", f"name = {_toml(variant.name)}", f"set = {{ {changes} }}"]
    return "\n".join(lines).replace("\n\n\n", "\n\n") + "\n"


def _line(path: Path, value: Any, fact: KeyFact | None) -> list[str]:
    code = f"{path[-1]} = {_toml(value)}"
    if fact is None or path == ("title",):
        return [code]
    words = f"{fact.meaning}: {fact.range_words()}"
    if len(words) + CODE_COLUMNS + 2 <= ALL_COLUMNS and len(code) < CODE_COLUMNS:
        return [f"{code:<{CODE_COLUMNS}}# {words}"]
    return [*(f"# {line}" for line in textwrap.wrap(words, ALL_COLUMNS - 2, break_on_hyphens=False)), code]


def _toml(value: Any) -> str:
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str | bool) else repr(value)
