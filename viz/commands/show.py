"""`beltspring show`: the completed scenario with where each value came from; without one, the shipped scenarios."""

from __future__ import annotations

import argparse
from typing import Any

from .base import Command, Parser, UsageError, add_common, add_scenario, load, notices, print_json


def arguments(parser: Parser) -> None:
    """The command's arguments."""
    add_scenario(parser, optional=True)
    parser.add_argument(
        "key", nargs="?", metavar="KEY", help="one key, for example belts.ea_n: whence, and what it does"
    )
    add_common(parser)
    parser.epilog = (
        "Without SCENARIO it lists the shipped ones. --out writes scenario.toml: what was written as values, what came\n"
        "from parts, defaults or computing as comments. With KEY it tries other values of that key."
    )


def run(args: argparse.Namespace) -> int:
    """Show one completed scenario, or the list of shipped ones."""
    from beltspring.sim import bands_by_key, build_machine, completed_toml, shipped

    from ..files.folder import OutFolder
    from ..terminal.console import show, wrote
    from ..terminal.tables import completed_table, shipped_table

    if not args.scenario and not args.changes and args.variant is None and not args.out:
        all_there = shipped()
        if args.json:
            print_json([{"name": s.name, "title": s.title, "variants": list(s.variants)} for s in all_there])
        elif not args.quiet:
            show(shipped_table(all_there))
        return 0
    scenario = load(args)
    if args.key is not None:
        return _one_key(args, scenario)
    machine = build_machine(scenario)
    design, bands = machine.design, bands_by_key(machine)
    if args.out:
        with OutFolder(args.out, args.replace) as folder:
            (folder / "scenario.toml").write_text(completed_toml(scenario, design), encoding="utf-8")
    notices(args, design.notices)
    if args.json:
        values = [
            {"key": o.key, "value": o.value, "band": bands.get(o.key), "origin": o.origin, "note": o.note}
            for o in design.origins
        ]
        print_json({"title": design.title, "values": values})
    elif not args.quiet:
        show(completed_table(design, bands))
        wrote(args.out, "scenario.toml")
    return 0


def _one_key(args: argparse.Namespace, scenario: Any) -> int:
    from beltspring.sim import effect

    from ..terminal.console import show
    from ..terminal.keys import effect_page

    if args.out:
        raise UsageError("beltspring show: --out writes the whole file; leave KEY out, or use --json")
    found = effect(scenario, args.key)
    if args.json:
        print_json(
            {
                "key": found.fact.name,
                "meaning": found.fact.meaning,
                "value": found.origin.value,
                "unit": found.fact.unit,
                "band": found.band,
                "origin": found.origin.origin,
                "note": found.origin.note,
                "words": found.words,
                "others": [{"value": other.value, "changes": list(other.changes)} for other in found.others],
            }
        )
    elif not args.quiet:
        show(*effect_page(found))
    return 0


COMMAND = Command("show", "print the completed scenario and where each value came from", arguments, run)
