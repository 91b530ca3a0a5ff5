"""`beltspring parts`: the catalogue, with a source for every number."""

from __future__ import annotations

import argparse

from beltspring.sim import InputError

from .base import Command, Parser, add_common, nearest, no_scenario, print_json


def arguments(parser: Parser) -> None:
    """The command's arguments."""
    parser.add_argument(
        "scenario", nargs="?", metavar="NAME",
        help="a kind of part (belts, motors, ...), a part, or a scenario whose parts are meant; all when left out",
    )  # fmt: skip
    add_common(parser)
    parser.epilog = "--out writes parts.json."


def run(args: argparse.Namespace) -> int:
    """List parts."""
    from beltspring.sim import catalogue_rows

    from ..files.folder import OutFolder
    from ..files.plain import write_json
    from ..terminal.console import show, wrote
    from ..terminal.tables import parts_tables

    chosen = [row for row in catalogue_rows() if _wanted(args, row.kind, row.part)]
    if args.scenario and not chosen:
        raise InputError(_unknown(args.scenario, [(row.kind, row.part) for row in catalogue_rows()]))
    entries = [
        {
            "kind": r.kind, "part": r.part, "description": r.description, "key": r.key, "value": r.value, "unit": r.unit,
            "band": list(r.band) if r.band else None, "mark": r.mark, "source": r.source, "why": r.why or None,
            "band_source": r.band_source or None,
        }
        for r in chosen
    ]  # fmt: skip
    if not getattr(args, "used", None):
        no_scenario(args, "parts", "it lists the catalogue; name a scenario to see the parts that it uses")
    if args.out:
        with OutFolder(args.out, args.replace) as folder:
            write_json(entries, folder / "parts.json")
    if args.json:
        print_json(entries)
    elif not args.quiet:
        show(*parts_tables(chosen))
        wrote(args.out, "parts.json")
    return 0


def _wanted(args: argparse.Namespace, kind: str, part: str) -> bool:
    if not args.scenario or args.scenario in (kind, part):
        return True
    return part in _parts_of_scenario(args)


def _parts_of_scenario(args: argparse.Namespace) -> set[str]:
    """The names of the parts a scenario uses; empty if there is no scenario of that name."""
    if not hasattr(args, "used"):
        args.used = set()
        from .base import load, shipped_names

        if args.scenario in shipped_names() or args.scenario.endswith(".toml"):
            from beltspring.sim import build_machine

            origins = build_machine(load(args)).design.origins
            args.used = {o.value for o in origins if isinstance(o.value, str)}
    used: set[str] = args.used
    return used


def _unknown(name: str, known: list[tuple[str, str]]) -> str:
    kinds = list(dict.fromkeys(kind for kind, _ in known))
    near = nearest(name, [*kinds, *dict.fromkeys(part for _, part in known)])
    hint = f"did you mean {near}?" if near else f"the kinds are {', '.join(kinds)}"
    return f"{name!r} is no kind of part, part or scenario; {hint}"


COMMAND = Command("parts", "list the catalogue, with the source of every number", arguments, run)
