"""`beltspring watch`: the window, on one scenario or on several side by side."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import Any

from beltspring.sim import InputError

from .base import (
    Command,
    Parser,
    UsageError,
    add_common,
    add_prices,
    add_scenario,
    load,
    notices,
    print_json,
    shipped_names,
)
from .run import write_results

MOST_SIDE_BY_SIDE = 3


def arguments(parser: Parser) -> None:
    """The command's arguments."""
    add_scenario(parser, many=True)
    add_prices(parser)
    add_common(parser)
    parser.epilog = (
        f"Up to {MOST_SIDE_BY_SIDE} scenarios stand side by side; --variant NAME puts that variant beside the scenario "
        "as written. --prices tells in Compare what each design costs.\n"
        "--json and --out give the first one's run, as `beltspring run` does."
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
    from ..window.watched import watched

    def again(name: str, given: argparse.Namespace) -> Callable[[], Any]:
        return lambda: load(given, name)

    plain = argparse.Namespace(**{**vars(args), "variant": None})
    names = [args.scenario[0]] * len(scenarios) if len(args.scenario) < len(scenarios) else args.scenario
    # The first of two made from one file is the file as written.
    given = [plain if len(args.scenario) < len(scenarios) and k == 0 else args for k in range(len(scenarios))]
    files = [watched(Path(n), again(n, g), s) for n, g, s in zip(names, given, scenarios, strict=True)]
    return watch_scenarios(scenarios, args, files)


def watch_scenarios(scenarios: Sequence[Any], args: argparse.Namespace, files: Sequence[Any] = ()) -> int:
    """The window on scenarios that are loaded already. files: where each came from, watched."""
    from beltspring.sim import load_prices, prepare
    from beltspring.sim import run as simulate

    from ..files.folder import OutFolder
    from ..files.summary import summary
    from ..terminal.console import Watcher
    from ..window.run import run_window

    prices = load_prices(args.prices) if args.prices else None
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
    run_window(reports, files=files, prices=prices)
    return 0


COMMAND = Command("watch", "open the window: the machine moves and rings on one clock", arguments, run)
