"""What the loops of one machine (`array_loop.py`) and of eight (`lanes.py`) share to the letter.

L is how many machines stand side by side in the numbers of P: 1 or 8.
"""

from __future__ import annotations

#: A stage's forces, and what is seen at the first.
PUSHED = """\
            push(P)
            if s == 0:
                place(P)
                look(P, k, h, TIME, TOOL, LO, HI, SLACK, TURNS)
                if REC[k] >= 0:
                    tell(P, OUT[REC[k]])
"""

#: Guides' bristles over a step, of L machines side by side (`shares` of the head; PHYSICS, friction).
BRISTLES = '''
@njit(fastmath=FAST, error_model="numpy")
def foresee_bristles(P, h):
    """Level of each guide's friction, and by what its bristles change in the step."""
    for g in range(GUIDES):
        for i in range(L):
            # G: sigma0, coulomb, static - coulomb, 1 / stribeck; their level is sigma0 / friction.
            at, of = AT_G + 4 * g * L + i, g * L + i
            v = P[AT_V + of]
            c = v * P[at + 3 * L]
            y = P[at] / (P[at + L] + P[at + 2 * L] * decay(c * c))
            P[AT_Y + of] = P[AT_Z + of]
            P[AT_Y + GUIDES * L + of] = y
            P[AT_Y + 2 * GUIDES * L + of] = abs(v) * y
            at = AT_B + 8 * g * L + i
            P[at], P[at + L], P[at + 2 * L], P[at + 3 * L], P[at + 4 * L] = shares(h * abs(v) * y, h)


@njit(fastmath=FAST, error_model="numpy")
def bristles(P, s):
    """From the bristles at stage s to those at the next, and after the last to those at the end of the step."""
    for g in range(GUIDES):
        for i in range(L):
            # B: what they keep over half a step, what changes give in it, the weights of changes;
            #    the first change, the inner ones, z there.
            at, of = AT_B + 8 * g * L + i, g * L + i
            z, change = P[AT_Z + of], P[AT_N + of]
            if s == 0:
                P[at + 5 * L] = change
                P[AT_Y + of] = P[at] * z + P[at + L] * change
            elif s == 1:
                P[at + 6 * L], P[at + 7 * L] = change, P[AT_Y + of]
                P[AT_Y + of] = P[at] * z + P[at + L] * change
            elif s == 2:
                P[at + 6 * L] += change
                P[AT_Y + of] = P[at] * P[at + 7 * L] + P[at + L] * (2.0 * change - P[at + 5 * L])
            else:
                given = P[at + 2 * L] * P[at + 5 * L] + P[at + 3 * L] * P[at + 6 * L] + P[at + 4 * L] * change
                P[AT_Z + of] = P[at] * P[at] * z + given
'''
