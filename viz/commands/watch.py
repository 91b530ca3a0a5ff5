"""`beltspring watch`: the window, on one scenario or on several side by side."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from contextlib import ExitStack
from typing import Any

from beltspring.sim import InputError

from .base import Command, Parser, UsageError, add_common, add_scenario, load, notices, print_json, shipped_names
from .run import write_results

MOST_SIDE_BY_SIDE = 3


def arguments(parser: Parser) -> None:
    """The command's arguments."""
    add_scenario(parser, many=True)
    add_common(parser)
    parser.epilog = (
        f"Up to {MOST_SIDE_BY_SIDE} scenarios stand side by side; --variant NAME puts that variant beside the scenario "
        "as written.\n--json and --out give the first one's run, as `beltspring run` does."
    )


def run(args: argparse.Namespace) -> int:
    """Open the window on the scenarios given."""
    from ..window.screen_there import has_screen

    if not args.scenario:
        raise UsageError(f"which scenario? Give a file, or a shipped one: {', '.join(shipped_names())}")
    if len(args.scenario) > MOST_SIDE_BY_SIDE:
        raise UsageError(f"{len(args.scenario)} scenarios: the window shows {MOST_SIDE_BY_SIDE} at most")
    scenarios = [load(args, name) for name in args.scenario]
    if args.variant is not None and len(scenarios) == 1:
        plain = argparse.Namespace(**{**vars(args), "variant": None})
        scenarios.insert(0, load(plain, args.scenario[0]))
    if not has_screen():
        raise InputError(
            "there is no screen here, so no window can be opened; "
            f"`beltspring run {args.scenario[0]} --out DIR` writes pictures instead"
        )
    return watch_scenarios(scenarios, args)


def watch_scenarios(scenarios: Sequence[Any], args: argparse.Namespace) -> int:
    """The window on scenarios that are loaded already."""
    from beltspring.sim import prepare
    from beltspring.sim import run as simulate

    from ..files.folder import OutFolder
    from ..files.summary import summary
    from ..terminal.console import Watcher
    from ..window.run import run_window

    ready = [prepare(scenario) for scenario in scenarios]
    with ExitStack() as stack:
        folder = stack.enter_context(OutFolder(args.out, args.replace)) if args.out else None
        with Watcher(args.quiet) as watch:
            reports = [simulate(one, watch) for one in ready]
        if folder is not None:
            write_results(reports[0], folder)
    notices(args, *(report.design.notices for report in reports), *(report.trace.notes for report in reports))
    if args.json:
        print_json(summary(reports[0]))
    run_window(reports)
    return 0


COMMAND = Command("watch", "open the window: the machine moves and rings on one clock", arguments, run)
