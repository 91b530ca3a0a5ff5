"""Films: right length, right size, settings inside, nothing left behind when stopped."""

from __future__ import annotations

import sys
from dataclasses import replace

import av
import numpy as np
import pygame
import pytest
from beltspring.sim import load
from beltspring.sim.errors import InputError
from beltspring.viz.cli import main
from beltspring.viz.draw import text
from beltspring.viz.film import film_jobs, write_film
from beltspring.viz.window.filming import SLOWER, clock_times
from beltspring.viz.window.runs import run_changed
from PIL import Image


@pytest.fixture(scope="module")
def printed():
    """A machine of which every part gives."""
    return run_changed(load("desk-corexy"), {})


def test_clock_of_the_frames():
    times = clock_times(1.0, 0.1, 30)
    assert times[0] == 0.0
    assert times[-1] == 1.0
    assert len(times) == 301 + 15  # ten seconds shown, and half a second of standing still
    assert np.all(np.diff(times) >= 0)


def test_mp4(desk, tmp_path):
    path = write_film([desk], tmp_path / "ring.mp4", begin_s=0.40, end_s=0.44, size=(1280, 720))
    with av.open(str(path)) as film:
        frames = [f.to_ndarray(format="rgb24").astype(int) for f in film.decode(video=0)]
        assert "Test desk machine" in film.metadata["comment"]
        assert float(film.streams.video[0].average_rate) == 30
    assert len(frames) == round(0.04 / 0.1 * 30 * SLOWER) + 15  # all of it lies at a corner
    assert frames[0].shape == (720, 1280, 3)
    assert np.abs(frames[0] - frames[10]).max() > 60  # it moves
    assert [p.name for p in tmp_path.iterdir()] == ["ring.mp4"]


def test_gif_of_the_bench(desk, tmp_path):
    path = write_film([desk], tmp_path / "mix.gif", screen="mixing", frames_s=5)
    with Image.open(path) as film:
        assert film.size == (800, 450)
        assert film.n_frames > 20
        assert film.info["duration"] == 200
        assert b"Test desk machine" in film.info["comment"]


def test_progress_and_interruption(desk, tmp_path):
    seen = []

    def stop(done, total):
        seen.append((done, total))
        if done == 3:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_film([desk], tmp_path / "x.mp4", progress=stop)
    assert [d for d, _ in seen] == [1, 2, 3]
    assert list(tmp_path.iterdir()) == []


def test_what_cannot_be_filmed(desk, tmp_path, monkeypatch):
    with pytest.raises(InputError, match=r"\.mp4 or \.gif"):
        film_jobs([desk], tmp_path / "x.avi")
    with pytest.raises(InputError, match="mixing, ringing, moves, compare, print"):
        film_jobs([desk], tmp_path / "x.mp4", screen="wall")
    monkeypatch.setitem(sys.modules, "av", None)
    with pytest.raises(InputError, match="beltspring\\[video\\]"):
        film_jobs([desk], tmp_path / "x.mp4")
    assert list(tmp_path.iterdir()) == []


class TestCommand:
    def test_a_film_in_a_folder(self, tmp_path, capsys, monkeypatch):
        monkeypatch.chdir(tmp_path)
        assert main(["film", "spring-mass", "--to-ms", "30", "--out", "made", "--file", "film.gif"]) == 0
        assert "film.gif" in capsys.readouterr().out
        assert sorted(p.name for p in (tmp_path / "made").iterdir()) == ["film.gif"]
        assert main(["film", "spring-mass", "--to-ms", "30", "--out", "made"]) == 2
        assert "--replace" in capsys.readouterr().err
        assert main(["film", "spring-mass", "--to-ms", "30", "--out", "made", "--file", "film.gif", "--replace"]) == 0

    @pytest.mark.parametrize(
        ("words", "said"),
        [
            (["--speed", "3"], "1/1000 to 1"),
            (["--speed", "fast"], "1/1000 to 1"),
            (["--file", "x.avi"], ".mp4 or .gif"),
            (["--file", "none/x.mp4"], "no folder"),
            (["--from-ms", "99999"], "before the end"),
            (["--speed", "1/1000"], "300 s"),
            (["--screen", "wall"], "wall"),
        ],
    )
    def test_wrong_words_are_told_and_nothing_is_written(self, tmp_path, capsys, monkeypatch, words, said):
        monkeypatch.chdir(tmp_path)
        assert main(["film", "spring-mass", *words]) == 2
        assert said in capsys.readouterr().err
        assert list(tmp_path.iterdir()) == []

    def test_an_existing_file_is_kept(self, tmp_path, capsys, monkeypatch):
        monkeypatch.chdir(tmp_path)
        (tmp_path / "film.mp4").write_text("mine")
        assert main(["film", "spring-mass"]) == 2
        assert (tmp_path / "film.mp4").read_text() == "mine"


class TestPage:
    def page(self, desk, size=(1920, 1080), **how):
        from beltspring.viz.charts.shown import Shown
        from beltspring.viz.pages.settings_line import settings_line
        from beltspring.viz.window.film_page import FilmPage

        return FilmPage(Shown(desk), "dark", size, settings_line(desk), **how)

    @pytest.mark.parametrize("size", [(1920, 1080), (1280, 720), (800, 450)])
    def test_words_are_large_enough_and_do_not_meet(self, desk, size):
        page = self.page(desk, size)
        target = pygame.Surface(size, 0, 32)
        for time_s in (0.2, 0.45, 0.884, 1.4):
            with text.Log() as log:
                page.draw(target, time_s, 0.01)
            least = 20 * size[1] / 1080 if size[1] >= 720 else 14
            assert all(word.size >= least - 0.5 for word in log.words), "too small to read"
            assert all(target.get_rect().contains(word.rect) for word in log.words)
            for k, a in enumerate(log.words):
                for b in log.words[k + 1 :]:
                    assert not a.rect.inflate(-2, -4).colliderect(b.rect.inflate(-2, -4)), (a.text, b.text)

    @pytest.mark.parametrize("screen", ["compare", "mixing", "moves", "print"])
    @pytest.mark.parametrize("size", [(1280, 720), (800, 450)])
    def test_other_screens_have_pages_of_their_own(self, desk, printed, tmp_path, screen, size):
        """No controls, words large enough, none over another; what is told is the comparison's, the bench's, the mode's own."""
        job = film_jobs([printed if screen == "moves" else desk], tmp_path / "c.mp4", screen=screen, size=size)
        assert job.plan.size == size
        assert not job.stamp
        page, target, said = job.app.screen, pygame.Surface(size, 0, 32), []
        for share in (0.0, 0.35, 0.6):
            page.advance(0.35 * page.show_s)
            job.app.stage.clock.go(share * job.app.stage.clock.end_s)
            with text.Log() as log:
                job.app.draw_now(target)
            said += [word.text for word in log.words]
            assert all(word.size >= (14 if size[1] < 720 else 14.6) - 0.5 for word in log.words), "too small to read"
            assert all(target.get_rect().contains(word.rect) for word in log.words)
            words = [(word, word.rect.clip(word.clip).inflate(-2, -0.24 * word.size)) for word in log.words]
            for k, (a, ink) in enumerate(words):
                for b, other in words[k + 1 :]:
                    assert not ink.colliderect(other), (a.text, b.text)
        job.cancel()
        expected = {
            "compare": lambda: page.designs[1][0],
            "mixing": lambda: page.told()[0][0],
            "moves": lambda: "What gives way",
            "print": lambda: "The whole line",
        }
        assert expected[screen]() in said
        if screen == "print":
            assert any(words.startswith("Corner 2: up to ") for words in said)
        if screen == "compare":
            assert any("most off the line: " in words or "least off the line: " in words for words in said)

    def test_a_film_of_a_swing_ends_where_it_begins(self, printed, tmp_path):
        job = film_jobs([printed], tmp_path / "c.mp4", screen="moves", size=(800, 450), frames_s=10)
        page, first = job.app.screen, pygame.surfarray.array3d(job._frame(0)).astype(int)
        page.advance(page.show_s)
        job.app.draw_now(job._screen)
        again = pygame.surfarray.array3d(job._screen).astype(int)
        job.cancel()
        assert job.plan.loop == 0
        assert np.abs(again - first).max() < 8

    def test_a_corner_of_compared_designs(self, desk, tmp_path):
        job = film_jobs([desk], tmp_path / "c.mp4", screen="compare", size=(800, 450), corner=2)
        corner = job.app.screen.shown.corners[1]
        job.cancel()
        assert job.app.screen.only == corner
        assert job.plan.times_s[0] < corner.stop_s < job.plan.times_s[-1] == corner.end_s
        with pytest.raises(InputError, match="not on mixing"):
            film_jobs([desk], tmp_path / "c.mp4", screen="mixing", corner=2)

    def test_a_low_picture_leaves_the_height_to_the_curve(self, desk):
        said = {}
        for size in ((800, 450), (1280, 720)):
            with text.Log() as log:
                self.page(desk, size).draw(pygame.Surface(size, 0, 32), 0.5, 0.1)
            said[size] = [w.text for w in log.words]
            assert "Off the line, µm" in said[size]
            assert not any("its place" in words for words in said[size])  # one measure of how far off it is
        assert [("What it draws here" in words) for words in said.values()] == [False, True]

    def test_a_corners_curve_ends_where_the_next_one_begins(self, desk):
        page = self.page(desk, (800, 450))
        first, following = page.shown.corners[:2]
        long = replace(first, end_s=first.stop_s + 10.0)
        assert page._alone(long).end_s == following.begin_s
        assert page._alone(first) == first

    def test_captions_are_the_analysis_own(self, desk):
        page = self.page(desk)
        corner = page.shown.corners[1]
        head, line = desk.caption(corner.name, corner.leg)
        assert head == "Corner 2: told to stop, it rings on."
        loud = max((d for d in desk.analysis.ringdowns if d.leg.name == "leg 2"), key=lambda d: d.peak_m)
        assert f"swings by {1e6 * loud.peak_m:.0f} µm" in line
        assert "faded after" in line

    def test_time_is_stretched_at_corners(self, desk):
        from beltspring.viz.window.filming import stretched_times

        times = np.array(stretched_times(2.0, 0.1, 30, [(0.5, 0.7)], 10.0))
        steps = np.diff(times[times < 2.0 - 1e-9])
        middle = 0.5 * (times[1:] + times[:-1])[: len(steps)]
        slow = (middle > 0.501) & (middle < 0.699)
        assert steps[slow] == pytest.approx(0.01 / 30, rel=1e-6)
        assert np.median(steps[~slow]) == pytest.approx(0.1 / 30)
        assert (steps > 0).all()

    def test_a_corner_loops_without_a_jump(self, desk, tmp_path):
        job = film_jobs([desk], tmp_path / "c.gif", corner=2, frames_s=10)
        frames = [pygame.surfarray.array3d(job._frame(k)).astype(int) for k in (0, 1, 2, job.total - 1)]
        job.cancel()
        jump = np.abs(frames[3] - frames[0]).mean()
        assert jump < 0.35 * np.abs(frames[2] - frames[0]).mean() + 1.0
        with pytest.raises(InputError, match="no corner 9"):
            film_jobs([desk], tmp_path / "c.gif", corner=9)
