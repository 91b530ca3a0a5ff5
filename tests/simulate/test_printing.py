"""Pieces of the printed text: only what counts is printed, as it stands, and in as few words as there are."""

from __future__ import annotations

import ast
import re

import numpy as np
import pytest
from beltspring.sim.model.motor import torque_limit
from beltspring.sim.simulate import series
from beltspring.sim.simulate.array_loop import largest
from beltspring.sim.simulate.commands import TABLE_TOP_RAD_S, torque_limits, torque_table
from beltspring.sim.simulate.generated import source
from beltspring.sim.simulate.lanes import lane_of
from beltspring.sim.simulate.print_rods import _fewest
from beltspring.sim.simulate.printer import Printer, family, term
from beltspring.sim.simulate.reference import means
from beltspring.sim.simulate.relative import cleared, linked

from tests.simulate.test_printed_plainly import module_of
from tests.support import ALL_LAYOUTS, model_of, workshop


def test_one_and_minus_one_are_printed_as_they_are_and_other_numbers_are_parameters():
    printer = Printer()
    assert [term("f", value, printer) for value in (1.0, -1.0, 3.0)] == [("+", "f"), ("-", "f"), ("+", "P[0] * f")]
    assert printer.values == [3.0]
    assert printer.dot(np.array([1.0, 0.0, -1.0, 2.0, -2.0, 0.5]), list("abcdef")).count("P[") == 1
    assert printer.values == [3.0, 0.5]


def test_what_goes_into_a_register_begins_where_one_does():
    printer = Printer(vectors=True)
    printer.p(1.0)
    assert printer.begin_at(8) == len(printer.values) == 8
    assert printer.begin_at(8) == 8
    assert printer.row([5.0, 6.0, 7.0]) == "P[8:12]"
    assert printer.values[8:] == [
        5.0,
        6.0,
        7.0,
        7.0,
    ]  # filled with the last: what nobody reads must not divide by nothing
    assert printer.table(np.arange(9.0).reshape(3, 3)) == 16
    assert [list(r) for r in printer.alike(10)] == [list(range(8)), [8, 9]]


def test_a_row_like_an_earlier_one_is_that_one_and_the_difference():
    first = np.array([1.0, 2.0, 3.0, 4.0, 0.0])
    same, opposite, other = first + np.array([0, 0, 0, 0, 7.0]), -first, np.array([0.0, 0.0, 9.0, 0.0, 0.0])
    rows = family([first, same, opposite + 1e-15, other])
    assert [row.parent for row in rows] == [None, 0, 0, None]
    assert [row.sign for row in rows[1:3]] == [1.0, -1.0]
    assert rows[1].rest.tolist() == [0.0, 0.0, 0.0, 0.0, 7.0]
    assert not rows[2].rest.any()  # noise is none
    # One entry less is not worth a name of its own.
    both = family([np.array([1.0, 0.0, 0.0]), np.array([1.0, 1.0, 0.0])])
    assert [row.parent for row in both] == [None, None]


@pytest.mark.parametrize("scale", [1e-8, 1.0, 1e8])
def test_what_is_noise_in_an_inverse_mass_goes_by_its_size(scale):
    inverse = scale * np.array([[4.0, 1e-5, 1e-15], [1e-5, 1.0, 0.0], [1e-15, 0.0, 1.0]])
    assert linked(inverse).tolist() == [[True, True, False], [True, True, False], [False, False, True]]


def test_rounding_is_cleared_and_what_is_none_is_not():
    rows = np.array([1.0 + 1e-14, -2.0 - 1e-14, 1e-14, 3.0 + 1e-14, 0.5, 1.0 + 1e-9])
    assert cleared(rows).tolist() == [1.0, -2.0, 0.0, 3.0 + 1e-14, 0.5, 1.0 + 1e-9]


def test_rods_side_by_side_are_printed_as_their_sum_and_their_difference():
    """With R1 = (a, b) and R2 = (a, -b) the sum of R' K R is that of sqrt 2 (a, 0) and sqrt 2 (0, b), for every K."""
    one, two = np.zeros((2, 6)), np.zeros((2, 6))
    one[:, [0, 4]] = two[:, [0, 4]] = [[1.0, 0.03], [1.0, -0.03]]
    one[:, 5], two[:, 5] = 0.05, -0.05
    alone = np.zeros((2, 6))
    alone[:, 2] = 1.0
    found = _fewest(np.array([one, alone, two]))
    assert sum(np.count_nonzero(rows) for rows in found) < np.count_nonzero([one, alone, two])
    k = np.array([[3.0, 1.2], [1.2, 2.0]])
    wanted = sum(rows.T @ k @ rows for rows in (one, alone, two))
    assert sum(rows.T @ k @ rows for rows in found) == pytest.approx(wanted, rel=1e-14, abs=1e-15)
    # Neighbours too, and twice the same rod leaves one.
    assert len(_fewest(np.array([one, one]))) == 1


def test_the_largest_block_is_what_hangs_together():
    kept = np.eye(6, dtype=bool)
    for a, b in ((0, 2), (2, 4), (1, 5)):
        kept[a, b] = kept[b, a] = True
    assert largest(kept).tolist() == [0, 2, 4]


@pytest.mark.parametrize("layout", ALL_LAYOUTS)
def test_nothing_is_worked_out_that_nobody_reads(layout):
    """But for what every stage is given, and the way of the tool where the model does not move it."""
    system = model_of(workshop(layout))
    for text in (source(system)[0], module_of(lane_of(system).text).PUSH):
        names = [node for node in ast.walk(ast.parse(text)) if isinstance(node, ast.Name)]
        written, read = ({n.id for n in names if isinstance(n.ctx, kind)} for kind in (ast.Store, ast.Load))
        assert {name for name in written - read if name[:2] not in ("d2", "am", "om", "_")} == set()


@pytest.mark.parametrize("layout", ALL_LAYOUTS)
def test_nothing_is_multiplied_by_nothing(layout):
    system = model_of(workshop(layout, {"detail": "full"}))
    text, parameters = source(system)
    used = [int(i) for i in re.findall(r"P\[(\d+)\]", module_of(text).PUSH)]
    assert used
    assert np.all(parameters[used] != 0.0)


def test_both_loops_take_the_same_series_for_slow_bristles():
    """To rounding: where one series had a term more they would differ by 1e-12."""
    plain = module_of(series.HEAD)
    for c in (0.0, 1e-9, 0.05, 0.2, 0.2999, 0.35, 2.0, 60.0):
        one, two, three = (float(x) for x in means(np.array(c)))
        half, given, *weights = plain.shares(c, 0.5)
        assert half == pytest.approx(np.exp(-0.5 * c), rel=1e-13, abs=1e-20)
        assert given == pytest.approx(0.25 * float(means(np.array(0.5 * c))[0]), rel=1e-12)
        wanted = [one - 3 * two + 4 * three, 2 * two - 4 * three, 4 * three - two]
        assert weights == pytest.approx([0.5 * x for x in wanted], rel=2e-13, abs=2e-14)


def test_torque_limits_are_those_of_the_motor_and_beyond_the_table_those_at_its_end():
    """PHYSICS.md: 4096 speeds up to 2000 rad/s, linear between them, within 1e-4 of the torque."""
    system = model_of(workshop("corexy"))
    spec = system.motors[0].spec
    assert spec is not None
    speeds = np.array([0.0, 3.3, 117.7, -640.1, 1999.9, 2000.0, 2500.0, -9000.0])
    found = torque_limits(
        np.repeat(speeds[:, None, None], 3, axis=1).repeat(2, axis=2), torque_table(system), TABLE_TOP_RAD_S
    )
    assert found.shape == (8, 3, 2)
    wanted = torque_limit(spec, np.minimum(np.abs(speeds), 2000.0))
    assert wanted[5] < 0.9 * torque_limit(spec, np.array([1500.0]))[0]  # it does fall there
    for j in range(2):
        for s in range(3):
            assert found[:, s, j] == pytest.approx(wanted, rel=1e-4)
