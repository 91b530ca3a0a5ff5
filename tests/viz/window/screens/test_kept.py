"""Panels kept as pictures while the clock stands show what a fresh drawing shows, whatever was changed before."""

from __future__ import annotations

import numpy as np
import pygame


def test_what_is_kept_is_what_would_be_drawn(hands):
    screen, clock = hands.app.screen, hands.app.clock
    shown = hands.app.session.shown

    def press(name):
        return lambda: hands.press(name)

    changes = [
        lambda: clock.go(0.5 * shown.end_s), lambda: hands.wheel(screen.plot.rect.center, 2), press("curve"),
        press("how large"), press("belts or motors"), lambda: hands.app.command("theme"),
        lambda: setattr(hands.app.session, "failed", "no run"), lambda: hands.app.set_scale(1.2),
        lambda: hands.app.resize((1024, 680)),
    ]  # fmt: skip
    for change in changes:
        change()
        if hands.surface.get_size() != hands.app.size:
            hands.surface = pygame.Surface(hands.app.size, 0, 32)
        hands.pixels()
        kept = hands.pixels()
        screen.kept.forget()
        assert np.array_equal(hands.pixels(), kept)


def test_a_frame_draws_only_what_has_changed(hands, monkeypatch):
    screen, drawn = hands.app.screen, []
    panel = screen._panel
    monkeypatch.setattr(screen, "_panel", lambda target, look, name: (drawn.append(name), panel(target, look, name)))
    hands.pixels()
    drawn.clear()
    slider = hands.control("carriage.mass_g")
    hands.move(slider.rect.center)
    hands.pixels()
    assert drawn == []
    hands.app.clock.go(hands.app.clock.time_s + 0.01)
    hands.pixels()
    assert "spectrum" not in drawn
    assert {"machine", "deviation"} <= set(drawn)
    hands.app.clock.playing = True
    hands.step()
    assert len(drawn) > 4
    hands.app.stage.show("mixing")
    assert not screen.kept._pictures


def test_the_first_frame_of_a_new_run_draws_its_curves_and_the_next_the_rest(hands, monkeypatch):
    screen, session, drawn = hands.app.screen, hands.app.session, []
    hands.pixels()
    panel = screen._panel
    monkeypatch.setattr(screen, "_panel", lambda target, look, name: (drawn.append(name), panel(target, look, name)))
    before = session.shown
    session.change({"carriage.mass_g": 430.0}, True)
    while session.shown is before:
        drawn.clear()
        hands.step()
    assert drawn == ["deviation"]
    drawn.clear()
    assert hands.step()
    assert "machine" in drawn
    assert "deviation" not in drawn
    hands.settle()
    kept = hands.pixels()
    screen.kept.forget()
    assert np.array_equal(hands.pixels(), kept)
