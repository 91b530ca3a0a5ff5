"""The space of a search: what the words mean, and what is told where they mean nothing."""

from __future__ import annotations

import pytest
from beltspring.sim.errors import ScenarioError
from beltspring.sim.scenario.load import with_changes
from beltspring.sim.study.search import hands as hands_module
from beltspring.sim.study.search.goals import goals_of
from beltspring.sim.study.search.space import RANGE_LEVELS, space_of, space_of_table
from beltspring.sim.study.search.wanted import search_wanted

from tests.support import textbook

BELTS = "belts.part=belt-2mm-6-glass,belt-2mm-9-glass"


def test_every_design_has_a_number_and_every_number_a_design() -> None:
    space = space_of([BELTS, "motors.pulley_teeth=16..20", "detail=simple,full"])
    every = list(space.every())
    assert len(every) == len(set(every)) == space.possible == 2 * 5 * 2
    assert every == [space.at(i) for i in range(space.possible)]
    assert space.settings(every[-1]) == {"belts.part": "belt-2mm-9-glass", "motors.pulley_teeth": 20, "detail": "full"}
    around = list(space.neighbours(every[0]))
    assert len(around) == 1 + 4 + 1
    assert all(sum(a != b for a, b in zip(genes, every[0], strict=True)) == 1 for _, genes in around)


def test_a_range_is_cut_into_even_steps_with_both_ends() -> None:
    (knob,) = space_of(["frame.height_mm=300..420.5"]).knobs
    assert (knob.levels[0], knob.levels[-1], len(knob.levels)) == (300, 420.5, RANGE_LEVELS)
    steps = [b - a for a, b in zip(knob.levels, knob.levels[1:], strict=False)]
    assert min(steps) == pytest.approx(max(steps), rel=0.01)
    assert space_of(["motors.pulley_teeth=16..24"]).knobs[0].levels == tuple(range(16, 25))


def test_a_table_of_the_file_means_the_same() -> None:
    by_table = space_of_table(
        {"belts.part": ["belt-2mm-6-glass", "belt-2mm-9-glass"], "frame": {"height_mm": "300..420"}}, "a.toml"
    )
    assert by_table == space_of([BELTS, "frame.height_mm=300..420"])


@pytest.mark.parametrize(
    ("texts", "told"),
    [
        ([], "nothing to search"),
        (["belts.part"], "write it as key=v1,v2 or key=low..high"),
        (["belts.part=one"], "two values or more"),
        (["belts.part=a,a"], "the same value is there twice"),
        (["frame.height_mm=400..300"], "the low must be below the high"),
        (["frame.height_mm=300..nan"], "the low must be below the high"),
        (["frame.height_mm=tall..small"], "a range is two numbers"),
        ([BELTS, BELTS], "it is there twice"),
        (["title=a,b"], "it makes no other machine"),
        (["=1,2"], "write it as key=v1,v2"),
    ],
)
def test_words_that_mean_nothing_are_told(texts: list[str], told: str) -> None:
    with pytest.raises(ScenarioError, match=told):
        space_of(texts)


def test_of_a_text_that_goes_on_for_ever_sixty_letters_are_told() -> None:
    with pytest.raises(ScenarioError) as caught:
        space_of(["x" * 400])
    assert caught.value.problems[0].startswith(f"--vary {'x' * 60}: write it as key=v1,v2")


@pytest.mark.parametrize(
    ("least", "keep", "told"),
    [
        (["ringing"], [], "no such answer; there are judged_um"),
        (["price"], [], "give it with --prices"),
        ([], ["price<300"], "give it with --prices"),
        ([], ["job_s"], "write it as an answer and its limit"),
        ([], ["job_s<1e"], "write it as an answer and its limit"),
        (["judged_um,job_s,mass_g,path_rms_um"], [], "3 is the most"),
    ],
)
def test_goals_that_mean_nothing_are_told(least: list[str], keep: list[str], told: str) -> None:
    with pytest.raises(ScenarioError, match=told):
        goals_of(least, keep, priced=False)


def test_rules_say_by_how_much_they_are_broken() -> None:
    goals = goals_of(["judged_um"], ["price <= 200", "mass_g>100"], priced=True)
    assert goals.amiss({"price": 200.0, "mass_g": 150.0}) == 0
    assert goals.amiss({"price": 300.0, "mass_g": 50.0}) == pytest.approx(0.5 + 0.5)
    assert goals.amiss({"price": None, "mass_g": 150.0}) == 1.0
    assert goals.amiss({"price": 300.0, "mass_g": 50.0}, only=("mass_g",)) == pytest.approx(0.5)


def test_the_command_comes_before_the_file() -> None:
    table = {"search.least": ["mass_g"], "search.tries": 7}
    here = with_changes(textbook("desk-corexy"), table)
    wanted = search_wanted(here, [BELTS])
    assert (wanted.goals.least, wanted.tries, wanted.seed, wanted.judged) == (("mass_g",), 7, 1, 2)
    assert search_wanted(here, [BELTS], ["job_s"], tries=9).goals.least == ("job_s",)
    with pytest.raises(ScenarioError, match=r"\[search\] tires: unknown key; did you mean tries\?"):
        search_wanted(with_changes(here, {"search.tires": 3}), [BELTS])


def test_hands_whose_workers_are_gone_before_the_first_task_are_made_anew() -> None:
    """A pool that takes nothing any more, then one that works: every task is done, in any order, and one pool was lost."""

    asked = []

    class Gone(hands_module.Inline):
        def submit(self, fn, /, *args, **kwargs):  # type: ignore[no-untyped-def]
            asked.append(args)
            assert len(asked) < 4, "asked for ever"
            raise hands_module.BrokenProcessPool("gone")

    hands = hands_module.Hands(1)
    hands._executor = Gone()
    assert sorted(hands.done(pow, [(2, 3), (3, 2), (5, 1)])) == [(0, 8), (1, 9), (2, 5)]
    assert hands.deaths == 1


def test_what_a_worker_held_as_it_died_is_done_again() -> None:
    class Dies(hands_module.Inline):
        def submit(self, fn, /, *args, **kwargs):  # type: ignore[no-untyped-def]
            future = hands_module.Future()
            future.set_exception(hands_module.BrokenProcessPool("gone"))
            return future

    hands = hands_module.Hands(1)
    hands._executor = Dies()
    assert sorted(hands.done(pow, [(2, 3), (3, 2), (5, 1)])) == [(0, 8), (1, 9), (2, 5)]
    assert hands.deaths == 1
