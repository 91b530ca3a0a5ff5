"""Every error a person can meet, in one tree.

    BeltspringError
     +-- InputError        what the person wrote is wrong: exit code 2, nothing was written
     |    +-- ScenarioError    a key or a value in a scenario file, a variant or --set
     |    +-- PartError        the parts catalogue
     |    +-- MachineError     the description is well formed but is no machine that can move
     |    +-- ProgramError     a motion program (G-code), with line and column
     +-- RunError          a simulation that could not go on: exit code 3

A message names the file, the key, the value, what is allowed and the way on.
"""

from collections.abc import Mapping


class BeltspringError(Exception):
    """Base of all errors that are told to a person without a traceback."""


class InputError(BeltspringError):
    """What the person wrote is wrong; the message says where, and what would be right."""


class ScenarioError(InputError):
    """A key or a value of a scenario.

    problems: one finished sentence a problem, each naming file, key, value and the way on.
    """

    def __init__(self, problems: list[str]) -> None:
        self.problems = list(problems)
        super().__init__("\n".join(self.problems))


class PartError(InputError):
    """A part in the catalogue is missing, or lacks what every part must have."""


class MachineError(InputError):
    """A scenario that reads well but describes no machine that can work.

    remedy: settings, dotted keys in file units, with which it can be built; empty where a person must choose.
    """

    def __init__(self, message: str, remedy: Mapping[str, object] | None = None) -> None:
        self.remedy = dict(remedy or {})
        super().__init__(message)


class ProgramError(InputError):
    """A motion program that cannot be followed; the message names line, column, text and remedy."""


class RunError(BeltspringError):
    """A simulation that could not go on; the message names the time, the reason and what to change."""
