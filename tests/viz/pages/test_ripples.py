"""The ripple map as a picture: read by every eye, nothing outside its panel, worst places numbered where they are."""

from __future__ import annotations

import numpy as np
import pygame
import pytest
from beltspring.sim import Report, load, run, with_changes
from beltspring.viz.charts.ripple_map import RAMPS, _draw_numbers, map_scale, ramp, worst_level
from beltspring.viz.draw import text
from beltspring.viz.draw.png import read_words
from beltspring.viz.draw.theme import THEMES, look
from beltspring.viz.pages.ripples import draw_ripples, ripple_picture

from tests.viz.draw.test_theme import SIGHT, contrast, lab, linear


@pytest.fixture(scope="module")
def tag():
    return run(load("key-tag"))


@pytest.mark.parametrize("sight", SIGHT)
@pytest.mark.parametrize("theme", RAMPS)
def test_lightness_tells_the_error_to_every_eye(theme, sight):
    """CIE lightness changes one way and evenly, also as seen with each kind of dichromacy (Machado et al. 2009)."""
    seen = [lab(np.array(SIGHT[sight]) @ linear(ramp(theme, share)))[0] for share in np.linspace(0, 1, 25)]
    steps = np.diff(seen)
    assert np.all(steps > 0) or np.all(steps < 0)
    assert abs(seen[-1] - seen[0]) > 55
    assert np.abs(steps).max() < 3.0 * np.abs(steps).mean()


@pytest.mark.parametrize("theme", RAMPS)
def test_both_ends_are_seen_on_the_panel(theme):
    # WCAG 2.2, 1.4.11: 3:1 for what is needed to understand; what hardly strays may be unobtrusive.
    assert contrast(ramp(theme, 1.0), THEMES[theme].panel) > 10
    assert contrast(ramp(theme, 0.5), THEMES[theme].panel) > 3
    assert contrast(ramp(theme, 0.0), THEMES[theme].panel) > 1.4


@pytest.mark.parametrize("theme", ["dark", "light"])
@pytest.mark.parametrize(("size", "scale"), [((1600, 1000), 1.0), ((1280, 800), 1.0), ((1600, 1000), 1.5)])
def test_words_stay_in_the_picture_and_apart(tag, theme, size, scale):
    pixels = (round(size[0] * scale), round(size[1] * scale))
    with text.Log() as log:
        draw_ripples(tag, look(theme, scale), pixels)
    whole = pygame.Rect((0, 0), pixels)
    assert len(log.words) > 30
    for word in log.words:
        assert whole.contains(word.rect), word
        assert word.size >= 14 * scale
    listed = [w for w in log.words if w.rect.x > 0.64 * pixels[0]]
    for i, a in enumerate(listed):
        for b in listed[:i]:
            assert not a.rect.inflate(-4, -8).colliderect(b.rect.inflate(-4, -8)), (a.text, b.text)


def test_numbers_stand_beside_their_places_and_apart(tag):
    found = tag.analysis.ripples
    level = worst_level(found)
    room = pygame.Rect(40, 90, 900, 700)
    scale = map_scale(room, found, level, 40)
    with text.Log() as log:
        _draw_numbers(pygame.Surface((1000, 900)), room, look("light"), found.places, level, scale)
    assert [w.text for w in log.words] == [str(place.number) for place in found.places]
    middles = [w.rect.center for w in log.words]
    for place, middle in zip(found.places, middles, strict=True):
        x, y = scale.at(np.array(place.point[:2]))
        assert room.collidepoint(middle)
        assert 15 < np.hypot(middle[0] - x, middle[1] - y) < 60
    apart = [np.hypot(a[0] - b[0], a[1] - b[1]) for i, a in enumerate(middles) for b in middles[:i]]
    assert min(apart) > 20


def test_true_scale_and_a_round_top(tag):
    found = tag.analysis.ripples
    level = worst_level(found)
    scale = map_scale(pygame.Rect(0, 0, 900, 700), found, level, 40)
    a, b = scale.at(np.array([[0.060, 0.070], [0.120, 0.110]]))
    assert b[0] - a[0] == pytest.approx(60e-3 * scale.px_m)
    assert a[1] - b[1] == pytest.approx(40e-3 * scale.px_m)
    top_um = scale.top_m * 1e6
    assert level.max_m * 1e6 <= top_um < 1.4 * level.max_m * 1e6
    assert top_um == pytest.approx(round(top_um))


def test_strong_error_is_drawn_where_it_is(tag):
    """Near the worst place of the level the picture holds a colour from the upper half of the scale."""
    image = draw_ripples(tag, look("light"), (1600, 1000))
    dark = np.array([ramp("light", s) for s in np.linspace(0.6, 0.95, 30)])
    pixels = pygame.surfarray.array3d(image)[40:960, 130:880].astype(int)
    near = np.abs(pixels[:, :, None, :] - dark[None, None]).sum(axis=3).min(axis=2) < 12
    assert near.sum() > 60


def test_the_file_says_what_made_it(tag, tmp_path):
    path = ripple_picture(tag, tmp_path / "ripples.png", "dark", scale=0.5)
    words = read_words(path.read_bytes())
    assert "ripple map" in words["Title"]
    assert "key-tag.gcode" in words["Description"]
    first = path.read_bytes()
    assert ripple_picture(tag, tmp_path / "again.png", "dark", scale=0.5).read_bytes() == first


def test_a_program_that_lays_nothing_is_mapped_all_along(tmp_path):
    path = tmp_path / "cut.gcode"
    path.write_text("G21 G90 F6000\nG0 X20 Y20\nG1 X60\nG1 Y60\nG1 X20\nG1 Y20\n")
    report = run(with_changes(load("desk-corexy"), {"move.gcode": str(path)}))
    image = draw_ripples(report, look("dark"), (1200, 800))
    assert not report.analysis.ripples.lays
    assert image.get_size() == (1200, 800)


def test_where_nothing_is_laid_the_printed_line_is_not_drawn(tag):
    from beltspring.viz.charts.printed import draw_line, fit_path
    from beltspring.viz.charts.shown import Shown

    shown = Shown(tag)
    assert not shown.laid.all()
    rect = pygame.Rect(0, 0, 600, 500)
    scale = fit_path(rect, shown, 1.0, 20)
    image = pygame.Surface((600, 500))
    draw_line(image, rect, look("light"), shown, scale, None, width_px=3)
    colour = np.array(look("light").theme.laid)

    def drawn(x_m: float, y_m: float) -> bool:
        x, y = (round(float(v)) for v in scale.path(np.array([x_m, y_m])))
        patch = pygame.surfarray.array3d(image)[x - 2 : x + 3, y - 2 : y + 3].astype(int)
        return bool((np.abs(patch - colour).sum(axis=2) < 60).any())

    assert drawn(0.090, 0.070)  # the front edge
    assert drawn(0.109, 0.095)  # the hole
    # On the travel from the end of the last row (X68 Y104.2) to the next start (X60 Y70).
    assert not drawn(0.060 + 0.008 * 9.5 / 34.2, 0.0795)


def test_no_cause_is_cut(tag, monkeypatch):
    causes = tag.place_causes
    more = "and the gantry on its rods (31 %) and the frame on its corners (28 %)"
    long = [f"{words} {more}, {k}" for k, words in enumerate(causes)]
    monkeypatch.setattr(Report, "place_causes", long)
    with text.Log() as log:
        draw_ripples(tag, look("light"), (1600, 1000))
    drawn = [w.text for w in log.words]
    # Too many long ones leave no room for the last places; those that are there are told to the end.
    there = [k for k in range(len(long)) if f"{tag.analysis.ripples.places[k].number}" in drawn]
    ends = [k for k in there if any(line.endswith(f", {k}") for line in drawn)]
    assert len(ends) >= 5
    begun = sum(words.startswith(("X rings at", "Y rings at")) for words in drawn)
    assert begun == len(ends)
