"""`beltspring check`: what of a design will not work, why, by how much, and what to change."""

from __future__ import annotations

import argparse
from contextlib import ExitStack

from .base import Command, Parser, add_common, add_scenario, load, notices, print_json

STOPPED = 1


def arguments(parser: Parser) -> None:
    """The command's arguments."""
    add_scenario(parser)
    add_common(parser)
    parser.epilog = (
        "Exit code 1 when something stops the design. --out writes check.json and the completed scenario.toml."
    )


def run(args: argparse.Namespace) -> int:
    """Ask every rule. Exit code 0, or 1 when a finding stops the design."""
    from beltspring.sim import build_machine, check, completed_toml

    from ..files.findings import findings_entry
    from ..files.folder import OutFolder
    from ..files.plain import write_json
    from ..terminal.console import Watcher, show
    from ..terminal.findings import findings_page

    scenario = load(args)
    with ExitStack() as stack:
        folder = stack.enter_context(OutFolder(args.out, args.replace)) if args.out else None
        with Watcher(args.quiet) as watch:
            found = check(scenario, progress=watch)
        entry = findings_entry(found)
        design = build_machine(scenario).design
        if folder is not None:
            write_json(entry, folder / "check.json")
            (folder / "scenario.toml").write_text(completed_toml(scenario, design), encoding="utf-8")
    notices(args, design.notices)
    if args.json:
        print_json(entry)
    elif not args.quiet:
        show(findings_page(found, args.out))
    return STOPPED if found.stops else 0


COMMAND = Command("check", "what will not work, why, by how much, and what to change", arguments, run)
