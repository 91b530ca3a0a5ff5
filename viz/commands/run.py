"""`beltspring run`: simulate the move, say what it means, and leave the results in a folder if asked to."""

from __future__ import annotations

import argparse
from contextlib import ExitStack
from pathlib import Path
from typing import Any

from .base import Command, Parser, add_common, add_scenario, load, notices, print_json


def arguments(parser: Parser) -> None:
    """The command's arguments."""
    add_scenario(parser)
    add_common(parser)
    parser.epilog = "--out writes trace.csv, summary.json, picture.png and the completed scenario.toml."


def run(args: argparse.Namespace) -> int:
    """Simulate one scenario. Exit code 0, 3 for a run that ended early, 130 for one that was interrupted."""
    return run_scenario(load(args), args)


def run_scenario(scenario: Any, args: argparse.Namespace) -> int:
    """`run` for a scenario that is loaded already."""
    from beltspring.sim.study.once import prepare, simulate_prepared

    from ..console import Watcher, show
    from ..output import OutFolder, summary
    from ..tables import run_summary

    ready = prepare(scenario)
    with ExitStack() as stack:
        folder = stack.enter_context(OutFolder(args.out, args.replace)) if args.out else None
        with Watcher(args.quiet) as watch:
            outcome = simulate_prepared(ready, watch)
        judged = summary(outcome)
        if folder is not None:
            write_results(outcome, judged, folder)
    notices(args, outcome.design.notices, getattr(outcome.plan, "notes", ()), outcome.trace.notes)
    if args.json:
        print_json(judged)
    elif not args.quiet:
        show(run_summary(outcome, judged, args.out))
    return exit_code(outcome)


def exit_code(outcome: Any) -> int:
    """0 for a whole run, 3 for one that ended early, 130 for one that a person interrupted. Lost steps are a result."""
    if outcome.trace.stopped_at_s is None:
        return 0
    return 130 if outcome.trace.ended.startswith("interrupted") else 3


def write_results(outcome: Any, judged: dict[str, Any], folder: Path) -> None:
    """Everything a run leaves behind."""
    from beltspring.sim.parts.completed import completed_toml

    from ..output import result_of, write_json, write_trace
    from ..picture import picture

    write_trace(outcome.trace, folder / "trace.csv")
    write_json(judged, folder / "summary.json")
    text = completed_toml(outcome.scenario, outcome.design)
    (folder / "scenario.toml").write_text(text, encoding="utf-8")
    picture(result_of(outcome), folder / "picture.png")


COMMAND = Command("run", "simulate the move and say what it means", arguments, run)
