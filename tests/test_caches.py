"""The folder of machine code by itself: what is kept comes back or is nothing, and what cannot be kept is told once."""

from __future__ import annotations

import hashlib
import os
import threading
import weakref
from concurrent.futures import CancelledError
from importlib.metadata import PackageNotFoundError
from pathlib import Path
from types import SimpleNamespace

import pytest
from beltspring.sim import caches, compiling
from beltspring.sim.compiled import _room_stamp, compiled
from numba.core import environment


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    place = tmp_path / "deep" / "kernels"
    monkeypatch.setenv("BELTSPRING_CACHE", str(place))
    monkeypatch.setattr(caches, "_troubles", [])
    return place


def files(folder: Path) -> list[str]:
    return sorted(p.name for p in folder.iterdir())


def test_what_is_kept_comes_back_and_what_is_forgotten_does_not(folder: Path) -> None:
    assert caches.kept("a") is None
    for content in (b"one", b"", b"two" * 1000):
        caches.keep("a", content)
        assert caches.kept("a") == content
        assert files(folder) == ["a.code"]
    assert folder.stat().st_mode & 0o777 == 0o700
    assert caches.trouble() is None
    caches.forget("a")
    assert files(folder) == []
    caches.forget("a")


def test_a_file_tells_by_its_own_sum_whether_it_is_whole(folder: Path) -> None:
    """The name of the format, SHA-256 of the rest (hashlib's), the rest."""
    caches.keep("a", b"content")
    place = folder / "a.code"
    whole = place.read_bytes()
    assert whole == caches.MAGIC + hashlib.sha256(b"content").digest() + b"content"
    for broken in (whole[:-1], whole + b"x", whole[1:], whole[:30] + b"x" + whole[31:], b"", caches.MAGIC):
        place.write_bytes(broken)
        assert caches.kept("a") is None


def test_a_file_as_large_as_allowed_is_read_and_a_larger_one_is_not(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    caches.keep("a", b"content")
    size = (folder / "a.code").stat().st_size
    monkeypatch.setattr(caches, "LARGEST_BYTES", size)
    assert caches.kept("a") == b"content"
    monkeypatch.setattr(caches, "LARGEST_BYTES", size - 1)
    assert caches.kept("a") is None


def test_what_else_stands_there_is_not_followed_or_waited_for(folder: Path) -> None:
    caches.keep("a", b"content")
    (folder / "link.code").symlink_to(folder / "a.code")
    os.mkfifo(folder / "pipe.code")
    (folder / "inner.code").mkdir()
    for name in ("link", "pipe", "inner"):
        assert caches.kept(name) is None


def test_systems_without_such_flags_read_all_the_same(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    caches.keep("a", b"content")
    for flag in ("O_NONBLOCK", "O_NOFOLLOW"):
        monkeypatch.delattr(os, flag)
    assert caches.kept("a") == b"content"


def test_a_folder_in_the_way_is_replaced(folder: Path) -> None:
    caches.keep("b", b"other")
    (folder / "a.code").mkdir()
    (folder / "a.code" / "inside").write_text("x")
    caches.keep("a", b"content")
    assert caches.kept("a") == b"content"
    assert caches.trouble() is None


def test_what_cannot_be_put_in_its_place_leaves_nothing_behind_and_is_told_once(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", refused)
    caches.keep("a", b"content")
    assert files(folder) == []
    assert "(No space left on device)" in str(caches.trouble())
    assert str(folder) in str(caches.trouble())
    monkeypatch.setattr(os, "replace", lambda *_: (_ for _ in ()).throw(ValueError("something else")))
    caches.keep("a", b"content")
    assert "(No space left on device)" in str(caches.trouble())
    monkeypatch.setattr(caches, "_troubles", [])
    caches.keep("a", b"content")
    assert "(something else)" in str(caches.trouble())


@pytest.mark.parametrize("who", ["writable", "owner"])
def test_a_folder_that_is_not_only_ours_is_not_used(folder: Path, monkeypatch: pytest.MonkeyPatch, who: str) -> None:
    caches.keep("a", b"content")
    if who == "writable":
        folder.chmod(0o720)
    else:
        monkeypatch.setattr(os, "getuid", lambda: 12345)
    assert caches.kept("a") is None
    caches.keep("b", b"content")
    assert files(folder) == ["a.code"]
    assert "belongs to or can be written by someone else" in str(caches.trouble())


def test_a_system_without_users_does_not_ask_for_them(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delattr(os, "getuid")
    caches.keep("a", b"content")
    assert caches.kept("a") == b"content"


def test_without_a_home_nothing_is_kept_and_it_says_so(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.delenv("BELTSPRING_CACHE", raising=False)
    monkeypatch.setattr(caches, "_troubles", [])
    monkeypatch.setattr(caches.platformdirs, "user_cache_dir", lambda *_, **__: "~/somewhere")
    monkeypatch.chdir(tmp_path)
    assert caches.cache_folder() == Path("~/somewhere/kernels")
    caches.keep("a", b"content")
    assert list(tmp_path.iterdir()) == []
    assert "there is no home folder" in str(caches.trouble())


def test_the_name_changes_with_what_machine_code_depends_on(monkeypatch: pytest.MonkeyPatch) -> None:
    from numba.core import config

    first = compiling.name_of("loop", "a")
    assert first.startswith("loop_")
    assert first == compiling.name_of("loop", "a")
    names = {first, compiling.name_of("loop", "b")}
    for setting in compiling.SETTINGS:
        with monkeypatch.context() as patch:
            patch.setattr(config, setting, "otherwise")
            names.add(compiling.name_of("loop", "a"))
    monkeypatch.setattr(compiling, "_surroundings", lambda: ("another version", None))
    names.add(compiling.name_of("loop", "a"))
    assert len(names) == 3 + len(compiling.SETTINGS)


def test_what_is_not_installed_is_named_by_its_source(monkeypatch: pytest.MonkeyPatch) -> None:
    def absent(_: str) -> str:
        raise PackageNotFoundError

    monkeypatch.setattr(compiling, "version", absent)
    compiling._surroundings.cache_clear()
    try:
        assert compiling._surroundings()[0] == "source"
    finally:
        compiling._surroundings.cache_clear()


def test_rooms_are_stamped_as_a_whole() -> None:
    """One stamp for all files of a room, whatever folder of it they lie in; another for each other room."""
    sim = Path(compiling.__file__).resolve().parent
    inner, outer = (_room_stamp(sim / "machine" / name) for name in ("layouts/delta.py", "build.py"))
    assert inner == outer
    plan, loose = _room_stamp(sim / "plan" / "arcs.py"), _room_stamp(sim / "trace.py")
    assert len({inner, plan, loose}) == 3
    assert loose == _room_stamp(sim / "caches.py")
    by_hand = hashlib.sha256()
    for path in sorted(sim.glob("*.py")):
        by_hand.update(path.name.encode() + path.read_bytes())
    assert loose == by_hand.hexdigest()


def test_loops_are_compiled_to_run_without_the_interpreters_lock() -> None:
    def twice(x):  # type: ignore[no-untyped-def]
        return 2 * x

    made = compiled(twice)
    assert getattr(made, "dispatcher", made).targetoptions["nogil"] is True


def test_work_is_done_aside_by_a_thread_that_holds_nobody_up() -> None:
    def look() -> tuple[bool, str, int]:
        inner = compiling.made_aside(threading.get_ident)
        me = threading.current_thread()
        return me.daemon, me.name, inner - threading.get_ident()

    assert compiling.made_aside(look) == (True, "machine code", 0)
    with pytest.raises(ZeroDivisionError):
        compiling.made_aside(lambda: 1 // 0)


def test_a_thread_that_is_let_go_waits_no_longer_and_its_work_is_known_to_be_unwanted(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(compiling, "_unwanted", weakref.WeakSet())
    release, came = threading.Event(), []

    def ask() -> None:
        try:
            compiling.made_aside(lambda: release.wait(30))
        except CancelledError:
            came.append("let go")

    asker = threading.Thread(target=ask)
    asker.start()
    compiling.let_go([asker])
    asker.join(20)
    assert came == ["let go"]
    left: list[int] = []
    monkeypatch.setattr(os, "_exit", left.append)
    compiling._leave()
    # An interrupted process ends as the shell's own do: 128 and the number of the signal (POSIX), 2.
    assert left == [128 + 2]
    (maker,) = compiling._unwanted
    release.set()
    maker.join(20)
    left.clear()
    compiling._leave()
    assert left == []


def test_nobody_who_was_not_let_go_is_sent_away() -> None:
    pause = threading.Event()
    assert compiling.made_aside(lambda: pause.wait(0.12)) is False


def test_what_may_not_be_kept_is_not(folder: Path) -> None:
    store = compiling._Kept(lambda _: "a", lambda _: None)
    reduced = (1, 2, 3, SimpleNamespace(args=()))

    def made(can_cache: bool, dynamic: bool) -> SimpleNamespace:
        final = SimpleNamespace(functions=[])
        library = SimpleNamespace(has_dynamic_globals=dynamic, _final_module=final)
        lifted = [SimpleNamespace(can_cache=can_cache)]
        return SimpleNamespace(lifted=lifted, library=library, target_context=None, _reduce=lambda: reduced)

    for refused in (made(False, False), made(True, True), made(False, True)):
        store.save_overload("signature", refused)
        assert not folder.exists()
    store.save_overload("signature", made(True, False))
    assert files(folder) == ["a.code"]


def test_what_cannot_be_understood_is_thrown_away(folder: Path) -> None:
    from numba.core.registry import cpu_target

    caches.keep("a", b"whole, and no machine code")
    assert compiling._Kept(lambda _: "a", lambda _: None).load_overload("signature", cpu_target.target_context) is None
    assert files(folder) == []


def test_code_of_a_part_of_numba_that_is_not_loaded_gets_surroundings_of_its_own() -> None:
    name = "tests.caches.nobody"
    try:
        found = compiling._surroundings_of("numba.nothing.of.this.name", (1, 2), name)
        assert found.consts == [1, 2]
        assert found.env_name == name
        assert environment.lookup_environment(name) is found
        assert compiling._surroundings_of("numba.nothing.of.this.name", (3,), name) is found
    finally:
        environment.Environment._memo.pop(name, None)
    loaded = compiling._surroundings_of("math", (4,), "tests.caches.somebody")
    try:
        assert loaded.consts == [4]
        assert loaded.globals["pi"] > 3
    finally:
        environment.Environment._memo.pop("tests.caches.somebody", None)
