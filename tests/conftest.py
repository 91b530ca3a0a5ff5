"""Settings every test shares."""

from __future__ import annotations

import copy
import os
import signal
from typing import Any

import pytest
from beltspring.sim import beside
from hypothesis import settings

from tests.tries import TIMES

# A landing must not hang on luck: properties try the same examples every time. Others, and many more, are tried by
# hand (`tests.tries`).
settings.register_profile("beltspring", derandomize=TIMES == 1, deadline=None)
settings.load_profile("beltspring")

# As the command line has it, before numpy loads: threads of the linear algebra library only get in each other's way.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

SMALL: dict[str, Any] = {
    "title": "Bench",
    "layout": "corexy",
    "space": {"x_mm": 180, "y_mm": 160, "z_mm": 150},
    "move": {"pattern": "square"},
}


@pytest.fixture
def small() -> dict[str, Any]:
    """The least a scenario must say, as a tree of its own."""
    return copy.deepcopy(SMALL)


def pytest_configure(config: pytest.Config) -> None:
    """Ctrl-C can be heard; compiled step loops go into pytest's own cache folder, apart from the person's own."""
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        # Started in the background of a shell: whoever is to be interrupted by a test must hear of it, children too.
        signal.signal(signal.SIGINT, signal.default_int_handler)
    # Tests that compile something in a folder of their own would each have all else made beside it, and ask for none of it.
    beside._processors = lambda: 1
    cache = getattr(config, "cache", None)
    if "BELTSPRING_CACHE" not in os.environ and cache is not None:
        folder = cache.mkdir("beltspring-kernels")
        folder.chmod(0o700)
        os.environ["BELTSPRING_CACHE"] = str(folder)
