"""The door of the command line: it opens before anything heavy is loaded, so that Ctrl-C is heard from the start."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Sequence

# Our matrices are small: threads of the linear algebra library only get in each other's way. Set before numpy loads.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

INTERRUPTED = 130


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command. Returns the exit code: 0 done, 2 wrong input, 3 the run ended early, 130 interrupted."""
    if argv is not None:
        return _run(list(argv))
    code = _run(sys.argv[1:])
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
