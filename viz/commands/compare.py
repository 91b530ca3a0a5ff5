"""`beltspring compare`: variants of a scenario, keys at several values, or several files, under the same move."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Any

from .base import Command, Parser, UsageError, add_common, add_long, add_prices, add_scenario, load, notices, print_json
from .run import exit_code
from .spread import add_draws, draws_wanted, teller

if TYPE_CHECKING:
    from beltspring.sim import Comparison, Report, Scenario, Spreading

    from ..files.folder import Folder

MOST_PICTURED = 3


def arguments(parser: Parser) -> None:
    """The command's arguments."""
    add_scenario(parser, many=True)
    parser.add_argument(
        "--vary", action="append", default=[], metavar="KEY=V1,V2,V3",
        help="compare these values of one key instead of the variants; repeated, every combination; the first choice of "
        "all: --vary layout=corexy,hframe,box,moving-bed",
    )  # fmt: skip
    add_prices(parser)
    parser.add_argument(
        "--spread", action="store_true",
        help="build every design as 128 machines, with its uncertain numbers drawn, and say how sure the verdict is",
    )  # fmt: skip
    add_draws(parser)
    add_long(parser)
    parser.add_argument(
        "--all", action="store_true", help="every design, not the ten best, and the rest of the numbers"
    )
    parser.add_argument("--csv", metavar="FILE", help="write the designs as CSV as well, a row each")
    add_common(parser)
    parser.epilog = (
        "Several files stand side by side, all under the first one's move: beltspring compare A.toml B.toml\n"
        "--out writes compare.json, compare.png with every design, picture.png with the best"
        f" {MOST_PICTURED}, and scenario.toml. Ctrl-C ends it early and keeps what is finished."
    )


def run(args: argparse.Namespace) -> int:
    """Compare designs. Exit code 0, 3 where a run ended early, 130 where it was interrupted."""
    from beltspring.sim import compare, designs, load_prices, spread_comparison

    from ..files.compare import compare_csv, compare_entry
    from ..files.folder import OutFolder
    from ..files.single import put_file, refuse_taken
    from ..terminal.compare import compare_table
    from ..terminal.console import show

    drawn = draws_wanted(args, "compare")
    if drawn and not args.spread:
        raise UsageError("beltspring compare: --draws and --seed are for --spread; add it")
    if args.csv:
        refuse_taken(Path(args.csv), args.replace, "designs.csv")
    prices = load_prices(args.prices) if args.prices else None
    scenario, *others = [load(args, name) for name in args.scenario or [""]]
    tried = designs(scenario, args.vary, others)
    standing = [one for one in tried if one.ready is not None]
    with ExitStack() as stack:
        folder = stack.enter_context(OutFolder(args.out, args.replace)) if args.out else None
        reports = _run_all(standing, args.quiet)
        complete = len(reports) == len(standing)
        comparison = compare([one.label for one in standing[: len(reports)]], reports, prices, tried)
        spreading = None
        if args.spread and complete:
            try:
                spreading = spread_comparison(comparison, teller(args.quiet), None, long=args.long, **drawn)
            except KeyboardInterrupt:
                complete = False
        entry = {**compare_entry(comparison, spreading), "complete": complete}
        if folder is not None:
            _write(scenario, comparison, entry, spreading, folder)
        if args.csv:
            put_file(Path(args.csv), compare_csv(comparison, spreading), args.replace, "designs.csv")
    notices(args, *(r.design.notices for r in reports[:1]), *(r.trace.notes for r in reports))
    if not complete:
        notices(args, [f"ended early: {len(reports)} of {len(standing)} designs were run{NOT_SURE * args.spread}"])
    if args.json:
        print_json(entry)
    elif not args.quiet:
        written = [f"{args.out}: compare.json, compare.png, picture.png, scenario.toml"] if args.out else []
        written += [args.csv] if args.csv else []
        show(compare_table(comparison, "; ".join(written), not args.vary and not others, spreading, args.all))
    return max(exit_code(report) for report in reports) if complete else 130


NOT_SURE = ", and nothing says how sure that is"


def _run_all(standing: Sequence[Any], quiet: bool) -> list[Report]:
    """The designs' own moves, as far as nobody interrupts. Raises KeyboardInterrupt where not even one is whole."""
    from beltspring.sim import run as simulate

    from ..terminal.console import Watcher

    reports: list[Report] = []
    try:
        with Watcher(quiet) as watch:
            for one in standing:
                report = simulate(one.ready, watch)
                if exit_code(report) == 130:
                    raise KeyboardInterrupt
                reports.append(report)
    except KeyboardInterrupt:
        if not reports:
            raise
    return reports


def _write(
    scenario: Scenario, comparison: Comparison, entry: dict[str, Any], spreading: Spreading | None, folder: Folder
) -> None:
    from beltspring.sim import build_machine, completed_toml

    from ..files.plain import write_json
    from ..pages.compare import compare_picture
    from ..pages.ranges import ranges_picture

    write_json(entry, folder / "compare.json")
    text = completed_toml(scenario, build_machine(scenario).design)
    (folder / "scenario.toml").write_text(text, encoding="utf-8")
    best = comparison.order[:MOST_PICTURED]
    compare_picture(
        [comparison.reports[i] for i in best], folder / "picture.png", labels=[comparison.labels[i] for i in best]
    )
    ranges_picture(comparison, folder / "compare.png", spreading)


COMMAND = Command(
    "compare", "layouts, variants, a key at several values, or files, under the same move", arguments, run
)
