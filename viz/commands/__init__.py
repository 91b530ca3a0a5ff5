"""The commands, one small file each. A new one is a file with `COMMAND = Command(...)` and a line in COMMANDS.

A command that is not built is not listed. Modules here import the engine only when they run, so that help is instant.
"""

from . import (
    check,
    compare,
    film,
    fit,
    improve,
    keys,
    limits,
    measure,
    modes,
    new,
    order,
    page,
    parts,
    physics,
    run,
    search,
    show,
    spread,
    watch,
)
from .base import Command, Parser, UsageError, nearest

COMMANDS: tuple[Command, ...] = (
    new.COMMAND,
    run.COMMAND,
    watch.COMMAND,
    compare.COMMAND,
    improve.COMMAND,
    search.COMMAND,
    spread.COMMAND,
    modes.COMMAND,
    check.COMMAND,
    limits.COMMAND,
    measure.COMMAND,
    fit.COMMAND,
    order.COMMAND,
    page.COMMAND,
    film.COMMAND,
    show.COMMAND,
    keys.COMMAND,
    parts.COMMAND,
    physics.COMMAND,
)

__all__ = ["COMMANDS", "Command", "Parser", "UsageError", "nearest"]
