"""The door of the command line: it opens before anything heavy is loaded, so that Ctrl-C is heard from the start."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence

# Our matrices are small: threads of the linear algebra library only get in each other's way. Set before numpy loads.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

INTERRUPTED = 130


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command. Returns the exit code: 0 done, 2 wrong input, 3 the run ended early, 130 interrupted."""
    try:
        from .dispatch import run_command

        return run_command(list(sys.argv[1:] if argv is None else argv))
    except KeyboardInterrupt:
        # Pressed while the program was still loading.
        if sys.stderr is not None:
            sys.stderr.write("interrupted\n")
        return INTERRUPTED
