"""What all commands share: their record, the options every one takes, and errors that suggest the nearest spelling."""

from __future__ import annotations

import argparse
import difflib
import json
import math
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, NoReturn

from beltspring.sim import InputError, comma_words, printable

from ..terminal.console import tell


class UsageError(InputError):
    """The command line itself is wrong."""


def nearest(name: str, among: Sequence[str]) -> str | None:
    """The nearest spelling, None if none is near."""
    found = difflib.get_close_matches(name, among, n=1, cutoff=0.6)
    return found[0] if found else None


class Parser(argparse.ArgumentParser):
    """An argument parser that raises instead of leaving, and suggests instead of listing."""

    def __init__(self, **settings: Any) -> None:
        super().__init__(allow_abbrev=False, formatter_class=argparse.RawDescriptionHelpFormatter, **settings)

    def error(self, message: str) -> NoReturn:
        raise UsageError(f"{self.prog}: {message}")

    def complain(self, extra: str) -> str:
        """What to say about an argument that nothing takes."""
        if not extra.startswith("-"):
            return f"{self.prog}: unexpected {extra!r}; `{self.prog} --help` says what it takes"
        name = extra.partition("=")[0]
        options = [o for action in self._actions for o in action.option_strings]
        near = nearest(name, options)
        hint = f"did you mean {near}?" if near else f"it takes {', '.join(o for o in options if o.startswith('--'))}"
        return f"{self.prog}: unknown option {name}; {hint}"


@dataclass(frozen=True)
class Command:
    """name, summary: as `beltspring --help` lists them.  arguments: adds its own to a parser.  run: returns the exit
    code."""

    name: str
    summary: str
    arguments: Callable[[Parser], None]
    run: Callable[[argparse.Namespace], int]


def add_scenario(parser: Parser, many: bool = False, optional: bool = False) -> None:
    """The scenario a command works on."""
    nargs = "*" if many else "?"
    text = "a scenario file, or the name of a shipped scenario (`beltspring show` lists them)"
    parser.add_argument(
        "scenario", nargs=nargs, metavar="SCENARIO", help=text + ("" if not optional else "; may be left out")
    )


def add_long(parser: Parser) -> None:
    """The word that a job of hours is meant."""
    parser.add_argument(
        "--long", action="store_true", help="do it although it takes more than ten minutes, or two gigabytes"
    )


def add_common(parser: Parser) -> None:
    """The options every command takes."""
    parser.add_argument(
        "--set", action="append", default=[], metavar="KEY=VALUE", dest="changes",
        help="change one value, for example belts.pretension_n=25; may be repeated",
    )  # fmt: skip
    parser.add_argument("--variant", metavar="NAME", help="lay one of the scenario's variants over it")
    parser.add_argument("--json", action="store_true", help="print JSON instead of tables")
    parser.add_argument("--out", metavar="DIR", type=_folder, help="write the results into a new folder")
    parser.add_argument("--replace", action="store_true", help="let --out replace the results that are there")
    parser.add_argument("--quiet", action="store_true", help="print nothing but errors (and JSON if asked for)")


def add_prices(parser: Parser) -> None:
    """The person's own price file."""
    parser.add_argument("--prices", metavar="FILE", help='your own price file (TOML); "example": invented prices')


def _folder(name: str) -> str:
    if not name.strip():
        raise argparse.ArgumentTypeError('"" is no name of a folder; write one, for example --out results')
    return name


def no_scenario(args: argparse.Namespace, command: str, why: str = "it reads no scenario") -> None:
    """Refuse what only changes a scenario, where a command reads none."""
    given = [f"--set {args.changes[0]}"] if args.changes else []
    given += [f"--variant {args.variant}"] if args.variant is not None else []
    if given:
        raise UsageError(f"beltspring {command}: {given[0]} has nothing to change here, {why}; leave it out")


def number_of(words: str) -> float | None:
    """A finite number a person typed; None where it is none."""
    try:
        value = float(words)
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def decimal(words: str) -> float:
    """A number of an option, for argparse; a decimal comma gets its own words."""
    value = number_of(words)
    if value is None:
        raise argparse.ArgumentTypeError(comma_words(words) or f"{words!r} is no number")
    return value


def load(args: argparse.Namespace, name: str | None = None) -> Any:
    """The scenario a command was given, its variant and changes laid over it. Raises InputError."""
    from beltspring.sim import load as load_scenario

    source = name or args.scenario
    if not source:
        raise UsageError(f"which scenario? Give a file, or a shipped one: {', '.join(shipped_names())}")
    return load_scenario(source, args.changes, args.variant)


def shipped_names() -> list[str]:
    """Names of the scenarios that come with the program."""
    from beltspring.sim import shipped

    return [one.name for one in shipped()]


def print_json(value: Any) -> None:
    """A value as JSON on standard output; letters are escaped where the terminal has none of them."""
    unicode = (sys.stdout.encoding or "").lower().replace("-", "") == "utf8"
    print(printable(json.dumps(value, indent=2, ensure_ascii=not unicode, allow_nan=False)))


def notices(args: argparse.Namespace, *groups: Sequence[str]) -> None:
    """Things a person should know about the input, on standard error, each once."""
    if not args.quiet:
        for text in dict.fromkeys(text for group in groups for text in group):
            tell(f"note: {text}")
