"""A model in the coordinates of its joints is the same model: what it does is that of the model itself, by plain algebra."""

from __future__ import annotations

import numpy as np
import pytest
from beltspring.sim.model.shafts import END_SOFTNESS, Shaft
from beltspring.sim.simulate.relative import relative

from tests.support import ALL_LAYOUTS, model_of, workshop


@pytest.mark.parametrize("layout", ALL_LAYOUTS)
def test_it_is_the_same_model(layout):
    system = model_of(workshop(layout, {"detail": "full"}))
    model, n = relative(system), system.n
    own, back = model.own, model.back
    assert own @ back == pytest.approx(np.eye(n), abs=1e-12)
    q = np.random.default_rng(3).normal(size=n)
    for mine, other in zip(model.system.joints, system.joints, strict=True):
        assert mine.row @ own @ q == pytest.approx(other.row @ q, abs=1e-11)
        assert mine.turn_a @ own @ q == pytest.approx(other.turn_a @ q, abs=1e-11)
    for mine_run, run in zip(model.system.runs, system.runs, strict=True):
        assert mine_run.row @ own @ q == pytest.approx(run.row @ q, abs=1e-11)
    assert model.system.tool_rows @ own @ q == pytest.approx(system.tool_rows @ q, abs=1e-11)
    # A rotor's angle against its stator is a coordinate of its own.
    assert [np.count_nonzero(motor.row) for motor in model.system.motors] == [1] * len(system.motors)
    # Forces are the gradient of one energy: y = T q turns them by the transpose, and M q'' = f stays.
    push = np.random.default_rng(4).normal(size=n)
    assert back @ model.inverse @ (back.T @ push) == pytest.approx(
        np.linalg.solve(system.mass, push), rel=1e-7, abs=1e-9
    )
    # It is there for its short rows: a joint's deflections are coordinates wherever it is not worth less than it costs.
    assert sum(np.count_nonzero(j.row) for j in model.system.joints) <= sum(
        np.count_nonzero(j.row) for j in system.joints
    )


@pytest.mark.parametrize("ends", END_SOFTNESS)
def test_a_rods_influence_is_its_polynomial(ends):
    shaft = Shaft(0.010, 0.36, 0.19, 0.055, 2.0e6, ends)
    powers = shaft.influence_powers()
    for s in np.linspace(-0.14, 0.12, 9):
        f, slope = shaft.influence(s)
        at, slope_at = s ** np.arange(7), np.arange(7) * np.append(0.0, s ** np.arange(6))
        assert powers @ at == pytest.approx(f, rel=1e-11, abs=1e-13 * f.max())
        assert powers @ slope_at == pytest.approx(slope, rel=1e-9, abs=1e-11 * np.abs(slope).max())
