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
    parser.add_argument(
        "--long", action="store_true", help="run it although it takes more than ten minutes, or two gigabytes"
    )
    parser.epilog = (
        "--out writes trace.csv, summary.json, picture.png and the completed scenario.toml; for a motion program also\n"
        "ripples.png and ripples.json. Ctrl-C ends a long run early: what was simulated up to there is kept and says so."
    )


def run(args: argparse.Namespace) -> int:
    """Simulate one scenario. Exit code 0, 3 for a run that ended early, 130 for one that was interrupted."""
    return run_scenario(load(args), args)


def run_scenario(scenario: Any, args: argparse.Namespace) -> int:
    """`run` for a scenario that is loaded already."""
    from beltspring.sim.chain.burden import refuse
    from beltspring.sim.chain.chain import burden_of, prepare, simulate_prepared, thinned
    from beltspring.sim.chain.judged import judge_outcome
    from beltspring.sim.plan.build import MotionPlan

    from ..files.folder import OutFolder
    from ..files.summary import summary
    from ..terminal.console import Watcher, show
    from ..terminal.run import run_summary

    ready = prepare(scenario)
    with ExitStack() as stack:
        folder = stack.enter_context(OutFolder(args.out, args.replace)) if args.out else None
        file = stack.enter_context(_trace_file(ready, folder)) if folder is not None and thinned(ready) else None
        long = bool(getattr(args, "long", False))
        asks = burden_of(ready, folder is not None)
        if not long:
            refuse(asks)
        elif asks.too_much:
            notices(args, [f"this takes {asks.words}; Ctrl-C ends it early and keeps what there is"])
        with Watcher(args.quiet) as watch:
            outcome = simulate_prepared(ready, watch, watchers=(file.add,) if file is not None else (), long=True)
        verdict = judge_outcome(outcome)
        judged = summary(outcome, verdict)
        if folder is not None:
            write_results(outcome, judged, folder, trace_too=file is None)
    plan = outcome.plan
    said = plan.notes if args.json and isinstance(plan, MotionPlan) else ()
    notices(args, outcome.design.notices, said, outcome.trace.notes)
    if args.json:
        print_json(judged)
    elif not args.quiet:
        show(run_summary(outcome, judged, args.out, verdict))
        show_what_stops(outcome)
    return exit_code(outcome)


def show_what_stops(outcome: Any) -> None:
    """One line when a rule of `check` stops the design."""
    from beltspring.sim.check.check import check
    from rich.text import Text

    from ..terminal.console import show

    line = check(outcome.scenario, outcome).stop_line
    if line is not None:
        show(Text(), Text(line, style="bold red"))


def exit_code(outcome: Any) -> int:
    """0 for a whole run, 3 for one that ended early, 130 for one that a person interrupted. Lost steps are a result."""
    if outcome.trace.stopped_at_s is None:
        return 0
    return 130 if outcome.trace.ended.startswith("interrupted") else 3


def _trace_file(ready: Any, folder: Path) -> Any:
    """trace.csv of a long job, written while it is simulated: only some of its rows stay in memory."""
    from beltspring.sim.scenario.motion import move_spec

    from ..files.trace import TraceFile, columns_of

    move = move_spec(ready.scenario)
    columns = columns_of([m.name for m in ready.system.motors], [(r.belt, r.name) for r in ready.system.runs])
    return TraceFile(folder / "trace.csv", columns, move.line_width_m if move.program is not None else None)


def write_results(outcome: Any, judged: dict[str, Any], folder: Path, trace_too: bool = True) -> None:
    """Everything a run leaves behind. trace_too: False where trace.csv was written on the way."""
    from beltspring.sim.parts.completed import completed_toml

    from ..files.plain import write_json
    from ..files.summary import result_of, ripples_json
    from ..files.trace import write_trace
    from ..pages.run import picture

    if trace_too:
        write_trace(outcome.trace, folder / "trace.csv")
    write_json(judged, folder / "summary.json")
    text = completed_toml(outcome.scenario, outcome.design)
    (folder / "scenario.toml").write_text(text, encoding="utf-8")
    picture(result_of(outcome), folder / "picture.png")
    if outcome.analysis.ripples is not None:
        from ..pages.ripples import ripple_picture

        write_json(ripples_json(outcome), folder / "ripples.json")
        ripple_picture(result_of(outcome), outcome.place_causes, folder / "ripples.png")


COMMAND = Command("run", "simulate the move and say what it means", arguments, run)
