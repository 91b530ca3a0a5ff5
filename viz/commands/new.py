"""`beltspring new`: a scenario to begin with, of any layout, that works as it stands."""

from __future__ import annotations

import argparse
from contextlib import ExitStack
from pathlib import Path
from typing import Any

from beltspring.sim import printable

from .base import Command, Parser, UsageError, add_common, number_of, print_json


def arguments(parser: Parser) -> None:
    """The command's arguments."""
    parser.add_argument("file", nargs="?", metavar="FILE", help="the scenario to write, for example mine.toml")
    parser.add_argument("--layout", metavar="L", default="corexy", help="corexy (if left out), hframe, box, ...")
    parser.add_argument("--space", metavar="X,Y,Z", help="reach of the nozzle in mm; 200,200,200 if left out")
    add_common(parser)
    parser.epilog = (
        "The file has what may be chosen beside each key. --set changes it before it is written; --replace\n"
        "lets it take the place of a file; with --out it is written there, as scenario.toml if FILE is left out."
    )


def run(args: argparse.Namespace) -> int:
    """Write the file, and say what `check` says of it."""
    from beltspring.sim import check, load, starter
    from beltspring.sim import sets as parse_sets

    from ..files.folder import OutFolder
    from ..files.single import put_file

    if args.variant is not None:
        raise UsageError(
            "beltspring new: --variant lays a variant over a scenario that is there; a new one has none yet"
        )
    if not args.file and not args.out:
        raise UsageError("beltspring new: which file? Write its name, for example `beltspring new mine.toml`")
    name = args.file or "scenario.toml"
    words = starter(args.layout, _space(args.space), _title(name), parse_sets(args.changes))
    with ExitStack() as stack:
        if args.out:
            path = stack.enter_context(OutFolder(args.out, args.replace)) / Path(name).name
            path.write_text(words, encoding="utf-8")
            told = Path(args.out) / path.name
        else:
            path = told = Path(name)
            put_file(path, words, args.replace, "mine.toml")
        scenario = load(path)
        found = check(scenario)
    counts: dict[str, Any] = {kind: sum(f.severity == kind for f in found.findings) for kind in ("stop", "warn")}
    if args.json:
        print_json({"file": str(told), "layout": scenario.layout, "stops": counts["stop"], "warnings": counts["warn"]})
    elif not args.quiet:
        # Commands to copy: no line is broken.
        print(printable("\n".join(_said(str(told), counts["stop"], counts["warn"]))))
    return 0


def _said(file: str, stops: int, warnings: int) -> list[str]:
    good = f"{_many(stops, 'thing')} would not work" if stops else "nothing stops it"
    warned = f"{_many(warnings, 'thing')} may disappoint" if warnings else "nothing to warn of"
    return [
        f"Written: {file}",
        f"Checked: {good}, {warned}.",
        "",
        "Open it in any editor; what may be chosen stands beside each key. Then",
        f"  beltspring check {file}    what will not work, and what to change",
        f"  beltspring run {file}      how it moves, and what rings",
        f"  beltspring compare {file}  it and its variants, under the same move",
        f"  beltspring order {file}    what to buy and how to cut it",
        f"  beltspring watch {file}    the same in a window",
        f"  beltspring page {file} --out page  one file to hand to others",
    ]


def _many(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def _space(words: str | None) -> tuple[float, float, float]:
    from beltspring.sim import USUAL_SPACE_MM

    if words is None:
        return USUAL_SPACE_MM
    parts = [part.strip() for part in words.replace("x", ",").split(",")]
    found = [number_of(part) for part in parts]
    if len(found) != 3 or any(value is None for value in found):
        raise UsageError(
            f"--space {words}: write three lengths in mm with commas between them, for example --space 200,200,180"
        )
    x, y, z = (float(value) for value in found if value is not None)
    return x, y, z


def _title(name: str) -> str:
    """A title from the file's name: "my-bench.toml" -> "My bench"."""
    words = Path(name).name.rpartition(".")[0].replace("-", " ").replace("_", " ").strip()
    good = words.isprintable() and 0 < len(words) <= 100 and words != "scenario"
    return words[0].upper() + words[1:] if good else "My machine"


COMMAND = Command("new", "write a scenario to begin with, with the choices beside each key", arguments, run)
