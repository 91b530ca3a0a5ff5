"""Curves and ranges of a page, drawn anew for a wide and for a narrow one so that their words stay as large."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from .marks import circle, element, line, polyline, rect, text

Array = NDArray[np.float64]

WIDTHS = {"wide": 480.0, "narrow": 326.0}
HIGH = 220.0
MOST_POINTS = 500


def nice(value: float) -> float:
    """The least of 1, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10, 15, ... that is not below `value`."""
    power = 10.0 ** np.floor(np.log10(max(value, 1e-9)))
    return float(next(k * power for k in (1, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10) if k * power >= value * (1 - 1e-9)))


def curve(
    ms: Array, off_um: Array, speeding: Sequence[tuple[float, float]], calm_ms: float | None, said: str, size: str
) -> str:
    """How far the tool is off the line after a corner. ms: from the stop.  speeding: stretches of ramps.  said: the finding."""
    wide = WIDTHS[size]
    left, right, top, low = 46.0, wide - 10, 12.0, HIGH - 34
    t0, t1 = float(ms[0]), float(ms[-1])
    most = nice(float(np.abs(off_um).max()) or 1.0)

    def x(t: float) -> float:
        return left + (t - t0) / max(t1 - t0, 1e-9) * (right - left)

    def y(v: float) -> float:
        return (top + low) / 2 - v / most * (low - top) / 2

    parts = []
    for a, b in speeding:
        a, b = max(a, t0), min(b, t1)
        if b > a:
            parts.append(rect(x(a), top, x(b) - x(a), low - top, class_="ramp"))
    for value in (-most, 0.0, most):
        parts.append(line(left, y(value), right, y(value), class_="grid"))
        parts.append(text(left - 6, y(value) + 5, f"{value:+g}" if value else "0", class_="tick end"))
    step = nice((t1 - t0) / 4)
    ticks = np.arange(np.ceil(t0 / step), np.floor(t1 / step) + 1) * step
    for k, t in enumerate(ticks):
        last = k == len(ticks) - 1
        words = f"{t + 0.0:.0f} ms" if last else f"{t + 0.0:.0f}"
        parts.append(text(min(x(float(t)), right - 24), HIGH - 12, words, class_="tick mid"))
    keep = np.unique(np.linspace(0, len(ms) - 1, min(len(ms), MOST_POINTS)).astype(int))
    parts.append(polyline([(x(float(ms[k])), y(float(off_um[k]))) for k in keep], class_="laid"))
    if calm_ms is not None and t0 < calm_ms < t1:
        parts.append(line(x(calm_ms), top, x(calm_ms), low, class_="calm"))
        end = " end" if x(calm_ms) > wide - 120 else ""
        parts.append(text(x(calm_ms) + (-6 if end else 6), top + 14, f"faded: {calm_ms:.0f} ms", class_=f"tick{end}"))
    parts.append(line(x(0), top, x(0), low, class_="stop"))
    parts.append(line(0, top, 0, low, class_="now", data_t0=t0, data_t1=t1, data_left=left, data_right=right))
    parts.append(circle(0, 0, 4, class_="nowdot", data_zero=(top + low) / 2, data_um=(low - top) / 2 / most))
    return _svg("".join(parts), wide, HIGH, said, size)


def ranges(
    rows: Sequence[tuple[str, float, float, float]], drawn: Sequence[tuple[float, float] | None], said: str, size: str
) -> str:
    """Designs as bars from their least to their most ringing, um, with a mark at what they are judged by.

    drawn: of each what 8 of 10 machines keep, um, as a thin bar below; None where no machines were drawn.
    """
    wide = WIDTHS[size]
    stacked = size == "narrow"
    left, right, step = (8.0 if stacked else 150.0), wide - 16, (52.0 if stacked else 36.0)
    high = step * len(rows) + 34
    top = nice(max([most for _, _, most, _ in rows] + [both[1] for both in drawn if both is not None]))

    def x(v: float) -> float:
        return left + v / top * (right - left)

    parts = []
    for value in (0.0, top / 2, top):
        parts.append(line(x(value), 4, x(value), high - 28, class_="grid"))
        parts.append(
            text(min(x(value), right - 14), high - 10, f"{value:g}{' µm' if value == top else ''}", class_="tick mid")
        )
    for k, (name, least, most, judged) in enumerate(rows):
        y = step * k + (36 if stacked else 20)
        if stacked:
            parts.append(text(left, y - 14, name[:34], class_="tick design"))
        else:
            parts.append(text(left - 8, y + 5, name[:19], class_="tick design end"))
        parts.append(rect(x(least), y - 5, max(2.0, x(most) - x(least)), 10, class_="range"))
        parts.append(circle(x(judged), y, 6, class_="judged"))
        if (both := drawn[k]) is not None:
            parts.append(rect(x(both[0]), y + 8, max(2.0, x(both[1]) - x(both[0])), 3, class_="drawn"))
    return _svg("".join(parts), wide, high, said, size)


def _svg(inner: str, wide: float, high: float, said: str, size: str) -> str:
    return element(
        "svg", inner, viewBox=f"0 0 {wide:.0f} {high:.0f}", role="img", aria_label=said, class_=f"plot {size}"
    )
