"""What Compare says is equal is so in every completed design."""

from __future__ import annotations

from beltspring.viz.window.differences import equal_words
from beltspring.viz.window.runs import run_changed


def test_only_what_every_completed_design_has_alike_is_called_equal(desk):
    same = run_changed(desk.scenario, {"belts.part": "belt-2mm-9-glass"})
    told = equal_words([desk, same])
    assert "pretension 16 N" in told
    # A wider belt drops the written stiffness with the part: it is not the same any more.
    assert not any("belt EA" in part for part in told)
    gentler = run_changed(
        desk.scenario, {"motion.acceleration_mm_s2": 1500, "belts.pretension_n": 12, "carriage.mass_g": 500}
    )
    told = equal_words([desk, gentler])
    assert not any(part.startswith(("pretension", "carriage", "5")) for part in told)
    assert "gantry 410 g" in told
    faster = run_changed(desk.scenario, {"motion.speed_mm_s": 100})
    assert not any("at 150 mm/s" in part for part in equal_words([desk, faster]))
