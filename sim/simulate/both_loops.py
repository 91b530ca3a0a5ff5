"""What the loops of one machine (`array_loop.py`) and of eight (`lanes.py`) share to the letter.

L is how many machines stand side by side in the numbers of P: 1 or 8.
"""

from __future__ import annotations

import re

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
bristles_0, bristles_1 = straight(BRISTLES_0, ("P",), ROOM, L), straight(BRISTLES_1, ("P",), ROOM, L)
bristles_2, bristles_3 = straight(BRISTLES_2, ("P",), ROOM, L), straight(BRISTLES_3, ("P",), ROOM, L)


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
    if s == 0:
        bristles_0(P)
    elif s == 1:
        bristles_1(P)
    elif s == 2:
        bristles_2(P)
    else:
        bristles_3(P)
'''

#: What becomes of a guide's bristles at each stage (PHYSICS, friction). z: at the beginning of the step, and after the last
#: stage at its end; zs: at the stage; zn: what changes them there; zd: what they keep over half a step; zg: what changes give
#: in that time; zp, zq, zt: the weights of the first, the inner and the last change; za, zb: the first two; zm: in between.
STAGES = (
    ("za{k} = zn{k}", "zs{k} = zd{k} * z{k} + zg{k} * zn{k}"),
    ("zb{k} = zn{k}", "zm{k} = zs{k}", "zs{k} = zd{k} * z{k} + zg{k} * zn{k}"),
    ("zb{k} = zb{k} + zn{k}", "zs{k} = zd{k} * zm{k} + zg{k} * (2.0 * zn{k} - za{k})"),
    ("z{k} = (zd{k} * zd{k}) * z{k} + (zp{k} * za{k} + zq{k} * zb{k} + zt{k} * zn{k})",),
)
#: Where those stand that a guide has eight of beside each other, in array B.
OF_GUIDE = ("zd", "zg", "zp", "zq", "zt", "za", "zb", "zm")


def bristle_texts(guides: int) -> dict[str, str]:
    """`STAGES` of all guides as blocks of straight arithmetic, by name."""
    texts = {}
    for stage, some in enumerate(STAGES):
        lines = []
        for k in range(guides):
            places = {"z": f"Z[{k}]", "zs": f"Y[{k}]", "zn": f"N[{k}]"}
            places |= {name: f"B[{8 * k + i}]" for i, name in enumerate(OF_GUIDE)}
            lines += [re.sub(r"(\w+)\{k\}", lambda found, at=places: at[found[1]], line) for line in some]  # type: ignore[misc]
        texts[f"BRISTLES_{stage}"] = "\n".join(lines)
    return texts
