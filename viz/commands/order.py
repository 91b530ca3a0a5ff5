"""`beltspring order`: what to buy and cut, with masses, bars and, from the person's own price file, prices."""

from __future__ import annotations

import argparse
import io
import sys
from contextlib import ExitStack
from pathlib import Path
from typing import Any

from .base import Command, Parser, UsageError, add_common, add_prices, add_scenario, load, notices, print_json

NEW = "new"  # what --prices takes in place of a file to write the form


def arguments(parser: Parser) -> None:
    """The command's arguments."""
    add_scenario(parser)
    add_prices(parser)
    parser.add_argument("--csv", action="store_true", help="print CSV instead of tables")
    add_common(parser)
    parser.epilog = (
        "No prices come with the program: --prices new writes the form for this machine, --prices example takes\n"
        "invented ones. What is not modelled (controller, supply) goes under [extra] of the price file; with\n"
        "[budget] money in the scenario it says what is over and which cheaper part would do.\n"
        "--out writes order.txt, order.csv, order.json, build.svg (one A4 page: frame, cut list, belts) and scenario.toml."
    )


def run(args: argparse.Namespace) -> int:
    """The order list."""
    from beltspring.sim import build_machine, completed_toml, load_prices, order, spent
    from rich.console import Console

    from ..files.folder import OutFolder
    from ..files.plain import write_json
    from ..svg.build import build_sheet
    from ..terminal.console import show
    from ..terminal.order import order_csv, order_entry, order_page

    if args.csv and args.json:
        raise UsageError("beltspring order: give --csv or --json, not both; --out writes all forms")
    scenario = load(args)
    machine = build_machine(scenario)
    if args.prices == NEW and not Path(NEW).exists():
        return _form(args, order(machine))
    prices = load_prices(args.prices) if args.prices else None
    made = order(machine, prices)
    budget = spent(scenario, machine, made, prices)
    entry, rows = order_entry(made, budget), order_csv(made)
    with ExitStack() as stack:
        if args.out:
            folder = stack.enter_context(OutFolder(args.out, args.replace))
            page = Console(file=io.StringIO(), width=100, highlight=False)
            page.print(order_page(made, None, budget))
            assert isinstance(page.file, io.StringIO)
            (folder / "order.txt").write_text(page.file.getvalue(), encoding="utf-8")
            (folder / "order.csv").write_text(rows, encoding="utf-8")
            write_json(entry, folder / "order.json")
            (folder / "build.svg").write_text(build_sheet(machine), encoding="utf-8")
            (folder / "scenario.toml").write_text(completed_toml(scenario, machine.design), encoding="utf-8")
    notices(args, machine.design.notices)
    if args.json:
        print_json(entry)
    elif args.csv:
        sys.stdout.write(rows)
    elif not args.quiet:
        show(order_page(made, args.out, budget))
    return 0


def _form(args: argparse.Namespace, made: Any) -> int:
    """The price file to fill in, on standard output or as prices.toml in the folder."""
    from beltspring.sim import price_form, printable

    from ..files.folder import OutFolder
    from ..terminal.console import wrote

    text = price_form(made)
    if args.json or args.csv:
        raise UsageError("beltspring order: --prices new writes a price file; leave --json and --csv out")
    if args.out:
        with OutFolder(args.out, args.replace) as folder:
            (folder / "prices.toml").write_text(text, encoding="utf-8")
        if not args.quiet:
            wrote(args.out, "prices.toml")
    else:
        print(printable(text), end="")
    return 0


COMMAND = Command("order", "what to buy and cut: lengths, counts, mass, prices of your own", arguments, run)
