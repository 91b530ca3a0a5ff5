"""`beltspring fit`: bring the model in line with what was measured on the machine that was built."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from contextlib import ExitStack

from .base import Command, Parser, UsageError, add_common, add_scenario, load, notices, print_json

REFUSED, INTERRUPTED = 1, 130


def arguments(parser: Parser) -> None:
    """The command's arguments."""
    add_scenario(parser)
    parser.add_argument(
        "--measured",
        metavar="FILE",
        help="what was measured, a TOML file; `beltspring measure SCENARIO --out DIR` writes one to fill in",
    )
    parser.add_argument(
        "--free", action="append", default=[], metavar="KEY",
        help="let the fit change this number too, though the file has it without a [band]; may be repeated",
    )  # fmt: skip
    add_common(parser)
    parser.epilog = (
        "--out writes fitted.toml (the scenario with what was learned and how sure that is), report.txt, picture.png, fit.json\n"
        "and curves.json; the window opens that folder, too. Where the model cannot make what was measured there is no\n"
        "fitted.toml, and the exit code is 1."
    )


def run(args: argparse.Namespace) -> int:
    """Fit one scenario."""
    from beltspring.sim import fit, read_measured

    from ..files.fit import fit_entry, write_fit
    from ..files.folder import OutFolder
    from ..terminal.console import show
    from ..terminal.fit import fit_page

    if not args.measured:
        raise UsageError(
            "beltspring fit: what was measured? Give --measured FILE; `beltspring measure` writes one to fill in"
        )
    scenario = load(args)
    measured = read_measured(args.measured)
    with ExitStack() as stack:
        folder = stack.enter_context(OutFolder(args.out, args.replace)) if args.out else None
        found = fit(scenario, measured, args.free, _teller(args.quiet))
        if folder is not None:
            from ..pages.fit import fit_picture

            write_fit(found, folder)
            fit_picture(found, folder / "picture.png")
    notices(args, scenario.notices)
    if args.json:
        print_json(fit_entry(found))
    elif not args.quiet:
        show(fit_page(found, args.out))
    return INTERRUPTED if found.interrupted else 0 if found.explains else REFUSED


def _teller(quiet: bool) -> Callable[[int, int, int, float], None] | None:
    """Says on a terminal's standard error how the search goes; silent in a pipe and with --quiet."""
    if quiet or not sys.stderr.isatty():
        return None

    def tell_how_far(start: int, starts: int, steps: int, chi2: float) -> None:
        left = f"; what is left of the worst record is {chi2**0.5:.1f} times what is allowed" if chi2 else ""
        sys.stderr.write(f"\r\033[Kstart {start} of at most {starts}, step {steps}{left}")
        sys.stderr.flush()

    return tell_how_far


COMMAND = Command("fit", "bring the model in line with what was measured on the built machine", arguments, run)
