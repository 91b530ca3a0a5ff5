"""The tool that puts faults into the engine: which it finds, that they are put in and noticed, how it counts."""

from __future__ import annotations

import ast
import importlib
import resource
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest
from beltspring.sim import practice
from beltspring.sim.order import cutting
from scipy.stats import binomtest

from tests.mutation.__main__ import equivalent, interval, plain, told, told_of
from tests.mutation.faults import faults, with_fault
from tests.mutation.loading import ROOT, Loaded, faulty_code, install
from tests.mutation.serving import Once, apart, append, failing, limit, rows_of
from tests.mutation.touched import Touched

TEXT = '''"""Words are no fault: 1 + 1."""

LIMIT = 3


def capped(x: int, most=LIMIT + 1):
    """At most so much."""
    if x > most:
        x = most
    return -x
'''


def test_every_operator_number_and_statement_is_a_place_for_a_fault() -> None:
    found = faults(TEXT)
    assert sorted(f.words for f in found) == sorted([
        "3  ->  4", "LIMIT + 1  ->  LIMIT - 1", "1  ->  2", "x > most  ->  x >= most", "dropped: x = most",
        "-x  ->  +x",
    ])  # fmt: skip
    assert {f.words: f.lines for f in found}["x > most  ->  x >= most"] == (8, 8)  # the head alone


def test_what_the_import_runs_is_known_by_its_names() -> None:
    """A number of the module's, a default: where those names stand a test may see it. A function's body has none."""
    names = {f.words: f.names for f in faults(TEXT)}
    assert names["3  ->  4"] == ("LIMIT",)
    assert names["1  ->  2"] == ("capped",)
    assert names["dropped: x = most"] == ()


def test_a_fault_changes_one_thing_and_moves_no_line() -> None:
    for fault in faults(TEXT):
        made = with_fault(TEXT, fault.number)
        assert ast.dump(made) != ast.dump(ast.parse(TEXT))
        assert [row.lineno for row in made.body] == [row.lineno for row in ast.parse(TEXT).body]
    with pytest.raises(IndexError):
        with_fault(TEXT, len(faults(TEXT)))


def put(part: str) -> tuple[Path, int]:
    """A fault of the module that cuts bars, by its words."""
    path = Path(str(cutting.__file__))
    (number,) = [f.number for f in faults(path.read_text(encoding="utf-8")) if f.words.startswith(part)]
    return path, number


def test_a_fault_is_put_into_loaded_functions_and_only_there() -> None:
    place = put("longest + 1e-09  ->")

    def refuses() -> bool:
        assert Loaded().put(*place)
        try:
            cutting.cut([1.0], [1.0])
        except Exception:
            return True
        return False

    assert apart(refuses)["said"] is True
    assert len(cutting.cut([1.0], [1.0]).bars) == 1


def test_what_is_outside_every_function_has_to_be_loaded_anew() -> None:
    path = Path(str(practice.__file__))
    (number,) = [f.number for f in faults(path.read_text(encoding="utf-8")) if f.names == ("TORQUE_SHARE",)]
    assert apart(lambda: Loaded().put(path, number))["said"] is False
    scope: dict[str, object] = {}
    exec(faulty_code(path, number), scope)
    assert scope["TORQUE_SHARE"] != practice.TORQUE_SHARE
    assert scope["SEEN_M"] == practice.SEEN_M


def test_lines_that_run_are_recorded_and_others_are_not() -> None:
    touched = Touched()
    with touched.watching():
        cutting.cut([0.4, 0.5], [1.0])
    path = str(cutting.__file__)
    text = Path(path).read_text(encoding="utf-8").splitlines()
    ran = {text[i - 1].strip().partition(" ")[0] for i in touched.lines[path]}
    assert "return" in ran
    assert "raise" not in ran


def test_a_process_that_uses_too_much_or_dies_is_told_apart() -> None:
    def endless() -> None:
        limit(0.0)
        while True:
            pass

    assert apart(endless)["end"] == "slow"
    assert apart(lambda: exit(3))["end"] == "died"
    assert apart(lambda: 5) | {"cpu": 0} == {"end": "done", "said": 5, "cpu": 0}
    assert resource.getrlimit(resource.RLIMIT_CPU)[0] == resource.RLIM_INFINITY


def test_a_file_that_cannot_be_loaded_any_more_notices() -> None:
    once, session = Once({"tests": [], "spare": 1.0}), SimpleNamespace(items=[], testsfailed=1)
    once.pytest_runtestloop(session)  # type: ignore[arg-type]
    assert once.said == "while loading"
    whole = Once({"tests": [], "spare": 1.0})
    whole.pytest_runtestloop(SimpleNamespace(items=[], testsfailed=0))  # type: ignore[arg-type]
    assert whole.began
    assert whole.said is None


def test_no_test_no_failure() -> None:
    assert failing([], 5.0) is None


def test_half_a_row_is_passed_over(tmp_path: Path) -> None:
    append(tmp_path / "rows.jsonl", {"a": 1})
    with (tmp_path / "rows.jsonl").open("a") as file:
        file.write('{"a": ')
    assert list(rows_of(tmp_path / "rows.jsonl")) == [{"a": 1}]


@pytest.mark.parametrize(("seen", "of"), [(0, 7), (21, 40), (150, 150)])
def test_the_interval_is_wilsons(seen: int, of: int) -> None:
    """Against scipy's; 1.96 stands for the normal quantile there."""
    low, high = binomtest(seen, of).proportion_ci(0.95, method="wilson")
    assert interval(seen, of) == pytest.approx((low, high), abs=1e-4)


def test_the_finder_serves_this_tree() -> None:
    def where() -> str:
        del sys.modules["beltspring.sim.practice"]
        install()
        return str(importlib.import_module("beltspring.sim.practice").__file__)

    assert Path(apart(where)["said"]) == Path(__file__).parents[2] / "sim" / "practice.py"


def test_what_changes_nothing_is_there_and_is_left_out_of_the_share() -> None:
    there: dict[str, str] = {}
    for name in {line.partition(": ")[0] for line in equivalent()}:
        for fault in faults((ROOT / name).read_text(encoding="utf-8")):
            said = told(ROOT / name, fault)
            there[plain(said)] = said
    assert equivalent() <= set(there)
    rows = [
        {"fault": there[min(equivalent())], "end": "survived", "by": None},
        {"fault": "sim/practice.py:1: 1  ->  2", "end": "slow", "by": None},
        {"fault": "sim/practice.py:2: 1  ->  2", "end": "survived", "by": None},
    ]
    said = told_of("order", rows)
    assert said.startswith("order: 3 tried, 1 change nothing, 1 of 2 noticed (50%")
    assert "1 of them by time" in said
