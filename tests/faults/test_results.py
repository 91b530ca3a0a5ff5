"""Results survive everything: killed before any file operation, failed by the disk at any, two runs at once."""

from __future__ import annotations

import errno
import json
import os
import random
import signal
import time
from pathlib import Path

import pytest
from beltspring.sim.errors import InputError
from beltspring.viz.files import folder, leftovers
from beltspring.viz.files.folder import OutFolder
from beltspring.viz.files.leftovers import clear_leftovers

from tests.faults.inject import Ended, fail, in_child, kill, killed_after, one_step
from tests.faults.results import FILES, hidden, mark, run, write

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="faults are put into a forked child")
CASES = ["new place", "replaced in one step", "replaced by two renames"]


@pytest.fixture(params=CASES)
def place(request, tmp_path, monkeypatch) -> Path:
    """A place of results: empty, or with old ones, on a system that can exchange folders or one that cannot."""
    if request.param == "replaced in one step" and not one_step():
        assert "CI" not in os.environ, "where everything must hold, two folders can be exchanged"
        pytest.skip("this system cannot exchange two folders")
    if request.param == "replaced by two renames":
        monkeypatch.setattr(folder, "exchange", lambda a, b: False)
    place = tmp_path / "inner" / "out"
    place.parent.mkdir()
    if request.param != "new place":
        write(place, "old")()
    return place


def test_killed_before_any_file_operation_nothing_is_lost_and_the_next_run_clears_up(place):
    before = mark(place)
    whole = in_child(write(place, "new"), place.parent)
    assert (whole.code, whole.said) == (0, "")
    assert whole.operations > 12
    assert mark(place) == "new"
    left_over = 0
    for at in range(1, whole.operations + 1):
        with_old(place, before)
        assert in_child(write(place, "new"), place.parent, kill, at).code == -9
        left_over += bool(hidden(place))
        clear_leftovers(place)
        assert hidden(place) == []
        assert mark(place) in (before, "new")
        write(place, "next")()
        assert mark(place) == "next"
        assert hidden(place) == []
    assert left_over > 5  # so that the clearing was asked for something


def with_old(place: Path, before: str | None) -> None:
    if before is None:
        for path in place.iterdir() if place.exists() else ():
            path.unlink()
        if place.exists():
            place.rmdir()
    else:
        write(place, before)()


def test_killed_between_two_renames_the_old_results_are_put_back(tmp_path, monkeypatch):
    monkeypatch.setattr(folder, "exchange", lambda a, b: False)
    place = tmp_path / "out"
    write(place, "old")()
    found = 0
    for at in range(1, in_child(write(place, "old"), tmp_path).operations + 1):
        in_child(write(place, "new"), tmp_path, kill, at)
        if not place.exists():
            found += 1
            with pytest.raises(InputError, match="the folder exists"), OutFolder(place, replace=False):
                pass
            assert mark(place) == "old"
        write(place, "old")()
        assert hidden(place) == []
    assert found >= 1


@pytest.mark.parametrize("ever_after", [False, True])
def test_failed_by_the_disk_at_any_operation_the_place_stays_whole(place, ever_after):
    before = mark(place)
    operations = in_child(write(place, "new"), place.parent).operations
    for at in range(1, operations + 1):
        with_old(place, before)
        number = (errno.ENOSPC, errno.EIO, errno.EROFS)[at % 3]
        ended = in_child(told(place), place.parent, fail(number), at, ever_after)
        assert ended.code in (0, 2), ended.said
        assert "Traceback" not in ended.said
        assert ended.code == 0 or str(place.parent) in ended.said
        if "puts it back" not in ended.said:
            # Only a disk that fails for good in the middle of two renames leaves no results at their place.
            assert mark(place) in ((before, "new") if ended.code == 2 else ("new",))
        clear_leftovers(place)
        assert mark(place) in (before, "new")
        with_old(place, before)
        assert hidden(place) == []


def told(place: Path):
    """The quick writing as the command line would tell its ending."""

    def work() -> int:
        try:
            return write(place, "new")()
        except (InputError, OSError) as error:
            print(error, place.parent if isinstance(error, OSError) else "")
            return 2

    return work


def test_errors_of_cleaning_do_not_change_how_a_run_ends(place):
    # What removes the old results fails; the new ones are there, and that is what counts.
    before = mark(place)

    def work() -> int:
        leftovers.shutil.rmtree = failing
        return write(place, "new")()

    def failing(*_: object, **__: object) -> None:
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    assert in_child(work, place.parent).code == 0
    assert mark(place) == "new"
    assert bool(hidden(place)) == (before is not None)
    clear_leftovers(place)
    assert hidden(place) == []


def test_ctrl_c_while_the_results_are_moved_waits_until_they_are_there(place):
    operations = in_child(write(place, "new"), place.parent).operations
    codes, kept = set(), []
    for at in range(1, operations + 1):
        ended = in_child(interrupted(place, f"new {at}"), place.parent, lambda: os.kill(os.getpid(), signal.SIGINT), at)
        codes.add(ended.code)
        assert ended.code == 130
        assert "Traceback" not in ended.said
        assert mark(place) is not None
        clear_leftovers(place)
        assert hidden(place) == []
        kept.append(mark(place) == f"new {at}")
    # From the first file on, while it is moved, and while what is left over is removed.
    assert kept[-(len(FILES) + 8) :] == [True] * (len(FILES) + 8)
    assert not kept[0]
    assert codes == {130}


def interrupted(place: Path, mark: str):
    def work() -> int:
        signal.signal(signal.SIGINT, signal.default_int_handler)
        try:
            write(place, mark)()
        except KeyboardInterrupt:
            return 130
        # The last operations may be told while no Python code runs any more.
        return 130 if mark else 0

    return work


def test_what_a_living_run_is_writing_is_left_alone(tmp_path):
    place = tmp_path / "out"
    with OutFolder(place, replace=True) as work:
        (work / "trace.csv").write_text("mine")
        assert in_child(write(place, "other"), tmp_path).code == 0
        assert (work / "trace.csv").read_text() == "mine"
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_hidden_folders_of_others_are_left_alone(tmp_path):
    place = tmp_path / "out"
    mine, process = f"{leftovers._host()}", os.getpid()
    for name in (
        ".out.mine", ".out.new-notes", f".outer.new-{mine}-1-1-abc", f".out.new-00000000-{process}-1-elsewhere",
        f".out.old-{mine}-{process}-{leftovers._started(process) or 0}-alive",
    ):  # fmt: skip
        (tmp_path / name).mkdir()
        (tmp_path / name / "trace.csv").write_text("x")
    dead = tmp_path / f".out.new-{mine}-{process}-1-abcd"  # the number is ours, but who had it before us is gone
    dead.mkdir()
    kept = len(hidden(place)) - 1
    # A clock that goes backwards makes folders of the future; they are nobody's left-overs yet.
    os.utime(tmp_path / f".out.new-00000000-{process}-1-elsewhere", (time.time() + 1e8, time.time() + 1e8))
    write(place, "new")()
    assert not dead.exists()
    assert len(hidden(place)) == kept
    os.utime(tmp_path / f".out.new-00000000-{process}-1-elsewhere", (0, 0))
    write(place, "new")()
    assert len(hidden(place)) == kept - 1


def test_runs_that_write_the_same_place_at_once_leave_one_of_them_whole(place):
    for turn in range(5):
        children = []
        for k in range(4):
            child = os.fork()
            if child == 0:
                code = 99
                try:
                    code = write(place, f"{turn}-{k}")()
                except InputError:
                    code = 2
                finally:
                    os._exit(code)
            children.append(child)
        codes = [os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) for child in children]
        assert set(codes) <= {0, 2}
        assert 0 in codes
        assert mark(place) in {f"{turn}-{k}" for k, code in enumerate(codes) if code == 0}
        assert hidden(place) == []


def test_whole_runs_killed_at_random_leave_whole_results(tmp_path):
    place = tmp_path / "out"
    assert run(place, 10)() == 0
    random_ = random.Random(1810)
    began = time.perf_counter()
    run(place, 11)()
    lasts = time.perf_counter() - began
    for _ in range(5):
        killed_after(run(place, 12), random_.uniform(0, 1.1 * lasts))
        sound(place)
    whole = in_child(run(place, 12), tmp_path)
    assert whole.code == 0, whole.said
    for at in random_.sample(range(1, whole.operations + 1), 4):
        assert in_child(run(place, 13), tmp_path, kill, at).code == -9
        sound(place)
    for at, number in ((random_.randint(1, whole.operations), n) for n in (errno.ENOSPC, errno.EIO) for _ in range(2)):
        ended = in_child(run(place, 14), tmp_path, fail(number), at, ever_after=True)
        check_told(ended)
        sound(place)
    assert run(place, 15)() == 0
    assert hidden(place) == []


def check_told(ended: Ended) -> None:
    assert ended.code in (0, 2), ended.said
    assert "Traceback" not in ended.said


def sound(place: Path) -> None:
    """Whole results stand at the place, of whichever run, or are put back by the next."""
    clear_leftovers(place)
    found = json.loads((place / "summary.json").read_text(encoding="utf-8"))
    assert found["ended"] == "complete"
    rows = (place / "trace.csv").read_text(encoding="utf-8").splitlines()
    assert rows[-1].count(",") == rows[0].count(",")
    assert abs(float(rows[-1].split(",")[0]) - found["duration_s"]) < 2e-3
    assert (place / "picture.png").read_bytes()[-8:-4] == b"IEND"
    assert hidden(place) == []
