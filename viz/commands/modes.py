"""`beltspring modes`: what the machine would ring at, in the middle of its reach and at its corners."""

from __future__ import annotations

import argparse
from typing import Any

from .base import Command, Parser, add_common, add_scenario, load, notices, print_json


def arguments(parser: Parser) -> None:
    """The command's arguments."""
    add_scenario(parser)
    add_common(parser)
    parser.epilog = "Guide friction is left out: it damps small motions further. --out writes modes.json."


def run(args: argparse.Namespace) -> int:
    """Natural frequencies, damping and shapes over the reach."""
    from beltspring.sim.machine.build import build_machine
    from beltspring.sim.model.build import build_model
    from beltspring.sim.model.modes import detent_words, modes
    from beltspring.sim.parts.completed import completed_toml

    from ..files.folder import OutFolder
    from ..files.plain import clean, write_json
    from ..files.summary import mode_entry
    from ..terminal.console import show
    from ..terminal.tables import modes_table

    scenario = load(args)
    machine = build_machine(scenario)
    system = build_model(machine)
    found = [(name, place, modes(system, place)) for name, place in places(machine)]
    entry: dict[str, Any] = clean(
        {
            "title": machine.title,
            "layout": machine.layout,
            "detail": machine.design.detail,
            "places": [
                {"place": name, "tool_mm": [1e3 * v for v in place], "modes": [mode_entry(m) for m in listed]}
                for name, place, listed in found
            ],
        }
    )
    if args.out:
        with OutFolder(args.out, args.replace) as folder:
            write_json(entry, folder / "modes.json")
            (folder / "scenario.toml").write_text(completed_toml(scenario, machine.design), encoding="utf-8")
    notices(args, machine.design.notices)
    if args.json:
        print_json(entry)
    elif not args.quiet:
        show(modes_table(machine, found, detent_words(system, found[0][1])))
    return 0


def places(machine: Any) -> list[tuple[str, Any]]:
    """The middle of the reach and its four corners (or twelve points of its rim) in XY, (name, (3,) m), at half height."""
    import numpy as np

    x, y, z = machine.middle
    return [(name, np.array([*xy, z])) for name, xy in [("middle", (x, y)), *machine.edge()]]


COMMAND = Command("modes", "natural frequencies, damping and shapes, over the reach", arguments, run)
