"""Cutting plans against a published cutting-stock problem and against trying every possibility."""

import itertools
import math

import pytest
from beltspring.sim.errors import InputError
from beltspring.sim.order.cutting import cut
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.tries import examples

# The paper-mill example of the cutting-stock problem that textbooks and encyclopaedias print: rolls of 5600 mm, widths and
# how many of each; 73 rolls are known to be the fewest, with 0.401 % lost.
MILL = {1380: 22, 1520: 25, 1560: 12, 1710: 14, 1820: 18, 1880: 18, 1930: 20, 2000: 10, 2050: 12, 2100: 14, 2140: 16,
        2150: 18, 2200: 20}  # fmt: skip


def test_the_paper_mill():
    pieces = [width * 1e-3 for width, count in MILL.items() for _ in range(count)]
    plan = cut(pieces, [5.6], saw_m=0.0)
    assert len(plan.bars) == 73
    assert 1 - plan.used_m / plan.bought_m == pytest.approx(0.00401, abs=5e-6)


def check_plan(plan, pieces, stock, saw):
    """What any plan must keep: every piece once, nothing longer than its bar, the offcut what is left."""
    assert sorted(p for bar in plan.bars for p in bar.pieces_m) == pytest.approx(sorted(pieces))
    for bar in plan.bars:
        assert bar.length_m in stock
        # The last cut may take the bar's end with it.
        assert sum(bar.pieces_m) + saw * (len(bar.pieces_m) - 1) <= bar.length_m + 1e-9
        left = bar.length_m - sum(bar.pieces_m) - saw * len(bar.pieces_m)
        assert bar.offcut_m == pytest.approx(max(0.0, left), abs=1e-9)


def cheapest(pieces, prices, saw):
    """Least price by trying every way to put pieces together."""

    def partitions(items):
        if not items:
            yield []
            return
        first, rest = items[0], items[1:]
        for k in range(len(rest) + 1):
            for chosen in itertools.combinations(range(len(rest)), k):
                group = [first, *(rest[i] for i in chosen)]
                for others in partitions([rest[i] for i in range(len(rest)) if i not in chosen]):
                    yield [group, *others]

    def price(group):
        need = sum(group) + saw * (len(group) - 1)
        return min((cost for length, cost in prices.items() if length + 1e-9 >= need), default=math.inf)

    return min(sum(price(group) for group in groups) for groups in partitions(list(pieces)))


lengths = st.lists(st.integers(50, 990), min_size=1, max_size=6)


@settings(max_examples=examples(60))
@given(lengths, st.sampled_from([0, 3]))
def test_cheapest_bars_against_every_possibility(millimetres, saw_mm):
    prices = {1.0: 7.0, 2.0: 12.5}
    pieces, saw = [n * 1e-3 for n in millimetres], saw_mm * 1e-3
    plan = cut(pieces, prices, saw)
    check_plan(plan, pieces, prices, saw)
    assert plan.cost == pytest.approx(cheapest(pieces, prices, saw))


@settings(max_examples=examples(30))
@given(lengths)
def test_least_length_where_nothing_has_a_price(millimetres):
    pieces = [n * 1e-3 for n in millimetres]
    plan = cut(pieces, [1.0, 2.0, 3.0])
    check_plan(plan, pieces, [1.0, 2.0, 3.0], 0.003)
    assert plan.bought_m == pytest.approx(cheapest(pieces, {1.0: 1.0, 2.0: 2.0, 3.0: 3.0}, 0.003))


def test_a_saw_takes_its_width():
    assert len(cut([0.5, 0.5], [1.0], saw_m=0.0).bars) == 1
    assert len(cut([0.5, 0.5], [1.0], saw_m=0.003).bars) == 2
    assert len(cut([0.4985, 0.4985], [1.0], saw_m=0.003).bars) == 1


def test_no_pieces_and_pieces_too_long():
    assert cut([], [1.0]).bars == ()
    with pytest.raises(InputError, match="1200 mm is longer than the longest bar"):
        cut([1.2], [1.0])
