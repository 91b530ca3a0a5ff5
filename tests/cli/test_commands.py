"""The commands as a person types them: what they say, their exit codes, and mistakes."""

import gc
import json
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from beltspring.sim import Ending
from beltspring.viz import cli
from beltspring.viz.commands import COMMANDS

SHIPPED = sorted(path.stem for path in (Path(__file__).parents[2] / "scenarios").glob("*.toml"))


def test_help_lists_every_command_and_no_other(beltspring):
    said = beltspring("--help")
    assert said.code == 0
    for command in COMMANDS:
        assert f"  {command.name} " in said.out
    built = {command.name for command in COMMANDS}
    for name in {"run", "watch", "compare", "modes", "show", "parts", "check", "limits", "order", "film"} - built:
        assert f"  {name} " not in said.out
        assert beltspring(name).code == 2


@pytest.mark.parametrize("name", [c.name for c in COMMANDS])
def test_every_command_takes_the_common_options(name, capsys):
    from beltspring.viz.cli import main

    with pytest.raises(SystemExit) as left:
        main([name, "--help"])
    assert left.value.code == 0
    text = capsys.readouterr().out
    for option in ("--set", "--json", "--out", "--quiet", "--replace"):
        assert option in text


@pytest.mark.parametrize("name", SHIPPED)
def test_run_says_first_what_it_means_in_eighty_columns(name, beltspring):
    said = beltspring("run", name)
    assert said.code == 0
    lines = said.out.splitlines()
    assert max(map(len, lines)) <= 80
    assert len(lines) <= 50
    assert "\x1b" not in said.out
    reading = " ".join(lines[3:10])
    assert "rings at" in reading or "Nothing rings" in reading


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["rnu", "spring-mass"], "did you mean run?"),
        (["spring-mass"], "did you mean `beltspring run spring-mass`?"),
        (["run", "spring-mass", "--jsn"], "did you mean --json?"),
        (["run", "spring-mass", "--js"], "did you mean --json?"),
        (["run", "spring-mas"], "did you mean spring-mass?"),
        (["run"], "which scenario?"),
        (["run", "spring-mass", "other"], "unexpected 'other'"),
        (["run", "spring-mass", "--set"], "--set"),
        (["run", "spring-mass", "--set", "belts.pretension_n"], "key=value"),
        (["run", "spring-mass", "--set", "belts.pretensoin_n=4"], "did you mean pretension_n?"),
        (["run", "spring-mass", "--set", "belts.pretension_n=-4"], "must be 0 to 1000"),
        (["run", "spring-mass", "--variant", "no dampng"], 'did you mean "no damping"?'),
        (["run", "nowhere/at/all.toml"], "nowhere/at/all.toml"),
        (["compare", "spring-mass", "--vary", "belts.pretension_n"], "--vary"),
        (["compare", "spring-mass", "--vary", "belts.pretension_n=1"], "two values"),
        (["compare", "spring-mass", "--vary", "belts.pretension_n=1,-1"], "must be 0 to 1000"),
        (["parts", "belst"], "did you mean belts?"),
        (["--json"], "unknown option --json"),
        (["watch"], "which scenario?"),
        (["watch", *SHIPPED], "3 at most"),
    ],
)  # fmt: skip
def test_wrong_input_is_told_on_standard_error_with_code_2(arguments, words, beltspring):
    said = beltspring(*arguments)
    assert said.code == 2
    assert words in said.err
    assert said.out == ""


def test_wrong_scenarios_write_nothing(beltspring, tmp_path):
    said = beltspring("run", "spring-mass", "--set", "belts.pretension_n=-4", "--out", tmp_path / "out")
    assert said.code == 2
    assert list(tmp_path.iterdir()) == []


def test_quiet_says_nothing(beltspring):
    said = beltspring("run", "desk-corexy", "--quiet", "--variant", "open slot profile")
    assert (said.code, said.out, said.err) == (0, "", "")


def test_a_dropped_override_is_noted(beltspring):
    said = beltspring("run", "desk-corexy", "--set", "frame.part=slot-2020", "--json")
    dropping = [line for line in said.err.splitlines() if " drops " in line]
    assert len(dropping) == 1
    assert "frame.wall_mm = 4, frame.side_mm = 40" in dropping[0]
    json.loads(said.out)


def test_lost_steps_are_a_result_and_not_an_error(beltspring):
    said = beltspring(
        "run", "desk-corexy", "--set", "motion.acceleration_mm_s2=60000", "--set", "motors.current_a=0.2", "--json"
    )
    assert said.code == 0
    found = json.loads(said.out)
    assert max(motor["lost_steps"] for motor in found["motors"].values()) >= 4
    assert min(m["first_loss_s"] for m in found["motors"].values() if m["lost_steps"]) > 0
    words = beltspring(
        "run", "desk-corexy", "--set", "motion.acceleration_mm_s2=60000", "--set", "motors.current_a=0.2"
    ).out
    assert "full steps" in words


def test_slack_is_told_in_words_and_numbers(beltspring):
    found = json.loads(beltspring("run", "desk-corexy", "--variant", "loose belts", "--json").out)
    assert found["belts"]["a"]["slack_ms"] > 0
    assert found["belts"]["a"]["min_tension_n"] == 0
    assert "hangs slack for" in beltspring("run", "desk-corexy", "--variant", "loose belts").out


def test_a_run_that_ends_early_gives_code_3_and_its_results(beltspring, tmp_path, monkeypatch):
    from dataclasses import replace

    from beltspring.sim.chain import chain as once

    real = once.run

    def stopped(*arguments, **settings):
        return replace(real(*arguments, **settings), ending=Ending.RUNAWAY, stopped_at_s=0.1)

    monkeypatch.setattr(once, "run", stopped)
    said = beltspring("run", "spring-mass", "--out", tmp_path / "out")
    assert said.code == 3
    assert "the motion grew without bound" in " ".join(said.out.split())
    summary = json.loads((tmp_path / "out" / "summary.json").read_text())
    assert summary["ended"] == f"stopped at t = 0.100 s: the motion grew without bound; {Ending.RUNAWAY.next_step}"


def test_an_interrupted_run_leaves_a_whole_result_up_to_there(beltspring, tmp_path, monkeypatch):
    from beltspring.viz.terminal import console

    class Impatient(console.Watcher):
        def __call__(self, done_s, whole_s):
            if done_s > 1.5:
                raise KeyboardInterrupt

    monkeypatch.setattr(console, "Watcher", Impatient)
    said = beltspring("run", "spring-mass", "--set", "move.settle_ms=5000", "--out", tmp_path / "out")
    assert said.code == 130
    summary = json.loads((tmp_path / "out" / "summary.json").read_text())
    assert summary["ended"].startswith("interrupted at t = ")
    last = (tmp_path / "out" / "trace.csv").read_text().splitlines()[-1]
    assert 1.5 < float(last.split(",")[0]) < 5


def test_ctrl_c_in_a_running_process_gives_130_and_no_traceback(process, tmp_path):
    settings = ("move.repeats=3000", "move.settle_ms=60000", "record.step_ms=20")
    running = process("run", "spring-mass", "--out", "out", *(a for s in settings for a in ("--set", s)))
    deadline = time.monotonic() + 60
    while not any(tmp_path.iterdir()) and time.monotonic() < deadline:
        time.sleep(0.02)
    time.sleep(0.3)
    running.send_signal(signal.SIGINT)
    _, err = running.communicate(timeout=120)
    assert running.returncode == 130, err.decode()
    assert b"Traceback" not in err
    assert not [p for p in tmp_path.iterdir() if p.name.startswith(".")]


@pytest.mark.parametrize("after_s", [0.02, 0.08, 0.15, 0.3])
def test_ctrl_c_while_it_still_loads_is_told_in_one_line(after_s, process):
    # The process says when the program itself loads: what comes before that is not ours to catch.
    code = (
        "import sys; from beltspring.viz.cli import main;"
        "sys.addaudithook(lambda e, a: e == 'import' and a[0] == 'beltspring.viz.dispatch' and print(flush=True));"
        "sys.exit(main())"
    )
    running = process("run", "desk-corexy", "--set", "move.repeats=200", code=code)
    running.stdout.readline()
    time.sleep(after_s)
    running.send_signal(signal.SIGINT)
    _, err = running.communicate(timeout=120)
    assert running.returncode == 130, err.decode()
    assert err.decode().splitlines() in (["interrupted"], [])


def test_ctrl_c_while_python_lets_go_changes_nothing(process):
    code = (
        "import atexit, signal, sys; from beltspring.viz.cli import main;"
        "atexit.register(signal.raise_signal, signal.SIGINT); sys.exit(main())"
    )
    ending = process("--version", code=code)
    out, err = ending.communicate(timeout=120)
    assert (ending.returncode, out[:11], err) == (0, b"beltspring ", b"")


def test_ctrl_c_while_the_last_module_loads_does_not_kill_what_is_whole(process):
    # It would be tried again 0.05 s later, when the command has ended and Python no longer answers alarms.
    code = (
        "import atexit, signal, sys, time; from beltspring.viz import cli, dispatch;"
        "late = compile('import signal; signal.raise_signal(signal.SIGINT)', '<frozen importlib.late>', 'exec');"
        "dispatch.overview = lambda: exec(late) or 'whole';"
        "atexit.register(lambda: (signal.signal(signal.SIGALRM, signal.SIG_DFL) if callable("
        "signal.getsignal(signal.SIGALRM)) else None, time.sleep(0.2)));"
        "sys.argv[1:] = ['--help']; sys.exit(cli.main())"
    )
    ending = process("--help", code=code)
    out, err = ending.communicate(timeout=120)
    assert (ending.returncode, out, err) == (0, b"whole\n", b"")


def test_ctrl_c_while_a_text_is_decoded_says_no_more_than_that(capsys, monkeypatch):
    # Python's codecs put "decoding with 'utf-8-sig' codec failed" into whatever is raised under them.
    monkeypatch.setattr("codecs.utf_8_decode", lambda *given: signal.raise_signal(signal.SIGINT))
    monkeypatch.setattr("beltspring.viz.dispatch.overview", lambda: b"text".decode("utf-8-sig"))
    with pytest.raises(KeyboardInterrupt, match="decoding"):
        b"text".decode("utf-8-sig")
    assert cli.main(["--help"]) == 130
    assert capsys.readouterr().err == "interrupted\n"


def test_ctrl_c_while_python_looks_for_rubbish_is_heard_after_it(capsys, monkeypatch):
    def press(phase, info):
        gc.callbacks.remove(press)
        signal.raise_signal(signal.SIGINT)  # what is raised in here Python catches, and prints

    def overview() -> str:
        gc.callbacks.append(press)
        gc.collect()
        time.sleep(5.0)
        return "never"

    monkeypatch.setattr("beltspring.viz.dispatch.overview", overview)
    hook = sys.unraisablehook
    assert cli.main(["--help"]) == 130
    assert capsys.readouterr() == ("", "interrupted\n")
    assert sys.unraisablehook is hook


def test_it_runs_as_a_module():
    done = subprocess.run([sys.executable, "-m", "beltspring.viz", "--version"], capture_output=True)
    assert (done.returncode, done.stdout[:11]) == (0, b"beltspring ")


@pytest.mark.skipif(sys.platform != "linux", reason="only some systems have a device that is always full")
def test_a_full_disk_under_standard_output_is_named(process):
    with open("/dev/full", "w") as full:
        running = process("show", "desk-corexy", stdout=full)
        _, err = running.communicate(timeout=60)
    assert running.returncode == 2
    assert err.decode().splitlines() == [
        "standard output: No space left on device; make room there, or write somewhere else"
    ]


@pytest.mark.skipif(sys.platform == "win32", reason="pipes close differently there")
def test_a_reader_that_has_seen_enough_is_no_error(process):
    running = process("show", "desk-corexy")
    running.stdout.read(10)
    running.stdout.close()
    err = running.stderr.read()
    assert running.wait(timeout=60) == 0
    assert err == b""


def test_an_ascii_terminal_gets_plain_letters(process):
    out, err = process("run", "spring-mass", env={"PYTHONIOENCODING": "ascii"}).communicate(timeout=120)
    text = out.decode("ascii")
    assert "rings by um" in text
    assert "?" not in text
    assert err == b""


def test_json_survives_an_ascii_terminal(process, tmp_path):
    out, _ = process(
        "show", "spring-mass", "--set", 'title="Müllers Maschine µ"', "--json", env={"PYTHONIOENCODING": "ascii"}
    ).communicate(timeout=120)
    assert json.loads(out)["title"] == "Müllers Maschine µ"


def test_closed_standard_output_is_survived(process):
    running = process("show", stdout=None, preexec_fn=lambda: __import__("os").close(1))
    _, err = running.communicate(timeout=60)
    assert running.returncode == 0
    assert err == b""


def test_without_a_screen_bare_runs_and_watch_says_so(process):
    bare = process()
    out, err = bare.communicate(timeout=120)
    assert bare.returncode == 0
    assert b"no screen" in err
    assert b"rings at" in out
    watch = process("watch", "spring-mass")
    out, err = watch.communicate(timeout=120)
    assert watch.returncode == 2
    assert b"no screen" in err
    assert out == b""


@pytest.mark.parametrize("name", SHIPPED)
def test_show_names_an_origin_for_every_value(name, beltspring):
    found = json.loads(beltspring("show", name, "--json").out)
    assert {v["origin"] for v in found["values"]} <= {"file", "set", "variant", "part", "default", "computed"}
    keys = [v["key"] for v in found["values"]]
    assert len(keys) == len(set(keys))
    for key in ("title", "belts.ea_n", "carriage.mass_g", "motion.speed_mm_s"):
        assert key in keys
    table = beltspring("show", name).out
    assert max(map(len, table.splitlines())) <= 80


def test_show_alone_lists_the_shipped_scenarios(beltspring):
    assert sorted(entry["name"] for entry in json.loads(beltspring("show", "--json").out)) == SHIPPED
    text = beltspring("show").out
    assert all(name in text for name in SHIPPED)


def test_show_says_which_value_a_set_changed(beltspring):
    found = json.loads(beltspring("show", "spring-mass", "--set", "belts.pretension_n=21", "--json").out)
    (changed,) = (v for v in found["values"] if v["origin"] == "set")
    assert (changed["key"], changed["value"]) == ("belts.pretension_n", 21)


def test_parts_gives_every_number_a_source(beltspring):
    rows = json.loads(beltspring("parts", "--json").out)
    assert len(rows) > 100
    for row in rows:
        assert row["source"].strip()
        assert row["mark"].strip()
        if row["band"]:
            assert row["band"][0] <= row["value"] <= row["band"][1]
    belts = json.loads(beltspring("parts", "belts", "--json").out)
    assert {row["kind"] for row in belts} == {"belts"}
    one = json.loads(beltspring("parts", "belt-2mm-9-steel", "--json").out)
    assert {row["part"] for row in one} == {"belt-2mm-9-steel"}
    used = json.loads(beltspring("parts", "desk-corexy", "--json").out)
    assert {row["part"] for row in used if row["kind"] == "belts"} == {"belt-2mm-6-glass"}
    assert max(map(len, beltspring("parts").out.splitlines())) <= 80


def test_modes_over_the_reach(beltspring, tmp_path):
    found = json.loads(beltspring("modes", "spring-mass", "--json", "--out", tmp_path / "m").out)
    assert [p["place"] for p in found["places"]] == ["middle", "front left", "front right", "rear left", "rear right"]
    middle = found["places"][0]["modes"]
    run = json.loads(beltspring("run", "spring-mass", "--json").out)
    assert [m["words"] for m in middle] == [m["words"] for m in run["modes"]]
    assert json.loads((tmp_path / "m" / "modes.json").read_text()) == found
    assert "over the reach" in beltspring("modes", "spring-mass").out


def test_compare_names_what_differs_and_which_rings_least(beltspring, tmp_path):
    said = beltspring(
        "compare", "desk-corexy", "--vary", "belts.part=belt-2mm-6-glass,belt-2mm-12-glass", "--out", tmp_path / "c"
    )
    assert said.code == 0
    words = " ".join(said.out.split())
    assert "Only belts.part differs" in words
    assert "Stiffest: belt-2mm-12-glass" in words
    assert "Best, judged over speeds near its own: belt-2mm-12-glass" in words
    found = json.loads((tmp_path / "c" / "compare.json").read_text())
    assert found["differs"] == [{"key": "belts.part", "values": ["belt-2mm-6-glass", "belt-2mm-12-glass"]}]
    by_name = {d["name"]: d for d in found["designs"]}
    soft, stiff = (by_name[f"belt-2mm-{width}-glass"]["stiffness_n_per_mm"]["x"] for width in (6, 12))
    assert stiff > soft
    judged = [d["judged_um"] for d in found["designs"]]
    assert judged == sorted(judged)
    assert found["best"] == found["designs"][0]["name"] == "belt-2mm-12-glass"
    assert (tmp_path / "c" / "picture.png").stat().st_size > 10_000


def test_compare_counts_what_the_person_changed_and_not_what_follows(beltspring):
    found = json.loads(beltspring("compare", "desk-corexy", "--json").out)
    # The open variant also takes its three panels off.
    asked = {"belts.part", "belts.pretension_n", "frame.part", "motion.acceleration_mm_s2"}
    asked |= {f"frame.panels.{side}.part" for side in ("rear", "sides", "top")}
    assert found["reading"][0] == f"{len(asked)} values of the file differ; everything else is the same."
    assert {d["key"] for d in found["differs"]} > asked


def test_compare_runs_the_variants_and_refuses_a_scenario_without_any(beltspring, tmp_path):
    found = json.loads(beltspring("compare", "spring-mass", "--json").out)
    names = [d["name"] for d in found["designs"]]
    assert "as written" in names
    assert len(names) > 2
    # The loose belt goes slack, which check stops: it stands last, however little it rings.
    ranked = [(bool(d["check"]["stops"]), d["judged_um"]) for d in found["designs"]]
    assert ranked == sorted(ranked)
    assert names[-1] == "loose belt"
    plain = tmp_path / "plain.toml"
    plain.write_text(
        'title = "Plain"\nlayout = "moving-bed"\n[space]\nx_mm = 200\ny_mm = 200\nz_mm = 200\n[move]\npattern = "step"\n'
    )
    said = beltspring("compare", plain)
    assert said.code == 2
    assert "--vary" in said.err


def test_the_installed_command_is_this_one():
    from importlib.metadata import entry_points

    (entry,) = (e for e in entry_points(group="console_scripts") if e.name == "beltspring")
    assert entry.value == "beltspring.viz.cli:main"
    done = subprocess.run(
        [sys.executable, "-c", "from beltspring.viz.cli import main; main(['--version'])"], capture_output=True
    )
    assert done.stdout.startswith(b"beltspring ")
