"""`beltspring physics`: the equations, frames and assumptions of the model."""

from __future__ import annotations

import argparse

from .base import Command, Parser, add_common, no_scenario, print_json


def arguments(parser: Parser) -> None:
    """The command's arguments."""
    parser.add_argument("about", nargs="?", default="", metavar="WORD", help="only sections that hold this word")
    add_common(parser)
    parser.epilog = "--out writes physics.md."


def run(args: argparse.Namespace) -> int:
    """Print the page, or some of its sections."""
    from beltspring.sim import physics, printable

    from ..files.folder import OutFolder
    from ..terminal.console import wrote

    no_scenario(args, "physics")
    text = physics(args.about)
    if args.out:
        with OutFolder(args.out, args.replace) as folder:
            (folder / "physics.md").write_text(text, encoding="utf-8")
    if args.json:
        print_json({"text": text})
    elif args.out and not args.quiet:
        wrote(args.out, "physics.md")
    elif not args.quiet:
        print(printable(text))
    return 0


COMMAND = Command("physics", "the equations of the model, its frames and assumptions", arguments, run)
