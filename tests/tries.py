"""How many examples the properties try: the same few every time in CI, by hand others and many times as many.

BELTSPRING_TRIES=50 python -m pytest tests/plan/test_properties.py
"""

from __future__ import annotations

import os

TIMES = int(os.environ.get("BELTSPRING_TRIES", "1"))


def examples(few: int) -> int:
    """So many examples, or as many times more as was asked for."""
    return few * TIMES
