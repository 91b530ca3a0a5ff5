"""`beltspring limits`: the highest acceleration and speed, per axis and for the scenario's own move, and what gives way."""

from __future__ import annotations

import argparse
import sys
from contextlib import ExitStack
from typing import Any

from .base import Command, Parser, UsageError, add_common, add_long, add_scenario, decimal, load, notices, print_json

MOVES = ("x", "y", "own")


def arguments(parser: Parser) -> None:
    """The command's arguments."""
    from beltspring.sim import SEEN_M, TORQUE_SHARE

    add_scenario(parser)
    parser.add_argument(
        "--ringing-um", type=decimal, default=1e6 * SEEN_M, metavar="UM",
        help=f"ringing allowed, µm (default {1e6 * SEEN_M:g}: such ripples are plain to see)",
    )  # fmt: skip
    parser.add_argument(
        "--torque-share", type=decimal, default=TORQUE_SHARE, metavar="SHARE",
        help=f"largest share of the torque there is at a speed, 0 to 1 (default {TORQUE_SHARE:g})",
    )  # fmt: skip
    parser.add_argument(
        "--move", action="append", choices=MOVES, default=[],
        help="look at this move only: a step along x or y, or the scenario's own; may be repeated",
    )  # fmt: skip
    add_long(parser)
    add_common(parser)
    parser.epilog = "--out writes limits.json, picture.png with the curves, and the completed scenario.toml."


def run(args: argparse.Namespace) -> int:
    """Find the limits."""
    from beltspring.sim import Criteria, build_machine, completed_toml, limits

    from ..files.folder import OutFolder
    from ..files.plain import write_json
    from ..terminal.console import show
    from ..terminal.limits import limits_entry, limits_page

    if not 0.1 <= args.ringing_um <= 10_000:
        raise UsageError(f"beltspring limits --ringing-um {args.ringing_um:g}: must be 0.1 to 10000")
    if not 0.05 <= args.torque_share <= 1.0:
        raise UsageError(f"beltspring limits --torque-share {args.torque_share:g}: must be 0.05 to 1")
    scenario = load(args)
    moves = tuple(args.move) or MOVES
    with ExitStack() as stack:
        folder = stack.enter_context(OutFolder(args.out, args.replace)) if args.out else None
        allowed = Criteria(args.ringing_um * 1e-6, args.torque_share)
        found = limits(scenario, allowed, moves, told=_teller(args.quiet), long=args.long)
        entry = limits_entry(found)
        design = build_machine(scenario).design
        if folder is not None:
            from ..pages.limits import limits_picture

            write_json(entry, folder / "limits.json")
            limits_picture(found, folder / "picture.png")
            (folder / "scenario.toml").write_text(completed_toml(scenario, design), encoding="utf-8")
    notices(args, design.notices)
    if args.json:
        print_json(entry)
    elif not args.quiet:
        show(limits_page(found, args.out))
    return 0


def _teller(quiet: bool) -> Any:
    """Says on a terminal's standard error what is being looked for; silent in a pipe and with --quiet."""
    if quiet or not sys.stderr.isatty():
        return None

    def tell_what(what: str) -> None:
        sys.stderr.write(f"\r\033[Klooking for the highest {what} ...")
        sys.stderr.flush()

    return tell_what


COMMAND = Command("limits", "how fast before it rings, skips or slackens, and what gives way first", arguments, run)
