"""`beltspring spread`: how far the answers spread because numbers are uncertain, and which one to measure first."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from contextlib import ExitStack
from typing import Any

from .base import Command, Parser, UsageError, add_common, add_long, add_scenario, load, notices, print_json

LEAST_DRAWS, MOST_DRAWS = 16, 4096


def arguments(parser: Parser) -> None:
    """The command's arguments."""
    add_scenario(parser)
    add_draws(parser)
    add_long(parser)
    add_common(parser)
    parser.epilog = "--out writes spread.json and the completed scenario.toml."


def add_draws(parser: Parser) -> None:
    """How many machines are drawn."""
    parser.add_argument(
        "--draws", type=int, metavar="N", help=f"machines to draw, {LEAST_DRAWS} to {MOST_DRAWS} (default 128)"
    )
    parser.add_argument(
        "--seed", type=int, metavar="N", help="which draws (default 1): the same seed, the same machines"
    )


def draws_wanted(args: argparse.Namespace, command: str) -> dict[str, Any]:
    """How many machines and which, as far as somebody said so. Raises UsageError."""
    if args.draws is not None and not LEAST_DRAWS <= args.draws <= MOST_DRAWS:
        raise UsageError(f"beltspring {command} --draws {args.draws}: must be {LEAST_DRAWS} to {MOST_DRAWS}")
    if args.seed is not None and not 0 <= args.seed < 2**31:
        raise UsageError(f"beltspring {command} --seed {args.seed}: must be 0 or more, below 2147483648")
    return {name: value for name, value in (("count", args.draws), ("seed", args.seed)) if value is not None}


def teller(quiet: bool) -> Callable[[int, int], None] | None:
    """Says on a terminal's standard error how far the runs are; silent in a pipe and with --quiet."""
    if quiet or not sys.stderr.isatty():
        return None

    def tell_how_far(done: int, whole: int) -> None:
        sys.stderr.write(f"\r\033[K{100 * done // whole} % of the machines' runs" if done < whole else "\r\033[K")
        sys.stderr.flush()

    return tell_how_far


def run(args: argparse.Namespace) -> int:
    """Spread one design."""
    from beltspring.sim import completed_toml, prepare, spread

    from ..files.folder import OutFolder
    from ..files.plain import clean, write_json
    from ..files.spread import spread_entry
    from ..terminal.console import show
    from ..terminal.spread import spread_page

    wanted = draws_wanted(args, "spread")
    scenario = load(args)
    ready = prepare(scenario)
    design = ready.design
    with ExitStack() as stack:
        folder = stack.enter_context(OutFolder(args.out, args.replace)) if args.out else None
        found = spread(scenario, **wanted, told=teller(args.quiet), long=args.long)
        entry = clean(
            {
                "title": design.title,
                "layout": design.layout,
                "detail": design.detail,
                "move": ready.plan.description,
                "reading": found.sentences,
                "spread": spread_entry(found),
            }
        )
        if folder is not None:
            write_json(entry, folder / "spread.json")
            (folder / "scenario.toml").write_text(completed_toml(scenario, design), encoding="utf-8")
    notices(args, design.notices)
    if args.json:
        print_json(entry)
    elif not args.quiet:
        show(spread_page(ready.machine, ready.plan.description, found, args.out))
    return 0


COMMAND = Command(
    "spread", "how far answers spread because numbers are uncertain, and which to measure first", arguments, run
)
