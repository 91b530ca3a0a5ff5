"""The golden numbers of a scenario."""

from __future__ import annotations

from pathlib import Path

from beltspring.sim.chain.chain import simulate_scenario
from beltspring.sim.scenario.load import load_scenario
from beltspring.sim.scenario.source import shipped_scenarios

STORE = Path(__file__).with_name("golden.json")
#: Shares by which a number may differ from the stored one: frequencies come from an eigensolver, peaks from a step loop
#: whose steps are cut by one; both are far below what a person is told (three figures).
FREQUENCY_SHARE, PEAK_SHARE = 1e-6, 1e-4
MODES = 4


def numbers(name: str) -> dict[str, float | None]:
    """By what it is: natural frequencies in Hz, ringing peaks and path errors in um."""
    outcome = simulate_scenario(load_scenario(name))
    out: dict[str, float | None] = {f"mode {i + 1} Hz": m.frequency_hz for i, m in enumerate(outcome.modes[:MODES])}
    for axis, ringing in outcome.analysis.ringing.items():
        out[f"{axis} peak um"] = None if ringing is None else ringing.peak_m * 1e6
    out["off the path um"] = outcome.analysis.path.across_max_m * 1e6
    return out


def names() -> list[str]:
    """Every shipped scenario."""
    return [s.name for s in shipped_scenarios()]
