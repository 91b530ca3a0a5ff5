"""`beltspring improve`: what to change, best first: parts one at a time, two and three together, each checked and priced."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from contextlib import ExitStack

from .base import Command, Parser, UsageError, add_common, add_long, add_prices, add_scenario, load, notices, print_json
from .spread import add_draws, draws_wanted


def arguments(parser: Parser) -> None:
    """The command's arguments."""
    add_scenario(parser)
    add_prices(parser)
    parser.add_argument(
        "--spread", action="store_true",
        help="build the best changes as 128 machines, with their uncertain numbers drawn, and say how sure each is",
    )  # fmt: skip
    add_draws(parser)
    add_long(parser)
    add_common(parser)
    parser.epilog = (
        "Every change is simulated at thirteen speeds near the design's own, and asked of check.\n"
        "--out writes improve.json and the completed scenario.toml. Ctrl-C ends it early and keeps what is finished."
    )


def run(args: argparse.Namespace) -> int:
    """Find what to change. Exit code 0, or 130 where it was interrupted."""
    from beltspring.sim import completed_toml, improve, load_prices

    from ..files.folder import OutFolder
    from ..files.improve import improve_entry
    from ..files.plain import write_json
    from ..terminal.console import show
    from ..terminal.improve import improve_page

    drawn = draws_wanted(args, "improve")
    if drawn and not args.spread:
        raise UsageError("beltspring improve: --draws and --seed are for --spread; add it")
    scenario = load(args)
    prices = load_prices(args.prices) if args.prices else None
    draws = drawn.get("count", 128) if args.spread else None
    with ExitStack() as stack:
        folder = stack.enter_context(OutFolder(args.out, args.replace)) if args.out else None
        found = improve(scenario, prices, draws, drawn.get("seed", 1), args.long, _teller(args.quiet))
        entry = improve_entry(found)
        assert found.first.ready is not None
        design = found.first.ready.design
        if folder is not None:
            write_json(entry, folder / "improve.json")
            (folder / "scenario.toml").write_text(completed_toml(scenario, design), encoding="utf-8")
    notices(args, design.notices)
    if args.json:
        print_json(entry)
    elif not args.quiet:
        show(improve_page(found, args.scenario, args.out))
    return 0 if found.complete else 130


def _teller(quiet: bool) -> Callable[[str, int, int], None] | None:
    """Says on a terminal's standard error which change is tried; silent in a pipe and with --quiet."""
    if quiet or not sys.stderr.isatty():
        return None

    def tell_what(what: str, done: int, whole: int) -> None:
        sys.stderr.write(f"\r\033[K{done} of {whole}: {what[:60]}" if done < whole else "\r\033[K")
        sys.stderr.flush()

    return tell_what


COMMAND = Command("improve", "what to change, best first: each change simulated, checked and priced", arguments, run)
