"""`beltspring keys`: every key of a scenario with its unit, range, choices, default and meaning."""

from __future__ import annotations

import argparse
from typing import Any

from .base import Command, Parser, UsageError, add_common, no_scenario, print_json


def arguments(parser: Parser) -> None:
    """The command's arguments."""
    parser.add_argument("of", nargs="?", default="", metavar="TABLE|KEY", help="for example belts, or belts.part")
    parser.add_argument("--page", action="store_true", help="the file format as one page of Markdown")
    add_common(parser)
    parser.epilog = (
        "`beltspring show FILE KEY` says where the value of a key comes from and what it does. --out writes keys.json."
    )


def run(args: argparse.Namespace) -> int:
    """List keys."""
    from beltspring.sim import key_facts

    from ..files.folder import OutFolder
    from ..files.plain import write_json
    from ..terminal.console import show, wrote
    from ..terminal.keys import keys_tables

    no_scenario(args, "keys")
    if args.page:
        return _page(args)
    found = key_facts(args.of)
    entries = [key_entry(fact) for fact in found]
    if args.out:
        with OutFolder(args.out, args.replace) as folder:
            write_json(entries, folder / "keys.json")
    if args.json:
        print_json(entries)
    elif not args.quiet:
        show(*keys_tables(found))
        wrote(args.out, "keys.json")
    return 0


def _page(args: argparse.Namespace) -> int:
    from ..files.format_page import format_page
    from ..terminal.keys import if_left_out

    if args.json or args.out or args.of:
        raise UsageError("beltspring keys: --page prints the whole page; leave the rest out")
    print(format_page(if_left_out), end="")
    return 0


def key_entry(fact: Any) -> dict[str, Any]:
    """One key as JSON."""
    return {
        "key": fact.name,
        "table": ".".join(fact.path[:-1]),
        "meaning": fact.meaning,
        "unit": fact.unit,
        "low": fact.low,
        "high": fact.high,
        "choices": list(fact.choices),
        "default": fact.default,
        "required": fact.required,
        "otherwise": fact.instead,
        "for_each": fact.each,
        "full_only": fact.full_only,
    }


COMMAND = Command("keys", "every key of a scenario: meaning, unit, range, choices, default", arguments, run)
