"""`beltspring film`: a screen of the window as a moving picture, drawn off screen."""

from __future__ import annotations

import argparse
import sys
from contextlib import ExitStack
from pathlib import Path
from typing import Any

from beltspring.sim import InputError, comma_words, reason_of

from .base import (
    Command,
    Parser,
    UsageError,
    add_common,
    add_scenario,
    decimal,
    load,
    notices,
    print_json,
    shipped_names,
)

SCREENS = ("ringing", "mixing", "moves", "compare", "print")
MOST_SIDE_BY_SIDE = 3
LONGEST_S = 300.0


def arguments(parser: Parser) -> None:
    """The command's arguments."""
    add_scenario(parser, many=True)
    add_common(parser)
    parser.add_argument("--screen", choices=SCREENS, default="ringing", help="what is filmed (ringing if left out)")
    parser.add_argument(
        "--file", metavar="FILE", default="film.mp4", help="film.mp4 or film.gif; with --out inside DIR"
    )
    parser.add_argument(
        "--speed",
        metavar="N",
        default="1/10",
        help="share of real speed: 1, 1/10 (if left out), 1/100; slower at corners",
    )
    parser.add_argument("--from-ms", metavar="MS", type=decimal, default=0.0, help="where the film begins")
    parser.add_argument("--to-ms", metavar="MS", type=decimal, help="where it ends; the end of the move if left out")
    parser.add_argument(
        "--corner",
        metavar="N",
        type=int,
        help="only corner N (from 1) of `ringing`, `compare` or `print`, over and over",
    )
    parser.add_argument("--theme", choices=("dark", "light"), default="dark")
    parser.epilog = (
        "Needs the extra `video`: pip install 'beltspring[video]'. Several scenarios stand side by side on `compare`."
    )


def run(args: argparse.Namespace) -> int:
    """Simulate, draw every frame, encode. Stopping it leaves nothing behind."""
    from beltspring.sim import run as simulate

    from ..files.folder import FULL, OutFolder
    from ..files.movie import need_encoder
    from ..film import film_jobs

    if not args.scenario:
        raise UsageError(f"which scenario? Give a file, or a shipped one: {', '.join(shipped_names())}")
    if len(args.scenario) > MOST_SIDE_BY_SIDE:
        raise UsageError(f"{len(args.scenario)} scenarios: a film shows {MOST_SIDE_BY_SIDE} at most")
    need_encoder(Path(args.file).suffix.lower())
    speed = _speed(args.speed)
    scenarios = [load(args, name) for name in args.scenario]
    with ExitStack() as stack:
        path = _place(args, stack, OutFolder)
        reports = [simulate(scenario) for scenario in scenarios]
        _check_times(args, float(reports[0].trace.t_s[-1]), speed)
        job = film_jobs(
            reports, path, screen=args.screen, speed=speed, theme=args.theme,
            begin_s=args.from_ms / 1e3, end_s=None if args.to_ms is None else args.to_ms / 1e3, corner=args.corner,
        )  # fmt: skip
        _check_length(job)
        try:
            _make(job, args.quiet)
        except OSError as error:
            # Encoders write to an open file and tell no name; the place is what the person knows.
            full = error.errno in FULL
            hint = "make room there, or choose a place on another disk" if full else "choose another place"
            raise InputError(f"{args.file}: cannot be written ({reason_of(error)}); {hint}") from None
        finally:
            job.app.close()
    notices(args, *(report.design.notices for report in reports))
    where = Path(args.out) / path.name if args.out else path
    told = {"file": str(where), "frames": job.total, "frames_per_s": job.plan.frames_s, "size": list(job.plan.size)}
    if args.json:
        print_json(told)
    elif not args.quiet:
        print(
            f"{where}: {job.total} frames, {job.total / job.plan.frames_s:.1f} s, {job.plan.size[0]} x {job.plan.size[1]}"
        )
    return 0


def _speed(words: str) -> float:
    """ "1/10" or "0.1"; above 0, at most 1."""
    top, _, bottom = words.partition("/")
    try:
        value = float(top) / float(bottom or 1)
    except (ValueError, ZeroDivisionError):
        value = 0.0
    if not 1e-3 <= value <= 1:
        if comma := comma_words(words):
            raise UsageError(f"--speed {words}: {comma}")
        raise UsageError(f"--speed {words}: write a share of real speed from 1/1000 to 1, for example 1/10")
    return value


def _place(args: argparse.Namespace, stack: ExitStack, folder: Any) -> Path:
    if args.out:
        place: Path = stack.enter_context(folder(args.out, args.replace)).growing(Path(args.file).name)
        return place
    path = Path(args.file)
    if path.exists() and not args.replace:
        raise InputError(f"--file {path}: there is a file of that name; choose another, or add --replace")
    if not path.parent.is_dir():
        raise InputError(f"--file {path}: there is no folder {path.parent}")
    return path


def _check_times(args: argparse.Namespace, end_s: float, speed: float) -> None:
    if args.screen in ("mixing", "moves"):
        return
    begin_s, stop_s = args.from_ms / 1e3, end_s if args.to_ms is None else args.to_ms / 1e3
    if not 0 <= begin_s < min(stop_s, end_s):
        raise UsageError(
            f"--from-ms {args.from_ms:g}: must be from 0 to before the end, {1e3 * min(stop_s, end_s):.0f} ms"
        )


def _check_length(job: Any) -> None:
    """Refuse what would be drawn for an hour. Nothing is left behind."""
    if job.total / job.plan.frames_s > LONGEST_S:
        job.cancel()
        job.app.close()
        raise UsageError(
            f"that film would last over {LONGEST_S:.0f} s; choose a higher --speed, or a part with --from-ms and --to-ms"
        )


def _make(job: Any, quiet: bool) -> None:
    show = not quiet and sys.stderr.isatty()
    try:
        while job.step():
            if show and job.done % 10 == 0:
                print(f"\rframe {job.done} of {job.total}", end="", file=sys.stderr, flush=True)
    except BaseException:
        job.cancel()
        raise
    finally:
        if show:
            print("\r" + " " * 40 + "\r", end="", file=sys.stderr, flush=True)


COMMAND = Command("film", "a screen of the window as MP4 or GIF", arguments, run)
