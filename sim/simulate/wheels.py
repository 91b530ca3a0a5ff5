"""Whether wheels stay pressed onto their profile through a run: their springs are valid only while their preload lasts."""

from __future__ import annotations

import numpy as np

from ..machine.machine import Body
from ..model.guides import wheel_loads
from ..model.joints import JointElement
from ..model.system import Array, System
from ..trace import Rows


class WheelWatch:
    """Largest share of preload used by any wheel of each guide on wheels; a watcher of recorded rows."""

    def __init__(self, system: System) -> None:
        self.guides: list[tuple[Body, JointElement]] = []
        for joint in system.joints:
            if joint.axis is not None:
                body = system.machine.body(joint.name.removesuffix(" guide"))
                if body.guide is not None and body.guide.kind == "wheels":
                    self.guides.append((body, joint))
        self.worst = [(0.0, 0.0)] * len(self.guides)

    def __call__(self, rows: Rows) -> None:
        """Look at recorded rows."""
        if not self.guides or not len(rows):
            return
        for i, (body, joint) in enumerate(self.guides):
            load = wheel_loads(body, deflections(joint, rows.q)).max(axis=-1)
            at = int(np.argmax(load))
            if load[at] > self.worst[i][0]:
                self.worst[i] = (float(load[at]), float(rows.t_s[at]))

    def notes(self) -> list[str]:
        """A sentence for each guide whose wheels came off."""
        out = []
        for (body, _), (load, t) in zip(self.guides, self.worst, strict=True):
            assert body.guide is not None
            if load > body.guide.preload_n:
                out.append(
                    f"{body.name}: a wheel is unloaded by {load:.0f} N at {t:.3f} s, more than its preload of"
                    f" {body.guide.preload_n:g} N; from there on it would lift off and the guide would be softer than"
                    f" modelled. Raise {body.name}.preload_n, set the wheels further apart, or use rails"
                )
        return out


def deflections(joint: JointElement, q: Array) -> Array:
    """A guide's deflection d (k, 6) at coordinates q (k, n), the slide taken out."""
    assert joint.axis is not None
    e = np.eye(3)[joint.axis]
    d = q @ joint.row.T
    slide = d[:, joint.axis].copy()
    d[:, :3] -= slide[:, None] * np.cross(q @ joint.turn_a.T, e)
    d[:, joint.axis] = 0.0
    return np.asarray(d)
