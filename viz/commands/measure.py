"""`beltspring measure`: what to measure on the machine that was built, and how, cheapest first."""

from __future__ import annotations

import argparse
from contextlib import ExitStack

from .base import Command, Parser, add_common, add_scenario, load, notices, print_json


def arguments(parser: Parser) -> None:
    """The command's arguments."""
    add_scenario(parser)
    add_common(parser)
    parser.epilog = (
        "--out writes sheet.txt for the bench, a measured.toml to fill in, the moves to record as plain programs with the\n"
        "limits to set there (step-x.gcode, step-y.gcode, square.gcode), and measure.json."
    )


def run(args: argparse.Namespace) -> int:
    """The sheet of one machine."""
    from beltspring.sim import measuring_sheet

    from ..files.folder import OutFolder
    from ..files.measure import sheet_entry, write_sheet
    from ..terminal.console import show
    from ..terminal.measure import measure_page

    scenario = load(args)
    with ExitStack() as stack:
        folder = stack.enter_context(OutFolder(args.out, args.replace)) if args.out else None
        sheet = measuring_sheet(scenario)
        if folder is not None:
            write_sheet(sheet, folder)
    notices(args, scenario.notices)
    if args.json:
        print_json(sheet_entry(sheet))
    elif not args.quiet:
        show(measure_page(sheet, args.out))
    return 0


COMMAND = Command(
    "measure", "what to measure on the built machine first, and how sure that would make it", arguments, run
)
