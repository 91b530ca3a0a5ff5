"""`beltspring run`: simulate the move, say what it means, and leave the results in a folder if asked to."""

from __future__ import annotations

import argparse
from contextlib import ExitStack
from typing import TYPE_CHECKING, Any

from .base import Command, Parser, add_common, add_long, add_scenario, load, notices, print_json

if TYPE_CHECKING:
    from beltspring.sim import Prepared, Report

    from ..files.folder import Folder, OutFolder


def arguments(parser: Parser) -> None:
    """The command's arguments."""
    add_scenario(parser)
    add_long(parser)
    add_common(parser)
    parser.epilog = (
        "--out writes trace.csv, summary.json, picture.png and the completed scenario.toml; for a motion program also\n"
        "ripples.png and ripples.json. Ctrl-C ends a long run early: what was simulated up to there is kept and says so."
    )


def run(args: argparse.Namespace) -> int:
    """Simulate one scenario. Exit code 0, 3 for a run that ended early, 130 for one that was interrupted."""
    return run_scenario(load(args), args)


def run_scenario(scenario: Any, args: argparse.Namespace) -> int:
    """`run` for a scenario that is loaded already."""
    from beltspring.sim import prepare
    from beltspring.sim import run as simulate

    from ..files.folder import OutFolder
    from ..files.summary import summary
    from ..terminal.console import Watcher, show
    from ..terminal.run import run_summary

    ready = prepare(scenario)
    with ExitStack() as stack:
        folder = stack.enter_context(OutFolder(args.out, args.replace)) if args.out else None
        file = stack.enter_context(_trace_file(ready, folder)) if folder is not None and ready.thinned else None
        long = bool(getattr(args, "long", False))
        asks = ready.burden(folder is not None)
        if not long:
            asks.refuse()
        elif asks.too_much:
            notices(args, [f"this takes {asks.words}; Ctrl-C ends it early and keeps what there is"])
        with Watcher(args.quiet) as watch:
            report = simulate(ready, watch, watchers=(file.add,) if file is not None else (), long=True)
        if folder is not None:
            write_results(report, folder, trace_too=file is None)
    said = report.plan.notes if args.json else ()
    notices(args, report.design.notices, said, report.trace.notes)
    if args.json:
        print_json(summary(report))
    elif not args.quiet:
        show(run_summary(report, args.out))
        show_what_stops(report)
    return exit_code(report)


def show_what_stops(report: Report) -> None:
    """One line when a rule of `check` stops the design."""
    from rich.text import Text

    from ..terminal.console import show

    line = report.findings.stop_line
    if line is not None:
        show(Text(), Text(line, style="bold red"))


def exit_code(report: Report) -> int:
    """0 for a whole run, 3 for one that ended early, 130 for one that a person interrupted. Lost steps are a result."""
    from beltspring.sim import Ending

    if report.trace.ending is Ending.COMPLETE:
        return 0
    return 130 if report.trace.ending is Ending.INTERRUPTED else 3


def _trace_file(ready: Prepared, folder: OutFolder) -> Any:
    """trace.csv of a long job, written while it is simulated: only some of its rows stay in memory."""
    from ..files.trace import TraceFile, columns_of

    columns = columns_of([m.name for m in ready.system.motors], [(r.belt, r.name) for r in ready.system.runs])
    return TraceFile(folder.growing("trace.csv"), columns, ready.laid_width_m)


def write_results(report: Report, folder: Folder, trace_too: bool = True) -> None:
    """Everything a run leaves behind. trace_too: False where trace.csv was written on the way."""
    from ..files.plain import write_json
    from ..files.summary import ripples_json, summary
    from ..files.trace import write_trace
    from ..pages.run import picture

    if trace_too:
        write_trace(report.trace, folder / "trace.csv")
    write_json(summary(report), folder / "summary.json")
    (folder / "scenario.toml").write_text(report.completed_toml, encoding="utf-8")
    picture(report, folder / "picture.png")
    if report.analysis.ripples is not None:
        from ..pages.ripples import ripple_picture

        write_json(ripples_json(report), folder / "ripples.json")
        ripple_picture(report, folder / "ripples.png")


COMMAND = Command("run", "simulate the move and say what it means", arguments, run)
