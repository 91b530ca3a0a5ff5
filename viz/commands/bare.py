"""`beltspring` alone: the window on a shipped scenario, or without a screen a word about it and `run`."""

from __future__ import annotations

import argparse

from ..terminal.console import tell

FIRST = "desk-corexy"


def run_bare() -> int:
    """What to do without any argument."""
    from beltspring.sim import load

    from ..window.screen_there import has_screen
    from .run import run_scenario
    from .watch import watch_scenarios

    scenario = load(FIRST)
    plain = argparse.Namespace(json=False, out=None, replace=False, quiet=False, prices=None)
    if has_screen():
        return watch_scenarios([scenario], plain)
    tell(f"There is no screen here, so this is `beltspring run {FIRST}`; `beltspring --help` lists the commands.")
    return run_scenario(scenario, plain)
