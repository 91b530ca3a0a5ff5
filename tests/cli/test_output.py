"""What a run leaves behind: JSON with its fixed keys, trace.csv with its fixed columns, folders that appear whole."""

import csv
import json
import math
import os
import tomllib

import numpy as np
import pytest
from beltspring.sim.errors import InputError
from beltspring.viz.files.folder import OutFolder
from beltspring.viz.files.plain import clean

# The keys that other tools read; the command's contract.
KEYS = [
    "title", "layout", "detail", "move", "ended", "move_s", "duration_s", "steps", "step_s", "times_real_time", "modes",
    "ringing", "judged", "moving", "path_error_um", "along_um", "left_out", "ripple_spacing_mm", "motors", "belts", "mixing",
    "moving_mass_g", "reading", "notes", "findings",
]  # fmt: skip


def no_nan(text):
    raise AssertionError(f"{text} in JSON")


def parsed(text):
    return json.loads(text, parse_constant=no_nan)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    from beltspring.viz.cli import main

    place = tmp_path_factory.mktemp("out") / "desk"
    assert main(["run", "desk-corexy", "--out", str(place), "--quiet"]) == 0
    return place


def test_the_folder_holds_the_four_files_and_nothing_hidden_is_left_beside_it(folder):
    assert sorted(p.name for p in folder.iterdir()) == ["picture.png", "scenario.toml", "summary.json", "trace.csv"]
    assert [p.name for p in folder.parent.iterdir()] == ["desk"]
    assert (folder / "picture.png").read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"


def test_summary_has_exactly_the_fixed_keys(folder):
    found = parsed((folder / "summary.json").read_text(encoding="utf-8"))
    assert list(found) == KEYS
    assert found["ended"] == "complete"
    assert set(found["ringing"]) == {"x", "y"}
    assert set(found["moving"]) == {"x", "y"}
    judged = found["judged"]
    assert list(judged) == ["judged_um", "least_um", "most_um", "most_at_mm_s", "judged_speeds_mm_s"]
    assert 0 < judged["least_um"] < judged["judged_um"] < judged["most_um"]
    slow, fast = judged["judged_speeds_mm_s"]
    assert slow < 150 < fast
    assert slow <= judged["most_at_mm_s"] <= fast
    for entry in found["moving"].values():
        assert set(entry) == {"peak_um", "typical_um", "frequency_hz", "cause"}
    for entry in found["ringing"].values():
        assert set(entry) == {"peak_um", "frequency_hz", "damping_ratio", "fades_to_5_percent_ms", "drift_hz"}
    assert set(found["path_error_um"]) == set(found["along_um"]) == {"max", "rms"}
    assert set(found["motors"]) == set(found["belts"]) == {"a", "b"}
    for motor in found["motors"].values():
        assert set(motor) == {
            "peak_torque_nm", "torque_limit_nm", "peak_lag_deg", "lost_steps", "most_steps_off", "passages", "first_loss_s",
        }  # fmt: skip
    for belt in found["belts"].values():
        assert set(belt) == {"min_tension_n", "max_tension_n", "slack_ms", "length_to_order_mm", "runs"}
        assert all(set(run) == {"name", "length_mm", "stiffness_n_per_mm"} for run in belt["runs"])
    for mode in found["modes"]:
        assert set(mode) == {"frequency_hz", "band_hz", "damping_ratio", "words", "holds"}
        assert mode["band_hz"][0] <= mode["frequency_hz"] <= mode["band_hz"][1]
    rows = np.array(found["mixing"])
    assert np.abs(rows) == pytest.approx(np.ones((2, 2)))
    assert np.linalg.det(rows) != 0
    assert set(found["moving_mass_g"]) == {"x", "y"}
    assert found["moving_mass_g"]["y"] > found["moving_mass_g"]["x"] > 320


def test_json_on_standard_output_is_the_summary(beltspring, folder):
    said = beltspring("run", "desk-corexy", "--json")
    printed, written = parsed(said.out), parsed((folder / "summary.json").read_text(encoding="utf-8"))
    for entry in (printed, written):
        entry.pop("times_real_time")  # a time measured, not computed
    assert printed == written


def test_trace_columns_and_values_agree_with_the_summary(folder):
    summary = parsed((folder / "summary.json").read_text(encoding="utf-8"))
    with (folder / "trace.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    places = [f"{what}_{axis}_mm" for what in ("asked", "commanded", "tool") for axis in "xyz"]
    motors = ["motor_a_deg", "motor_a_nm", "motor_b_deg", "motor_b_nm"]
    runs = [f"belt_{b}_{run['name']}_n" for b in "ab" for run in summary["belts"][b]["runs"]]
    assert list(rows[0]) == ["t_s", *places, *motors, *runs]
    data = {key: np.array([float(row[key]) for row in rows]) for key in rows[0]}
    assert data["t_s"][0] == 0
    assert 0 <= summary["duration_s"] - data["t_s"][-1] < 1e-3  # a row every millisecond
    assert np.all(np.diff(data["t_s"]) > 0)
    # The asked square is 60 mm wide; a turn of a 20-tooth pulley with 2 mm pitch is 40 mm of belt, so that on this leg
    # in X both motors turn by 540 degrees.
    assert np.ptp(data["asked_x_mm"]) == pytest.approx(60, abs=1e-6)
    assert np.ptp(data["motor_a_deg"]) >= 540
    for axis in "xy":
        late = data["t_s"] > summary["move_s"]
        # Where it comes to rest: the second half's mean, weighted so that a slow swing does not shift it.
        there = data[f"tool_{axis}_mm"][late]
        half = there[len(there) // 2 :]
        off = np.abs(there - np.average(half, weights=np.hanning(len(half)))).max() * 1e3
        assert off <= summary["ringing"][axis]["peak_um"] + 0.01
    for belt in "ab":
        lowest = min(data[f"belt_{belt}_{run['name']}_n"].min() for run in summary["belts"][belt]["runs"])
        assert lowest >= summary["belts"][belt]["min_tension_n"] - 1e-6


def test_the_completed_scenario_loads_and_runs_to_the_same_result(beltspring, folder):
    tree = tomllib.loads((folder / "scenario.toml").read_text(encoding="utf-8"))
    assert tree["belts"]["part"] == "belt-2mm-6-glass"
    assert tree["motion"]["corner_speed_step_mm_s"] == 5
    again = parsed(beltspring("run", folder / "scenario.toml", "--json").out)
    first = parsed((folder / "summary.json").read_text(encoding="utf-8"))
    for axis in "xy":
        assert again["ringing"][axis]["peak_um"] == pytest.approx(first["ringing"][axis]["peak_um"], rel=1e-3)
        assert again["ringing"][axis]["frequency_hz"] == pytest.approx(first["ringing"][axis]["frequency_hz"], rel=1e-3)


def test_an_ideal_motor_has_no_torque_limit_and_a_rigid_one_no_frequency(beltspring):
    found = parsed(beltspring("run", "spring-mass", "--json").out)
    assert {m["torque_limit_nm"] for m in found["motors"].values()} == {None}
    assert found["ringing"]["y"]["frequency_hz"] is None
    assert found["ringing"]["y"]["fades_to_5_percent_ms"] is None
    no_settling = parsed(beltspring("run", "spring-mass", "--set", "move.settle_ms=0", "--json").out)
    assert no_settling["ringing"]["x"] == dict.fromkeys(
        ("peak_um", "frequency_hz", "damping_ratio", "fades_to_5_percent_ms", "drift_hz")
    )
    assert no_settling["ripple_spacing_mm"] is None


def test_an_existing_folder_is_refused_before_anything_is_simulated(beltspring, tmp_path, monkeypatch):
    from beltspring.sim.chain import chain as once

    place = tmp_path / "there"
    place.mkdir()
    monkeypatch.setattr(once, "run", lambda *a: pytest.fail("simulated although the folder is there"))
    said = beltspring("run", "spring-mass", "--out", place)
    assert said.code == 2
    assert "--replace" in said.err
    assert list(place.iterdir()) == []


def test_replace_takes_only_what_beltspring_wrote(beltspring, tmp_path):
    place = tmp_path / "out"
    assert beltspring("run", "spring-mass", "--out", place).code == 0
    before = (place / "trace.csv").read_bytes()
    assert beltspring("run", "spring-mass", "--set", "move.size_mm=10", "--out", place, "--replace").code == 0
    assert (place / "trace.csv").read_bytes() != before
    (place / "diary.txt").write_text("my notes")
    said = beltspring("run", "spring-mass", "--out", place, "--replace")
    assert said.code == 2
    assert "diary.txt" in said.err
    assert (place / "diary.txt").read_text() == "my notes"
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_a_folder_that_cannot_be_written_is_told_and_nothing_is_left(beltspring, tmp_path):
    (tmp_path / "file").write_text("")
    for place in (tmp_path / "file" / "inside", tmp_path / "file", tmp_path / ("x" * 300)):
        said = beltspring("run", "spring-mass", "--out", place)
        assert said.code == 2
        assert said.err.startswith("--out ")
        assert "Traceback" not in said.err
        assert said.out == ""
    assert [p.name for p in tmp_path.iterdir()] == ["file"]


def test_a_fault_while_writing_leaves_nothing_behind(beltspring, tmp_path, monkeypatch):
    from beltspring.viz.files import trace as output

    def full(*_):
        raise OSError(28, os.strerror(28))

    monkeypatch.setattr(output, "write_trace", full)
    said = beltspring("run", "spring-mass", "--out", tmp_path / "a" / "b")
    assert said.code == 2
    assert "No space left" in said.err
    assert str(tmp_path / "a" / "b") in said.err
    assert "make room" in said.err
    assert list(tmp_path.iterdir()) == []


def test_of_two_that_race_for_a_folder_the_second_is_told_and_leaves_nothing(tmp_path):
    place = tmp_path / "out"

    def second():
        with OutFolder(place, replace=False) as work:
            (work / "trace.csv").write_text("second")
            with OutFolder(place, replace=False) as other:
                (other / "trace.csv").write_text("first")

    with pytest.raises(InputError, match="the folder exists"):
        second()
    assert (place / "trace.csv").read_text() == "first"
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_replacing_a_read_only_folder_leaves_nothing_hidden(tmp_path):
    place = tmp_path / "out"
    place.mkdir()
    (place / "trace.csv").write_text("old")
    place.chmod(0o555)
    try:
        with OutFolder(place, replace=True) as work:
            (work / "trace.csv").write_text("new")
    except InputError:
        # Whoever is no superuser may not move a folder that is read-only.
        assert (place / "trace.csv").read_text() == "old"
    else:
        assert (place / "trace.csv").read_text() == "new"
    assert [p.name for p in tmp_path.iterdir()] == ["out"]
    place.chmod(0o755)


def test_a_rename_that_fails_brings_the_old_results_back(tmp_path, monkeypatch):
    monkeypatch.setattr("beltspring.viz.files.folder.exchange", lambda a, b: False)
    place = tmp_path / "out"
    place.mkdir()
    (place / "trace.csv").write_text("old")
    rename = type(place).rename

    def failing(self, target):
        if target == place and ".new-" in self.name:
            raise OSError(5, os.strerror(5))
        return rename(self, target)

    def write():
        with OutFolder(place, replace=True) as work:
            (work / "trace.csv").write_text("new")

    monkeypatch.setattr(type(place), "rename", failing)
    with pytest.raises(InputError, match="choose another folder"):
        write()
    assert (place / "trace.csv").read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_an_empty_name_is_no_folder(beltspring):
    said = beltspring("run", "spring-mass", "--out", "")
    assert said.code == 2
    assert "no name of a folder" in said.err


def test_a_fault_while_replacing_keeps_the_old_results(tmp_path):
    place = tmp_path / "out"
    place.mkdir()
    (place / "trace.csv").write_text("old")

    def half_done():
        with OutFolder(place, replace=True) as work:
            (work / "trace.csv").write_text("half")
            raise RuntimeError

    with pytest.raises(RuntimeError):
        half_done()
    assert (place / "trace.csv").read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_a_link_is_not_followed(tmp_path):
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "real")
    with pytest.raises(InputError, match=r"this is a link.*real"), OutFolder(tmp_path / "link", replace=True):
        pass


def test_what_is_not_finite_becomes_null():
    dirty = {"a": math.nan, "b": [np.float64(math.inf), np.int64(3), np.True_], "c": (1.5,)}
    assert clean(dirty) == {"a": None, "b": [None, 3, True], "c": [1.5]}
