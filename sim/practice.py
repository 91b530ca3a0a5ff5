"""Facts that several rooms judge by, each with where it is from. SI units.

Most are common practice without a source: nobody publishes them, and they are told as such wherever they decide.
"""

from __future__ import annotations

#: What a kilogram weighs, m/s2: the standard acceleration of free fall, exact by definition (ISO 80000-3).
STANDARD_GRAVITY = 9.80665
#: A glossy wall begins to show ripples of 5 to 10 um: below this nothing is seen (common practice, no source).
INVISIBLE_M = 5e-6
#: Ripples of this height are certainly seen on a glossy wall, and a nail feels them (common practice, no source).
SEEN_M = 20e-6
#: The most of a motor's torque at a speed that a move should ask for: a third is left for friction, warm windings and what
#: nobody thought of (common practice, no source).
TORQUE_SHARE = 0.7
#: Width of one printed line from a 0.4 mm nozzle (common practice, no source).
LINE_WIDTH_M = 0.45e-3
