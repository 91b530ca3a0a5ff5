"""Which command is meant, and how every kind of ending is told. The commands are in viz/commands."""

from __future__ import annotations

import errno
import os
import signal
import sys
import threading
from types import FrameType

from beltspring.sim import BeltspringError, InputError

from .commands import COMMANDS, Command, Parser, UsageError, nearest
from .files.interrupted import InterruptedWhole
from .terminal.console import let_go_of_output, settle_streams, tell

DONE, WRONG_INPUT, ENDED_EARLY, INTERRUPTED = 0, 2, 3, 130


def run_command(arguments: list[str]) -> int:
    """Run one command. Returns the exit code: 0 done, 2 wrong input, 3 the run ended early, 130 interrupted."""
    settle_streams()
    unraisable = sys.unraisablehook
    answered = _answer_interrupts()
    try:
        code = _dispatch(arguments)
        sys.stdout.flush()
        return code
    except InputError as error:
        tell(str(error))
        return WRONG_INPUT
    except BeltspringError as error:
        tell(str(error))
        return ENDED_EARLY
    except KeyboardInterrupt as pressed:
        if answered:
            signal.signal(signal.SIGINT, signal.SIG_IGN)  # once is enough; more would cut these words off
        tell(str(pressed) if isinstance(pressed, InterruptedWhole) else "interrupted")
        return INTERRUPTED
    except BrokenPipeError:
        # Whoever read our output has seen enough (`| head`).
        let_go_of_output()
        return DONE
    except OSError as error:
        let_go_of_output()
        tell(_what_failed(error))
        return WRONG_INPUT
    finally:
        if answered:
            # An alarm still to come would end the process when Python lets go of its answers, as if it had been killed.
            signal.signal(signal.SIGALRM, signal.SIG_IGN)
            signal.setitimer(signal.ITIMER_REAL, 0.0)
            signal.signal(signal.SIGINT, signal.default_int_handler)
            sys.unraisablehook = unraisable


#: While a module or machine code is loaded, an interrupt is tried again after so long, s.
AGAIN_S = 0.05
#: Where whatever is raised is caught and gone: initialisers of compiled modules, and calls back from the machine code's maker.
SWALLOWING = ("<frozen importlib", f"{os.sep}llvmlite{os.sep}")


def _answer_interrupts() -> bool:
    """Make Ctrl-C come again where what is raised is caught and the interrupt would be gone: while a module or machine code
    is loaded, and in what Python calls while it looks for rubbish.

    False, and nothing changed, where the system has no timer or somebody else answers.
    """
    here = threading.current_thread() is threading.main_thread()
    if (
        not here
        or not hasattr(signal, "setitimer")
        or signal.getsignal(signal.SIGINT) is not signal.default_int_handler
    ):
        return False
    signal.signal(signal.SIGALRM, lambda number, frame: signal.raise_signal(signal.SIGINT))
    signal.signal(signal.SIGINT, _interrupted)
    other = sys.unraisablehook

    def swallowed(what: sys.UnraisableHookArgs) -> None:
        # Python itself catches what is raised while it looks for rubbish and lets go of things, and says so with a traceback.
        if issubclass(what.exc_type, KeyboardInterrupt):
            signal.setitimer(signal.ITIMER_REAL, AGAIN_S)
        else:
            other(what)

    sys.unraisablehook = swallowed
    return True


def _interrupted(number: int, frame: FrameType | None) -> None:
    asked = frame
    while asked is not None:
        if any(part in asked.f_code.co_filename for part in SWALLOWING):
            signal.setitimer(signal.ITIMER_REAL, AGAIN_S)
            return
        asked = asked.f_back
    raise KeyboardInterrupt


setattr(_interrupted, "raises_interrupt", True)  # noqa: B010 (a function's own word, see simulate.interrupt)


def _what_failed(error: OSError) -> str:
    """A fault of the system in words; one without a file's name comes from writing to standard output."""
    where = str(error.filename) if error.filename else "standard output"
    hint = "; make room there, or write somewhere else" if error.errno in (errno.ENOSPC, errno.EDQUOT) else ""
    return f"{where}: {error.strerror or error}{hint}"


def _dispatch(arguments: list[str]) -> int:
    if not arguments:
        from .commands.bare import run_bare

        return run_bare()
    first, rest = arguments[0], arguments[1:]
    if first in ("-h", "--help", "help"):
        print(overview())
        return DONE
    if first == "--version":
        from importlib.metadata import version

        print(f"beltspring {version('beltspring')}")
        return DONE
    command = _command(first)
    parser = Parser(
        prog=f"beltspring {command.name}", description=f"{command.summary[:1].upper()}{command.summary[1:]}."
    )
    command.arguments(parser)
    known, extra = parser.parse_known_args(rest)
    if extra:
        raise UsageError(parser.complain(extra[0]))
    return command.run(known)


def _command(name: str) -> Command:
    found = {command.name: command for command in COMMANDS}
    if name in found:
        return found[name]
    if name.startswith("-"):
        raise UsageError(f"unknown option {name}: write a command first; `beltspring --help` lists them")
    near = nearest(name, list(found))
    if near:
        raise UsageError(f"unknown command {name!r}; did you mean {near}?")
    if name.endswith(".toml") or os.path.exists(name) or _is_shipped(name):
        raise UsageError(f"{name!r} is a scenario, not a command; did you mean `beltspring run {name}`?")
    raise UsageError(f"unknown command {name!r}; the commands are {', '.join(found)}")


def _is_shipped(name: str) -> bool:
    from beltspring.sim import shipped

    return any(shipped.name == name for shipped in shipped())


def overview() -> str:
    """What `beltspring --help` prints."""
    width = max(len(command.name) for command in COMMANDS)
    lines = [
        "beltspring: describe a belt-driven machine in one text file, watch its motors mix, see it ring.",
        "",
        "  beltspring                      open the window on a shipped scenario",
        "  beltspring COMMAND SCENARIO     SCENARIO is a file, or the name of a shipped one",
        "",
        *(f"  {command.name:<{width}}  {command.summary}" for command in COMMANDS),
        "",
        "Every command takes --set key=value, --json, --out DIR, --replace and --quiet; `beltspring COMMAND --help`",
        "says more. `beltspring show` lists the shipped scenarios.",
    ]
    return "\n".join(lines)
