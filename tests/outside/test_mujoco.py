"""The linear CoreXY against a general multibody engine: MuJoCo (PyPI `mujoco`), with the machine written out by hand."""

from __future__ import annotations

import mujoco
import numpy as np
from beltspring.sim.simulate.run import run

from tests.mujoco_corexy import MASSLESS, peer_of
from tests.support import linear, model_of, plan_of, square_points, textbook, trapezoids


def test_linear_corexy():
    scenario = textbook("desk-corexy", MASSLESS | {"move.settle_ms": 150})
    real = model_of(scenario)
    system = linear(real)
    file = scenario.file
    motion = trapezoids(
        square_points(system.middle, (file.move.size_mm or 60) / 1e3),
        file.motion.speed_mm_s / 1e3,
        file.motion.acceleration_mm_s2 / 1e3,
        file.move.settle_ms / 1e3,
    )
    trace = run(system, plan_of(scenario, system))

    peer = peer_of(real, 5e-5)
    data = peer.start(motion[0].p)
    ends = np.array([move.t1 for move in motion])

    def servo(_: mujoco.MjModel, d: mujoco.MjData) -> None:
        # Called at each of the four stages, with the stage's own time.
        d.ctrl[:] = peer.command(motion[min(int(np.searchsorted(ends, d.time - 1e-9)), len(motion) - 1)], d.time)

    tool = np.empty((len(trace.t_s), 2))
    try:
        mujoco.set_mjcb_control(servo)
        for row in range(len(tool)):
            assert abs(data.time - trace.t_s[row]) < 1e-9
            tool[row] = peer.tool(data.qpos)
            if row + 1 < len(tool):
                mujoco.mj_step(peer.model, data, nstep=20)
    finally:
        mujoco.set_mjcb_control(None)
    assert np.abs(trace.tool - trace.commanded).max() > 50e-6  # it does ring
    assert np.abs(trace.tool[:, :2] - system.middle[:2] - tool).max() < 0.1e-6
