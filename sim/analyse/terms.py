"""What the four largest distances of a run are called; everything that tells one takes its name from here.

They are different things, and the same word for two of them would mislead:

- RINGS_BY: how far the tool still swings about its place of rest where an axis has been told to stand still.
- OFF_LINE: how far the tool is from the asked line, across it. This is what a printed wall shows.
- ALONG_LINE: how far ahead or behind it is on that line. This shows only where the speed of laying matters.
- DEVIATION: tool less commanded place on one axis, moving or not.

And where a leg of a pattern ends is a corner: files and records name the leg, people are told the corner.
"""

from __future__ import annotations

import re

RINGS_BY = "rings by"
OFF_LINE = "off the line"
ALONG_LINE = "along the line"
DEVIATION = "largest deviation"
#: What the last corner of a pattern is called.
END = "end"
_LEG = re.compile(r"\bleg (\d+)$")


def corner_name(leg: str, last: str) -> str:
    """What a person calls the place where a leg ends: "corner 2", "end" after the last leg; a program's leg keeps its name.

    leg, last: names of that leg and of the plan's last one.
    """
    return END if leg == last and _LEG.search(leg) else _LEG.sub(r"corner \1", leg)


def after_corner(leg: str | None, last: str) -> str:
    """ " after corner 2", " at the end", or "" where no leg is told."""
    if not leg:
        return ""
    name = corner_name(leg, last)
    return " at the end" if name == END else f" after {name}"
