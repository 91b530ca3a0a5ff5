"""The wheel: what is in it, and that it works read-only from a folder with modules named like our folders."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    """The wheel of a copy of the tree, so that building leaves nothing in it."""
    source, place = tmp_path_factory.mktemp("source") / "tree", tmp_path_factory.mktemp("wheel")
    source.mkdir()
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, source)
    for name in ("sim", "viz", "scenarios"):
        shutil.copytree(ROOT / name, source / name, ignore=shutil.ignore_patterns("__pycache__"))
    command = [sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "-w", str(place), str(source)]
    if _has_setuptools():
        command.insert(5, "--no-build-isolation")
    subprocess.run(command, check=True, capture_output=True, timeout=300)
    (found,) = place.glob("*.whl")
    return found


def _has_setuptools() -> bool:
    """Whether a new enough setuptools is here, so that no network is needed to build."""
    from importlib.metadata import PackageNotFoundError, version

    try:
        return int(version("setuptools").split(".")[0]) >= 77
    except PackageNotFoundError:
        return False


@pytest.fixture(scope="module")
def installed(wheel):
    """The wheel unpacked where nothing may write, and a folder with decoys to run it from."""
    base = Path(tempfile.mkdtemp(prefix="beltspring-wheel-"))
    place, folder = base / "site", base / "decoys"
    subprocess.run(
        [sys.executable, "-m", "pip", "install", "-q", "--no-deps", "--no-compile", "--target", str(place), str(wheel)],
        check=True,
        capture_output=True,
        timeout=300,
    )
    for path in [*place.rglob("*"), place]:
        path.chmod(0o555 if path.is_dir() else 0o444)
    folder.mkdir()
    for name in ("sim", "viz", "scenarios"):
        (folder / f"{name}.py").write_text("raise RuntimeError('a decoy was imported')\n")
    base.chmod(0o755)
    folder.chmod(0o777)
    yield place, folder
    shutil.rmtree(base, ignore_errors=True)


def without_privileges() -> list[str]:
    """A prefix for commands under which read-only means read-only for root too: root without its privileges."""
    if sys.platform.startswith("linux") and os.geteuid() == 0 and shutil.which("setpriv"):
        return ["setpriv", "--inh-caps=-all", "--bounding-set=-all"]
    return []


def run(installed, *arguments):
    place, folder = installed
    environment = dict(os.environ, PYTHONPATH=str(place), HOME=str(folder), XDG_CACHE_HOME=str(folder / "cache"))
    for name in ("DISPLAY", "WAYLAND_DISPLAY", "SDL_VIDEODRIVER"):
        environment.pop(name, None)
    code = (
        "import sys; import beltspring.sim as s, beltspring.viz.cli as c; "
        f"assert s.__file__.startswith({str(place)!r}), s.__file__; sys.exit(c.main())"
    )
    # No -P and no -I: the folder we stand in comes first on the path, as it does for a person's own script.
    before = sorted(place.rglob("*"))
    done = subprocess.run(
        [*without_privileges(), sys.executable, "-c", code, *arguments],
        cwd=folder, env=environment, capture_output=True, text=True, encoding="utf-8", timeout=300,
    )  # fmt: skip
    assert sorted(place.rglob("*")) == before, "something was written beside the code"
    return done


def test_the_wheel_holds_the_three_folders_with_their_data_and_nothing_else(wheel):
    names = zipfile.ZipFile(wheel).namelist()
    code = [n for n in names if ".dist-info/" not in n]
    assert {n.split("/")[0] for n in code} == {"beltspring"}
    assert {n.split("/")[1] for n in code} == {"sim", "viz", "scenarios"}
    for folder in ("sim", "viz", "scenarios"):
        wanted = {
            f"beltspring/{p.relative_to(ROOT).as_posix()}"
            for pattern in ("*.py", "*.toml", "*.gcode")
            for p in (ROOT / folder).rglob(pattern)
            if "gallery" not in p.parts  # the README's pictures and what draws them stay in the repository
        }
        missing = wanted - set(names)
        assert not missing, f"not in the wheel: {sorted(missing)}"
    assert not [n for n in names if "tests" in n.split("/")]
    assert any(n.endswith("licenses/LICENSE") for n in names)


def test_it_runs_read_only_among_decoys(installed):
    done = run(installed, "run", "spring-mass", "--json")
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["ended"] == "complete"


def test_it_writes_a_whole_result_from_there(installed):
    done = run(installed, "run", "spring-mass", "--quiet", "--out", "out", "--replace")
    assert done.returncode == 0, done.stderr
    found = sorted(p.name for p in (installed[1] / "out").iterdir())
    assert found == ["picture.png", "scenario.toml", "summary.json", "trace.csv"]


def test_it_lists_what_it_ships(installed):
    done = run(installed, "show", "--json")
    assert [s["name"] for s in json.loads(done.stdout)] == sorted(p.stem for p in (ROOT / "scenarios").glob("*.toml"))


def test_the_command_it_installs(wheel):
    entries = next(n for n in zipfile.ZipFile(wheel).namelist() if n.endswith("entry_points.txt"))
    text = zipfile.ZipFile(wheel).read(entries).decode()
    assert "beltspring = beltspring.viz.cli:main" in text
