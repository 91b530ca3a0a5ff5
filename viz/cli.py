"""The door of the command line: it opens before anything heavy is loaded, so that Ctrl-C is heard from the start."""

from __future__ import annotations

import contextlib
import gc
import os
import sys
from collections.abc import Sequence

# Our matrices are small: threads of the linear algebra library only get in each other's way. Set before numpy loads.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

INTERRUPTED = 130
#: Loading and one run leave some 140 000 objects that live on. Python looks through them for rubbish again and again, from
#: 700 on, which is a quarter of a short command: so it looks only from here on, and then as ever, but no more at those.
OBJECTS_BEFORE_RUBBISH = 200_000


def look_late() -> None:
    """Let Python look for rubbish only where a command goes on for long enough to leave some; for a process of its own."""
    own = gc.get_threshold()

    def begin(phase: str, info: object) -> None:
        if phase == "stop":
            gc.callbacks.remove(begin)
            gc.freeze()
            gc.set_threshold(*own)

    gc.callbacks.append(begin)
    gc.set_threshold(OBJECTS_BEFORE_RUBBISH, *own[1:])


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command. argv: None: the process's own, which then ends.

    Returns the exit code: 0 done, 2 wrong input, 3 the run ended early, 130 interrupted.
    """
    if argv is not None:
        return _run(list(argv))
    look_late()
    code = _run(sys.argv[1:])
    gc.freeze()  # nor is it looked for at the very end
    _ends_with(code)
    return code


def _run(arguments: list[str]) -> int:
    try:
        from .dispatch import run_command

        return run_command(arguments)
    except KeyboardInterrupt:
        # Pressed while the program was still loading.
        if sys.stderr is not None:
            sys.stderr.write("interrupted\n")
        return INTERRUPTED


def _ends_with(code: int) -> None:
    """How the process ends is decided. Ctrl-C ends it at once while threads are waited for, and is ignored while Python lets
    go of everything: there it would kill the process, whose results are whole."""
    import atexit
    import signal

    with contextlib.suppress(ValueError):  # not the main thread, which alone is told of signals
        signal.signal(signal.SIGINT, lambda number, frame: os._exit(code))
        atexit.register(signal.signal, signal.SIGINT, signal.SIG_IGN)
