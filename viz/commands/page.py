"""`beltspring page`: a design as one HTML file to hand to others; it opens without a network, on a phone too."""

from __future__ import annotations

import argparse

from .base import (
    Command,
    Parser,
    UsageError,
    add_common,
    add_long,
    add_prices,
    add_scenario,
    load,
    notices,
    print_json,
)
from .run import exit_code
from .spread import add_draws, draws_wanted, teller


def arguments(parser: Parser) -> None:
    """The command's arguments."""
    add_scenario(parser)
    parser.add_argument("--compare", action="store_true", help="with the scenario's variants beside it")
    parser.add_argument(
        "--spread", action="store_true",
        help="with --compare: build every design as 128 machines and show how far they spread",
    )  # fmt: skip
    add_draws(parser)
    add_long(parser)
    add_prices(parser)
    add_common(parser)
    parser.epilog = "--out is needed: it writes page.html, at most 2 MB, and the completed scenario.toml."


def run(args: argparse.Namespace) -> int:
    """Simulate, compare where asked, and write the page."""
    from beltspring.sim import (
        build_machine,
        compare,
        completed_toml,
        designs,
        load_prices,
        order,
        prepare,
        spread_comparison,
    )
    from beltspring.sim import run as simulate

    from ..files.folder import OutFolder
    from ..html.page import page
    from ..terminal.console import Watcher, wrote

    if not args.out:
        raise UsageError("beltspring page: where to? Add --out DIR, for example --out my-page")
    drawn = draws_wanted(args, "page")
    if (drawn or args.spread) and not (args.spread and args.compare):
        raise UsageError("beltspring page: --spread goes with --compare, --draws and --seed with --spread; add it")
    scenario = load(args)
    prices = load_prices(args.prices) if args.prices else None
    tried = designs(scenario) if args.compare else []
    wanted = [one for one in tried if one.ready is not None]
    ready = [one.ready for one in wanted if one.ready is not None] or [prepare(scenario)]
    with OutFolder(args.out, args.replace) as folder:
        with Watcher(args.quiet) as watch:
            reports = []
            for one in ready:
                reports.append(simulate(one, watch))
                if exit_code(reports[-1]) == 130:
                    raise KeyboardInterrupt
        comparison = compare([one.label for one in wanted], reports, prices, tried) if wanted else None
        first, best = reports[0], 0
        if comparison is not None:
            first, best = comparison.reports[0], comparison.best or 0
        spreading = None
        if comparison is not None and args.spread:
            spreading = spread_comparison(comparison, teller(args.quiet), None, long=args.long, command="page", **drawn)
        made = order(reports[best].machine, prices)
        text = page(first, made, comparison, comparison.labels[best] if comparison is not None else "", spreading)
        (folder / "page.html").write_text(text, encoding="utf-8")
        (folder / "scenario.toml").write_text(
            completed_toml(scenario, build_machine(scenario).design), encoding="utf-8"
        )
    notices(args, *(r.design.notices for r in reports))
    if args.json:
        print_json({"file": f"{args.out}/page.html", "bytes": len(text.encode("utf-8"))})
    elif not args.quiet:
        wrote(args.out, "page.html", "scenario.toml")
    return max(exit_code(report) for report in reports)


COMMAND = Command("page", "one HTML file to hand to others: it plays, without a network", arguments, run)
