"""SVG elements as text: numbers short, words escaped, no style attributes (a page's policy forbids them)."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any
from xml.sax.saxutils import escape, quoteattr

from beltspring.sim import printable


def number(value: float) -> str:
    """A number with two decimals at most."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def words(text: str) -> str:
    """Text for the inside of an element."""
    return escape(printable(text).replace("\n", " "))


def element(name: str, inner: str = "", /, **attributes: Any) -> str:
    """One element. A trailing underscore of a name goes (class_), other underscores become dashes."""
    told = []
    for key, value in attributes.items():
        if value is None:
            continue
        shown = number(value) if isinstance(value, float) else printable(str(value))
        told.append(f" {key.rstrip('_').replace('_', '-')}={quoteattr(shown)}")
    return f"<{name}{''.join(told)}>{inner}</{name}>" if inner else f"<{name}{''.join(told)}/>"


def text(x: float, y: float, said: str, **attributes: Any) -> str:
    """Words at a place."""
    return element("text", words(said), x=float(x), y=float(y), **attributes)


def line(x0: float, y0: float, x1: float, y1: float, **attributes: Any) -> str:
    """A straight line."""
    return element("line", x1=float(x0), y1=float(y0), x2=float(x1), y2=float(y1), **attributes)


def rect(x: float, y: float, w: float, h: float, **attributes: Any) -> str:
    """A rectangle."""
    return element("rect", x=float(x), y=float(y), width=float(max(w, 0.0)), height=float(max(h, 0.0)), **attributes)


def polyline(points: Iterable[Sequence[float]], **attributes: Any) -> str:
    """Lines from point to point."""
    return element("polyline", points=" ".join(f"{number(x)},{number(y)}" for x, y in points), **attributes)


def polygon(points: Iterable[Sequence[float]], **attributes: Any) -> str:
    """A closed, filled outline."""
    return element("polygon", points=" ".join(f"{number(x)},{number(y)}" for x, y in points), **attributes)


def circle(x: float, y: float, r: float, **attributes: Any) -> str:
    """A circle."""
    return element("circle", cx=float(x), cy=float(y), r=float(r), **attributes)
