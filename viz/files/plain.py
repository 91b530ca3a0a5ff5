"""Numbers and records as plain JSON: finite or null, never NaN."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np

Json = dict[str, Any]


def tidy(value: float) -> float:
    """A number without the dust of floating-point arithmetic: 1 for 0.9999999999999998, 0 for -1e-17."""
    return round(float(value), 9) + 0.0


def clean(value: Any) -> Any:
    """The same value fit for JSON: numpy numbers become Python's, and what is not finite becomes null."""
    if isinstance(value, dict):
        return {str(key): clean(item) for key, item in value.items()}
    if isinstance(value, list | tuple | np.ndarray):
        return [clean(item) for item in value]
    if isinstance(value, bool | np.bool_):
        return bool(value)
    if isinstance(value, int | np.integer):
        return int(value)
    if isinstance(value, float | np.floating):
        return float(value) if math.isfinite(value) else None
    return value


def write_json(value: Any, path: Path) -> None:
    """JSON in UTF-8."""
    text = json.dumps(clean(value), indent=2, ensure_ascii=False, allow_nan=False)
    path.write_text(text + "\n", encoding="utf-8")


def six(value: float | None) -> float | None:
    """A number to six figures."""
    return None if value is None else float(f"{value:.6g}")
