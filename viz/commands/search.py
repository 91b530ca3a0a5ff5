"""`beltspring search`: many designs judged, checked and priced; those that none other beats."""

from __future__ import annotations

import argparse
import io
import os
import sys
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

from .base import Command, Parser, UsageError, add_common, add_long, add_prices, add_scenario, load, notices, print_json

if TYPE_CHECKING:
    from beltspring.sim import Scenario, Searched

    from ..files.folder import Folder

NONE_FOUND, INTERRUPTED = 1, 130
MOST_WORKERS = 256


def arguments(parser: Parser) -> None:
    """The command's arguments."""
    add_scenario(parser)
    parser.add_argument(
        "--vary", action="append", default=[], metavar="KEY=V1,V2|LOW..HIGH",
        help="what may vary: values of a key, or a range (33 steps); repeated; layout=corexy,hframe,box too",
    )  # fmt: skip
    parser.add_argument(
        "--least", action="append", default=[], metavar="ANSWER,...",
        help="what to make least: judged_um, path_rms_um, price, job_s, mass_g (default judged_um, and price with --prices)",
    )  # fmt: skip
    parser.add_argument(
        "--keep", action="append", default=[], metavar='"ANSWER<LIMIT"', help="what must be kept; repeated"
    )
    add_prices(parser)
    parser.add_argument(
        "--tries", type=int, metavar="N", help="designs to judge (default 200); a smaller space is judged whole"
    )
    parser.add_argument("--seed", type=int, metavar="N", help="which designs are tried (default 1)")
    parser.add_argument(
        "--workers", type=int, metavar="N", help="threads that share the work (default: one a processor)"
    )
    parser.add_argument(
        "--cluster", metavar="ADDRESS", help="a dask scheduler's address, or local:N; needs the extra `cluster`"
    )
    parser.add_argument("--store", metavar="FILE", help="keep every result there; the same search goes on from it")
    add_long(parser)
    add_common(parser)
    parser.epilog = (
        "The file may say it in [search]: vary, least, keep, tries, seed. Never kept: stops of check, lost steps, slack belts.\n"
        "--out writes search.json, table.csv, front.png, report.txt, and winners/N.toml that every command opens.\n"
        "Ctrl-C ends it with what is judged; with --store it goes on later. Exit code 1: no design keeps the rules."
    )


def run(args: argparse.Namespace) -> int:
    """Search."""
    from beltspring.sim import SearchHands, SearchStore, load_prices, search, search_wanted

    from ..files.folder import OutFolder
    from ..files.search import search_entry
    from ..terminal.console import show
    from ..terminal.search import search_page, search_teller

    _refuse(args)
    scenario = load(args)
    prices = load_prices(args.prices) if args.prices else None
    wanted = search_wanted(scenario, args.vary, args.least, args.keep, prices is not None, args.tries, args.seed)
    with ExitStack() as stack:
        folder = stack.enter_context(OutFolder(args.out, args.replace)) if args.out else None
        store = stack.enter_context(SearchStore(Path(args.store))) if args.store else None
        hands = stack.enter_context(SearchHands(_workers(args, wanted.judged), args.cluster or ""))
        teller = search_teller(args.quiet)
        found = search(
            scenario, wanted.space, wanted.goals, prices, wanted.tries, wanted.seed, store, hands, args.long, teller
        )
        if not found.complete:
            hands.close(at_once=True)
        if teller is not None:
            sys.stderr.write("\r\033[K")
        if folder is not None:
            _write(found, scenario, args.scenario, folder)
    assert found.first.ready is not None
    notices(args, found.first.ready.design.notices)
    if args.json:
        print_json(search_entry(found))
    elif not args.quiet:
        show(search_page(found, args.out, args.scenario))
    return INTERRUPTED if not found.complete else 0 if found.front else NONE_FOUND


def _refuse(args: argparse.Namespace) -> None:
    if args.workers is not None and not 1 <= args.workers <= MOST_WORKERS:
        raise UsageError(f"beltspring search --workers {args.workers}: must be 1 to {MOST_WORKERS}")
    if args.workers is not None and args.cluster:
        raise UsageError("beltspring search: --workers are threads of this machine, --cluster brings its own; give one")
    if args.seed is not None and not 0 <= args.seed < 2**31:
        raise UsageError(f"beltspring search --seed {args.seed}: must be 0 or more, below 2147483648")


def _workers(args: argparse.Namespace, designs: int) -> int:
    """As asked, else one a processor."""
    if args.workers is not None or args.cluster:
        return int(args.workers or 1)
    return max(1, min(os.cpu_count() or 1, 8, designs))


def _write(found: Searched, scenario: Scenario, name: str, folder: Folder) -> None:
    from beltspring.sim import build_machine, completed_toml, with_changes
    from rich.console import Console

    from ..files.plain import write_json
    from ..files.search import search_csv, search_entry
    from ..pages.search import search_picture
    from ..terminal.search import search_page

    write_json(search_entry(found), folder / "search.json")
    (folder / "table.csv").write_text(search_csv(found), encoding="utf-8")
    assert found.first.ready is not None
    (folder / "scenario.toml").write_text(completed_toml(scenario, found.first.ready.design), encoding="utf-8")
    text = io.StringIO()
    Console(file=text, width=100, color_system=None).print(search_page(found, None, name))
    (folder / "report.txt").write_text(text.getvalue(), encoding="utf-8")
    search_picture(found, folder / "front.png")
    winners = folder / "winners"
    winners.mkdir()
    for number, one in enumerate(found.front, 1):
        changed = with_changes(scenario, one.settings, "search")
        (winners / f"{number}.toml").write_text(
            completed_toml(changed, build_machine(changed).design), encoding="utf-8"
        )


COMMAND = Command("search", "the best designs for a budget: many judged, checked and priced", arguments, run)
