"""Sheets of the window: open, save, export."""

from __future__ import annotations

import time

import pygame
import pytest
from beltspring.sim.scenario.load import load_scenario
from beltspring.viz.files.scenario import tree_toml
from beltspring.viz.window.sheets.export import ExportSheet
from beltspring.viz.window.sheets.open import OpenSheet
from beltspring.viz.window.sheets.save import SaveSheet

from tests.viz.words import assert_words

CTRL = pygame.KMOD_CTRL


class TestSheets:
    def test_opening_a_shipped_scenario(self, hands):
        hands.key(pygame.K_o, CTRL)
        assert isinstance(hands.app.sheet, OpenSheet)
        hands.press("open spring-mass")
        until = time.monotonic() + 60
        while hands.app.sheet is not None and time.monotonic() < until:
            hands.step()
            time.sleep(0.01)
        assert hands.app.session.shown.result.title == load_scenario("spring-mass").title
        assert hands.app.screen.name == "ringing"

    def test_a_wrong_path_is_told_and_nothing_is_lost(self, hands, tmp_path):
        shown = hands.app.session.shown
        hands.key(pygame.K_o, CTRL)
        hands.press("path")
        hands.type(str(tmp_path / "none.toml"))
        hands.key(pygame.K_RETURN)
        until = time.monotonic() + 20
        while not hands.app.sheet.trouble and time.monotonic() < until:
            hands.step()
            time.sleep(0.01)
        assert "none.toml" in hands.app.sheet.trouble
        assert hands.app.session.shown is shown

    def test_saving_changed_settings(self, hands, tmp_path):
        hands.app.session.change({"belts.pretension_n": 22.0, "motion.acceleration_mm_s2": 3000.0}, True)
        hands.key(pygame.K_s, CTRL)
        assert isinstance(hands.app.sheet, SaveSheet)
        hands.press("file")
        hands.key(pygame.K_a, CTRL)
        hands.type(str(tmp_path / "mine"))
        hands.key(pygame.K_RETURN)
        assert hands.app.sheet is None
        again = load_scenario(tmp_path / "mine.toml")
        assert again.file.belts.pretension_n == 22.0
        assert again.file.motion.acceleration_mm_s2 == 3000.0
        assert again.variants == ("9 mm belt", "gentler")
        assert again.tree["carriage"] == hands.app.session.scenario.tree["carriage"]

    def test_saving_never_overwrites(self, hands, tmp_path):
        there = tmp_path / "there.toml"
        there.write_text("precious")
        hands.app.show_sheet("save")
        hands.app.sheet._save(str(there))
        assert "already there" in hands.app.sheet.trouble
        assert there.read_text() == "precious"
        assert [p.name for p in tmp_path.iterdir()] == ["there.toml"]

    def test_every_shipped_scenario_writes_and_loads_again(self, tmp_path):
        from beltspring.sim.scenario.source import shipped_scenarios

        for shipped in shipped_scenarios():
            scenario = load_scenario(shipped.name)
            path = tmp_path / f"{shipped.name}.toml"
            path.write_text(tree_toml(scenario.tree), encoding="utf-8")
            assert load_scenario(path).file == scenario.file

    @pytest.mark.parametrize("part", [0, 2])
    def test_export_of_a_picture(self, hands, tmp_path, part):
        from PIL import Image

        hands.key(pygame.K_e, words="e")
        sheet = hands.app.sheet
        assert isinstance(sheet, ExportSheet)
        sheet.part.value = part
        sheet.large.value = 1
        panel = hands.app.screen.panels()[sheet.part.words] if part else None
        sheet.field.line.words = str(tmp_path / "out.png")
        hands.press("export")
        assert hands.app.sheet is None
        with Image.open(tmp_path / "out.png") as image:
            wide = panel.w if panel else 1280
            assert abs(image.size[0] - 2 * wide) <= 2
            assert "Test desk machine" in image.text["Description"]

    def test_export_refuses_to_overwrite(self, hands, tmp_path):
        (tmp_path / "out.png").write_text("mine")
        hands.app.show_sheet("export")
        hands.app.sheet.field.line.words = str(tmp_path / "out.png")
        hands.app.sheet._go()
        assert "already there" in hands.app.sheet.trouble
        assert (tmp_path / "out.png").read_text() == "mine"

    def test_a_film_from_the_window_and_cancel(self, hands, tmp_path):
        hands.app.clock.speed_index = 0
        hands.app.show_sheet("export")
        sheet = hands.app.sheet
        sheet.kind._pick(1)
        sheet.field.line.words = str(tmp_path / "out.mp4")
        hands.press("export")
        for _ in range(3):
            hands.step()
        assert sheet.job is not None, sheet.trouble
        assert 0 < sheet.job.done < sheet.job.total
        assert_words(hands, f"of {sheet.job.total}")
        hands.press("cancel")
        assert sheet.job is None
        assert list(tmp_path.iterdir()) == []
