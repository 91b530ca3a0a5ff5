"""`beltspring compare`: the variants of a scenario, or one key at several values, under the same move."""

from __future__ import annotations

import argparse
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Any

from .base import Command, Parser, UsageError, add_common, add_scenario, load, notices, print_json
from .run import exit_code
from .spread import add_draws, draws_wanted, teller

if TYPE_CHECKING:
    from beltspring.sim import Comparison, Report, Scenario, Spreading

MOST_PICTURED = 3


def arguments(parser: Parser) -> None:
    """The command's arguments."""
    add_scenario(parser)
    parser.add_argument(
        "--vary", action="append", default=[], metavar="KEY=V1,V2,V3",
        help="compare these values of one key instead of the variants; repeated, every combination",
    )  # fmt: skip
    parser.add_argument(
        "--spread", action="store_true",
        help="build every design as 128 machines, with its uncertain numbers drawn, and say how sure the verdict is",
    )  # fmt: skip
    add_draws(parser)
    add_common(parser)
    parser.epilog = (
        "--out writes compare.json and an overlaid picture.png"
        f" (of the first {MOST_PICTURED} designs) beside the completed scenario.toml."
    )


def run(args: argparse.Namespace) -> int:
    """Compare designs."""
    from beltspring.sim import compare, designs, prepare, spread_comparison
    from beltspring.sim import run as simulate

    from ..files.folder import OutFolder
    from ..terminal.compare import compare_table
    from ..terminal.console import Watcher, show

    drawn = draws_wanted(args, "compare")
    if drawn and not args.spread:
        raise UsageError("beltspring compare: --draws and --seed are for --spread; add it")
    scenario = load(args)
    wanted = designs(scenario, args.vary)
    ready = [prepare(design.scenario) for design in wanted]
    with ExitStack() as stack:
        folder = stack.enter_context(OutFolder(args.out, args.replace)) if args.out else None
        reports: list[Report] = []
        with Watcher(args.quiet) as watch:
            for one in ready:
                reports.append(simulate(one, watch))
                if exit_code(reports[-1]) == 130:
                    raise KeyboardInterrupt
        comparison = compare([d.label for d in wanted], reports)
        spreading = spread_comparison(comparison, teller(args.quiet), None, **drawn) if args.spread else None
        if folder is not None:
            _write(scenario, comparison, spreading, folder)
    notices(args, *(r.design.notices for r in reports), *(r.trace.notes for r in reports))
    if args.json:
        print_json(compare_entry(comparison, spreading))
    elif not args.quiet:
        show(compare_table(comparison, args.out, not args.vary, spreading))
    return max(exit_code(report) for report in reports)


def compare_entry(comparison: Comparison, spreading: Spreading | None = None) -> dict[str, Any]:
    """A comparison as JSON: what differs, the reading, and for each design what `run --json` gives.

    spreading: the designs as the machines they may turn out to be; None where nobody asked for it.
    """
    from ..files.plain import clean
    from ..files.spread import better_entries, spread_entry
    from ..files.summary import judged_entry, summary

    first = comparison.reports[0]
    result: dict[str, Any] = clean(
        {
            "title": first.design.title,
            "move": first.plan.description,
            "differs": [{"key": d.key, "values": list(d.values)} for d in comparison.differences],
            "reading": list(comparison.sentences),
            "best": None if comparison.best is None else comparison.labels[comparison.best],
            "verdict": None if spreading is None else spreading.verdict,
            "sure": None if spreading is None else spreading.sure,
            "of_draws": None if spreading is None or spreading.pair is None else spreading.pair.less,
            "spread": None
            if spreading is None
            else spread_entry(spreading.spreads[0], better_entries(comparison.labels, spreading.pairs)),
            "designs": [
                {
                    "name": comparison.labels[i],
                    **judged_entry(comparison.judged[i]),
                    "stiffness_n_per_mm": dict(zip("xy", map(_per_mm, comparison.stiffness_n_m[i]), strict=True)),
                    **({} if spreading is None else {"spread": spread_entry(spreading.spreads[i])}),
                    "run": summary(comparison.reports[i]),
                }
                for i in comparison.order
            ],
        }
    )
    return result


def _per_mm(value: float | None) -> float | None:
    return None if value is None else value / 1e3


def _write(scenario: Scenario, comparison: Comparison, spreading: Spreading | None, folder: Path) -> None:
    from beltspring.sim import build_machine, completed_toml

    from ..files.plain import write_json
    from ..pages.compare import compare_picture

    write_json(compare_entry(comparison, spreading), folder / "compare.json")
    text = completed_toml(scenario, build_machine(scenario).design)
    (folder / "scenario.toml").write_text(text, encoding="utf-8")
    compare_picture(
        comparison.reports[:MOST_PICTURED], folder / "picture.png", labels=comparison.labels[:MOST_PICTURED]
    )


COMMAND = Command("compare", "variants, or one key at several values, under the same move", arguments, run)
