"""What every printed loop begins with: sine, cosine and exponential as series, bristles' shares of a step, turns lost."""

from __future__ import annotations

from .commands import PASSED

HEAD = '''"""A step loop printed by beltspring for one topology of machine. It may be deleted at any time."""
import math

import numpy as np
from numba import njit


HALVES = 2.0 ** -np.arange(64.0)
#: Sums may be reordered and fused; nothing else that would hide a NaN.
FAST = {"contract", "nsz", "arcp", "reassoc"}


@njit(inline="always")
def sine(x):
    """sin x to 1e-13: the odd series to x^17, in two halves so that they overlap; folded to half a period when beyond it."""
    sign = 1.0
    if x > 1.5707963267948966 or x < -1.5707963267948966:
        k = math.floor(x * 0.3183098861837907 + 0.5)
        x = (x - k * 3.1415926535897931) - k * 1.2246467991473532e-16
        if (k - 2.0 * math.floor(k * 0.5)) != 0.0:
            sign = -1.0
    s = x * x
    s2 = s * s
    low = (1.0 + s * -1.6666666666666666e-1) + s2 * (8.3333333333333333e-3 + s * -1.9841269841269841e-4)
    high = (2.7557319223985893e-6 + s * -2.5052108385441719e-8) + s2 * (
        (1.6059043836821613e-10 + s * -7.6471637318198164e-13) + s2 * 2.8114572543455206e-15
    )
    return sign * x * (low + s2 * s2 * high)


@njit(fastmath=FAST, error_model="numpy", forceinline=True)
def decay(c):
    """exp(-c) for c >= 0 to 1e-14 of 1: a power of two from a table times the series of what is left."""
    if not c < 44.0:
        return 0.0
    k = math.floor(c * 1.4426950408889634 + 0.5)
    r = k * 0.6931471805599453 - c
    s = r * r
    low = (1.0 + r) + s * (0.5 + r * 1.6666666666666666e-1)
    high = (4.1666666666666664e-2 + r * 8.3333333333333333e-3) + s * (1.3888888888888889e-3 + r * 1.9841269841269841e-4)
    late = (2.4801587301587302e-5 + r * 2.7557319223985893e-6) + s * (2.7557319223985888e-7 + r * 2.5052108385441720e-8)
    return HALVES[k] * (low + s * s * (high + s * s * late))


@njit(fastmath=FAST, error_model="numpy", forceinline=True)
def shares(c, h):
    """What bristles of the rate c / h keep over half a step h, what changes give in that time, and the weights of the first,
    inner and last change over all of it: `reference.Bristles`."""
    half = decay(0.5 * c)
    if c > 0.3:
        one = (1.0 - half * half) / c
        two = (1.0 - one) / c
        three = (0.5 - two) / c
    else:
        late = 1.9841269841269841e-4 - c * (2.4801587301587302e-5 - c * (2.7557319223985893e-6 - c * 2.7557319223985888e-7))
        early = 4.1666666666666664e-2 - c * (8.3333333333333333e-3 - c * (1.3888888888888889e-3 - c * late))
        three = 1.6666666666666666e-1 - c * early
        two = 0.5 - c * three
        one = 1.0 - c * two
    # 1 - e^-c = (1 - e^(-c/2)) (1 + e^(-c/2))
    given = one / (1.0 + half)
    return half, h * given, h * (one - 3.0 * two + 4.0 * three), h * (2.0 * two - 4.0 * three), h * (4.0 * three - two)


@njit(inline="always")
def in_step(x):
    """max(0, cos x) to 1e-12: the even series to x^16, in two halves; folded to the nearest turn when beyond a quarter of one."""
    if x > 1.5707963267948966 or x < -1.5707963267948966:
        x -= np.floor(x * 0.15915494309189535 + 0.5) * 6.283185307179586
        if x > 1.5707963267948966 or x < -1.5707963267948966:
            return 0.0
    s = x * x
    s2 = s * s
    low = (1.0 + s * -0.5) + s2 * (4.1666666666666664e-2 + s * -1.3888888888888889e-3)
    high = (2.4801587301587302e-5 + s * -2.7557319223985893e-7) + s2 * (2.0876756987868098e-9 + s * -1.1470745597729725e-11)
    return max(low + s2 * s2 * (high + s2 * s2 * 4.7794773323873853e-14), 0.0)


@njit
def count_turns(TURNS, j, lag, t):
    """Whole electrical turns a rotor is off: now, the most, passed in all, when the first was; lag in turns."""
    if abs(lag - TURNS[j, 0]) > PASSED:
        now = np.floor(lag + 0.5)
        TURNS[j, 2] += abs(now - TURNS[j, 0])
        TURNS[j, 0] = now
        if abs(now) > TURNS[j, 1]:
            TURNS[j, 1] = abs(now)
        if TURNS[j, 3] < 0.0:
            TURNS[j, 3] = t
'''.replace("PASSED", repr(PASSED))
