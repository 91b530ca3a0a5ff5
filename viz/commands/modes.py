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
    from beltspring.sim import completed_toml, modes

    from ..files.folder import OutFolder
    from ..files.plain import clean, write_json
    from ..files.summary import mode_entry
    from ..terminal.console import show, wrote
    from ..terminal.tables import modes_table

    scenario = load(args)
    found = modes(scenario)
    machine = found.machine
    entry: dict[str, Any] = clean(
        {
            "title": machine.title,
            "layout": machine.layout,
            "detail": machine.design.detail,
            "places": [
                {
                    "place": p.name,
                    "tool_mm": [1e3 * v for v in p.tool_m],
                    "modes": [mode_entry(mode, band) for mode, band in zip(p.modes, p.bands_hz, strict=True)],
                }
                for p in found.places
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
        show(modes_table(found))
        wrote(args.out, "modes.json", "scenario.toml")
    return 0


COMMAND = Command("modes", "natural frequencies, damping and shapes, over the reach", arguments, run)
