"""Loops run compiled and plain give the same, and cached machine code is dropped when any source of the room changes."""

from __future__ import annotations

import math
import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from beltspring.sim import compiled as how
from beltspring.sim.scenario.motion import MotionLimits

from tests.plan.conftest import PlanProgram
from tests.plan.measure import apart


@pytest.mark.parametrize("jerk_m_s3", [0.0, 100.0])
def test_plans_are_the_same_compiled_and_not(
    planned: PlanProgram, monkeypatch: pytest.MonkeyPatch, jerk_m_s3: float
) -> None:
    lines = [f"G1 X{20 + 5 * math.cos(0.1 * k):.3f} Y{0.05 * k:.3f} E{k}" for k in range(1500)]
    lines[::50] = [line.replace("G1", "G3") + " R9" for line in lines[::50]]
    text = "G92 E-1\nG1 F9000 X20 Y5\n" + "\n".join(lines) + "\nG4 P0.1\nM704 S1\nG28\n"
    limits = MotionLimits(0.15, 4.0, jerk_m_s3, 0.01, 20e-6)
    plans = []
    for worth in (0, 10**9):
        monkeypatch.setattr(how, "WORTH_COMPILING", worth)
        plans.append(planned(text, limits))
    a, b = plans
    assert a.move_s == pytest.approx(b.move_s, rel=1e-12)
    assert a.notes == b.notes
    assert [leg.name for leg in a.legs] == [leg.name for leg in b.legs]
    for u, v in zip(a.stretches(), b.stretches(), strict=True):
        assert u.t1 == pytest.approx(v.t1, abs=1e-12)
        t = np.linspace(u.t0, u.t1, 20)
        assert apart(u.commanded(t), v.commanded(t)) <= 1e-12


def test_a_changed_formula_is_not_served_from_the_cache(tmp_path: Path) -> None:
    """A formula in one file, the loop that uses it in another: after editing the first, the second must be new."""
    here = tmp_path / "room"
    here.mkdir()
    own = Path(how.__file__).parent
    for name in ("caches.py", "linking.py", "finished.py", "finishing.py", "compiling.py", "beside.py", "compiled.py"):
        shutil.copy(own / name, tmp_path / name)
    for folder in (tmp_path, here):
        (folder / "__init__.py").write_text("")
    (here / "loop.py").write_text(
        "from ..compiled import compiled\nfrom .formulas import twice\n\n\n@compiled\ndef run(x):\n    return twice(x)\n"
    )
    environment = {k: v for k, v in os.environ.items() if k != "NUMBA_DISABLE_JIT"}
    environment["BELTSPRING_CACHE"] = str(tmp_path / "cache")

    def result(factor: str) -> str:
        (here / "formulas.py").write_text(
            f"from ..compiled import formula\n\n\n@formula\ndef twice(x):\n    return {factor} * x\n"
        )
        path = f"import sys; sys.path.insert(0, {str(tmp_path.parent)!r})"
        code = f"{path}; from {tmp_path.name}.room import loop; print(loop.run(1.0))"
        made = subprocess.run([sys.executable, "-B", "-c", code], env=environment, capture_output=True, text=True)
        assert made.returncode == 0, made.stderr
        return made.stdout.strip()

    assert result("2.0") == "2.0"
    assert list((tmp_path / "cache").glob("run_*.code"))
    assert result("2.0") == "2.0"  # found again, by what needs no compiler where the system has that
    assert result("2.50") == "2.5"
