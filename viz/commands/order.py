"""`beltspring order`: what to buy and cut, with masses, bars and, from the person's own price file, prices."""

from __future__ import annotations

import argparse
import io
import sys
from contextlib import ExitStack

from .base import Command, Parser, UsageError, add_common, add_prices, add_scenario, load, notices, print_json


def arguments(parser: Parser) -> None:
    """The command's arguments."""
    add_scenario(parser)
    add_prices(parser)
    parser.add_argument("--csv", action="store_true", help="print CSV instead of tables")
    add_common(parser)
    parser.epilog = (
        "No prices come with the program; the example's are invented.\n"
        "--out writes order.txt, order.csv, order.json and the completed scenario.toml."
    )


def run(args: argparse.Namespace) -> int:
    """The order list."""
    from beltspring.sim import build_machine, completed_toml, order
    from rich.console import Console

    from ..files.folder import OutFolder
    from ..files.plain import write_json
    from ..terminal.console import show
    from ..terminal.order import order_csv, order_entry, order_page

    if args.csv and args.json:
        raise UsageError("beltspring order: give --csv or --json, not both; --out writes all forms")
    scenario = load(args)
    machine = build_machine(scenario)
    made = order(machine, args.prices or None)
    entry, rows = order_entry(made), order_csv(made)
    with ExitStack() as stack:
        if args.out:
            folder = stack.enter_context(OutFolder(args.out, args.replace))
            page = Console(file=io.StringIO(), width=100, highlight=False)
            page.print(order_page(made, None))
            assert isinstance(page.file, io.StringIO)
            (folder / "order.txt").write_text(page.file.getvalue(), encoding="utf-8")
            (folder / "order.csv").write_text(rows, encoding="utf-8")
            write_json(entry, folder / "order.json")
            (folder / "scenario.toml").write_text(completed_toml(scenario, machine.design), encoding="utf-8")
    notices(args, machine.design.notices)
    if args.json:
        print_json(entry)
    elif args.csv:
        sys.stdout.write(rows)
    elif not args.quiet:
        show(order_page(made, args.out))
    return 0


COMMAND = Command("order", "what to buy and cut: lengths, counts, mass, prices of your own", arguments, run)
