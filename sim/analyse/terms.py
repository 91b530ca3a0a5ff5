"""What the four largest distances of a run are called; everything that tells one takes its name from here.

They are different things, and the same word for two of them would mislead:

- RINGS_BY: how far the tool still swings about its place of rest where an axis has been told to stand still.
- OFF_LINE: how far the tool is from the asked line, across it. This is what a printed wall shows.
- ALONG_LINE: how far ahead or behind it is on that line. This shows only where the speed of laying matters.
- DEVIATION: tool less commanded place on one axis, moving or not.
"""

RINGS_BY = "rings by"
OFF_LINE = "off the line"
ALONG_LINE = "along the line"
DEVIATION = "largest deviation"
