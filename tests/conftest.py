"""Settings every test shares."""

from __future__ import annotations

import os

import pytest


def pytest_configure(config: pytest.Config) -> None:
    """Compiled step loops go into pytest's own cache folder: kept from run to run, apart from the person's own."""
    cache = getattr(config, "cache", None)
    if "BELTSPRING_CACHE" not in os.environ and cache is not None:
        folder = cache.mkdir("beltspring-kernels")
        folder.chmod(0o700)
        os.environ["BELTSPRING_CACHE"] = str(folder)
