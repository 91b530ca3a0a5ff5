"""`beltspring compare`: the variants of a scenario, or one key at several values, under the same move."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Any

from .base import Command, Parser, add_common, add_scenario, load, notices, print_json
from .run import exit_code

if TYPE_CHECKING:
    from beltspring.sim import Comparison, Report, Scenario

MOST_PICTURED = 3


def arguments(parser: Parser) -> None:
    """The command's arguments."""
    add_scenario(parser)
    parser.add_argument(
        "--vary", action="append", default=[], metavar="KEY=V1,V2,V3",
        help="compare these values of one key instead of the variants; repeated, every combination",
    )  # fmt: skip
    add_common(parser)
    parser.epilog = (
        "--out writes compare.json and an overlaid picture.png"
        f" (of the first {MOST_PICTURED} designs) beside the completed scenario.toml."
    )


def run(args: argparse.Namespace) -> int:
    """Compare designs."""
    from beltspring.sim import compare, designs, prepare
    from beltspring.sim import run as simulate

    from ..files.folder import OutFolder
    from ..terminal.compare import compare_table
    from ..terminal.console import Watcher, show

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
        comparison = compare([d.label for d in wanted], [r.outcome for r in reports])
        reports = [r.judged_as(judged) for r, judged in zip(reports, comparison.judged, strict=True)]
        if folder is not None:
            _write(scenario, comparison, reports, folder)
    notices(args, *(r.design.notices for r in reports), *(r.trace.notes for r in reports))
    if args.json:
        print_json(compare_entry(comparison, reports))
    elif not args.quiet:
        show(compare_table(comparison, args.out, explain=not args.vary))
    return max(exit_code(report) for report in reports)


def compare_entry(comparison: Comparison, reports: Sequence[Report]) -> dict[str, Any]:
    """A comparison as JSON: what differs, the reading, and for each design what `run --json` gives."""
    from ..files.plain import clean
    from ..files.summary import judged_entry, summary

    first = reports[0]
    result: dict[str, Any] = clean(
        {
            "title": first.design.title,
            "move": first.plan.description,
            "differs": [{"key": d.key, "values": list(d.values)} for d in comparison.differences],
            "reading": list(comparison.sentences),
            "best": None if comparison.best is None else comparison.labels[comparison.best],
            "designs": [
                {
                    "name": comparison.labels[i],
                    **judged_entry(comparison.judged[i]),
                    "stiffness_n_per_mm": dict(zip("xy", map(_per_mm, comparison.stiffness_n_m[i]), strict=True)),
                    "run": summary(reports[i]),
                }
                for i in comparison.order
            ],
        }
    )
    return result


def _per_mm(value: float | None) -> float | None:
    return None if value is None else value / 1e3


def _write(scenario: Scenario, comparison: Comparison, reports: Sequence[Report], folder: Path) -> None:
    from beltspring.sim import build_machine, completed_toml

    from ..files.plain import write_json
    from ..pages.compare import compare_picture

    write_json(compare_entry(comparison, reports), folder / "compare.json")
    text = completed_toml(scenario, build_machine(scenario).design)
    (folder / "scenario.toml").write_text(text, encoding="utf-8")
    compare_picture(reports[:MOST_PICTURED], folder / "picture.png", labels=comparison.labels[:MOST_PICTURED])


COMMAND = Command("compare", "variants, or one key at several values, under the same move", arguments, run)
