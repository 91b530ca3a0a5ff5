"""What is printed once for a model serves it at every place it starts from; the vector product is numpy's to the bit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from beltspring.sim.model.kinematics import crossed
from beltspring.sim.simulate.generated import source

from tests.support import model_of, workshop


@pytest.mark.parametrize("detail", ["simple", "full"])
@pytest.mark.parametrize("layout", ["corexy", "moving-bed", "delta"])
def test_a_model_with_another_zero_has_the_text_and_numbers_of_one_printed_afresh(layout, detail):
    system = model_of(workshop(layout, {"detail": detail}))
    text, before = source(system)
    zero = system.tool_zero + np.array([1e-3, -2e-3, 3e-3])
    moved_text, moved = source(system.with_zero(zero))
    fresh_text, fresh = source(replace(system, tool_zero=zero))
    assert moved_text == fresh_text == text
    assert moved.tobytes() == fresh.tobytes() != before.tobytes()
    assert source(system)[1].tobytes() == before.tobytes()


def test_what_hangs_on_more_than_the_zero_is_printed_afresh():
    system = model_of(workshop("corexy", {}))
    source(system)
    other = replace(system, mass=1.5 * system.mass)
    assert source(other)[1].tobytes() != source(system)[1].tobytes()


def test_the_vector_product_is_that_of_numpy():
    draw = np.random.default_rng(7)
    for _ in range(500):
        a, b = draw.normal(size=3), draw.permutation(np.array([0.0, -1.0, draw.normal()]))
        assert crossed(a, b).tobytes() == np.cross(a, b).tobytes()
