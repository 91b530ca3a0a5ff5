"""What was measured, as files: every mistake is told in one line that says what would be right."""

from __future__ import annotations

import os

import numpy as np
import pytest
from beltspring.sim.errors import InputError
from beltspring.sim.study.fit import sound
from beltspring.sim.study.fit.columns import read_columns
from beltspring.sim.study.fit.measured import read_measured
from beltspring.sim.study.fit.sound import pitch_of, read_pitch
from scipy.io import wavfile

GOOD = "\n".join(f"{0.001 * i:.3f},{0.01 * (i % 3)},0,{9.8 + 0.01 * (i % 2)}" for i in range(400))
HEAD = "t_s,ax_m_s2,ay_m_s2,az_m_s2\n"


def told(reader, path) -> str:
    with pytest.raises(InputError) as caught:
        reader(path)
    message = str(caught.value)
    assert "\n" not in message
    assert "Traceback" not in message
    return message


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "the file is empty; its first line must be t_s,ax_m_s2"),
        (HEAD + "0,0,0,9.8\n", "1 row of samples, 50 are the fewest"),
        (HEAD.replace("ax_m_s2", "acc_x") + GOOD, 'column "acc_x": write the unit, ax_m_s2 or ax_g'),
        (HEAD.replace("ax_m_s2", "ax") + GOOD, 'column "ax": write the unit, ax_m_s2 or ax_g'),
        (HEAD.replace("ax_m_s2", "ax_ft_s2") + GOOD, 'column "ax_ft_s2": write the unit, ax_m_s2 or ax_g'),
        (HEAD.replace("t_s", "time") + GOOD, 'column "time": write the unit, t_s or t_ms'),
        (HEAD.replace("t_s", "n") + GOOD, "no column of times; write t_s or t_ms over it"),
        (HEAD.replace("ay_m_s2", "b") + GOOD, "no column of accelerations ay; write ax_m_s2 or ax_g over it"),
        (HEAD.replace("ay_m_s2", "ax_m_s2") + GOOD, 'column "ax_m_s2": stands there twice'),
        (HEAD.replace(",", ";") + GOOD.replace(",", ";"), "columns are parted by commas"),
        (HEAD + GOOD + "\n0.401,nan,0,9.8", 'line 402 column "ax_m_s2": "nan" is no number; leave the line out'),
        (HEAD + GOOD + "\n0.401,1e308,0,9.8", "holds numbers beyond 1e+12; no sensor tells such"),
        (HEAD + GOOD + "\n0.401,,0,9.8", 'line 402 column "ax_m_s2": "" is no number'),
        (HEAD + GOOD + "\n0.401,0,9.8", "line 402: 3 columns, where the first line names 4"),
        (HEAD + GOOD + "\n0.2,0,0,9.8", "line 402: the time does not go on"),
        (HEAD.replace("t_s", "t_us") + GOOD, "by t_us; is that its unit? A move takes longer"),
    ],
)
def test_columns_that_cannot_be_read(tmp_path, text, words):
    path = tmp_path / "step-x.csv"
    path.write_text(text, encoding="utf-8")
    assert words in told(read_columns, path)


def test_two_gigabytes_are_refused_without_being_read(tmp_path):
    path = tmp_path / "long.csv"
    with path.open("wb") as file:
        file.write(HEAD.encode())
        os.truncate(file.fileno(), 2_000_000_000)
    assert "larger than 30 MB, which is too much for a record of a sensor; cut it" in told(read_columns, path)


def test_no_file_a_folder_and_no_text(tmp_path):
    assert "cannot be read" in told(read_columns, tmp_path / "none.csv")
    assert "is a folder" in told(read_columns, tmp_path)
    (tmp_path / "b.csv").write_bytes(b"\xff\xfe\x00\x01" * 100)
    assert "is not a text file" in told(read_columns, tmp_path / "b.csv")


@pytest.mark.parametrize(("unit", "scale"), [("m_s2", 1.0), ("g", 9.80665), ("mg", 9.80665e-3)])
@pytest.mark.parametrize(("time", "tick"), [("t_s", 1.0), ("t_ms", 1e-3)])
def test_units_stand_in_the_head(tmp_path, unit, scale, time, tick):
    rows = "\n".join(f"{i / tick / 1000:.6f},1,2,3" for i in range(400))
    path = tmp_path / "a.csv"
    path.write_text(f"# a sensor of our own\n{time},ax_{unit},ay_{unit},az_{unit}\n{rows}\n", encoding="utf-8")
    found = read_columns(path)
    assert found.t_s[-1] == pytest.approx(0.399)
    assert found.a_m_s2[7] == pytest.approx(scale * np.array([1.0, 2.0, 3.0]))


def test_columns_may_stand_in_any_order_and_without_the_third(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("ay_g,t_s,ax_g\n" + "\n".join(f"2,{i / 500},1" for i in range(400)), encoding="utf-8")
    assert read_columns(path).a_m_s2[3] == pytest.approx(9.80665 * np.array([1.0, 2.0]))


def test_flat_tops_at_the_end_of_the_range_are_seen(tmp_path):
    t = np.arange(1000) / 1000
    a = np.clip(30 * np.sin(2 * np.pi * 5 * t), -19.6, 19.6)
    path = tmp_path / "a.csv"
    rows = "\n".join(f"{s},{v:.4f},0.0{i % 7},9.8{i % 5}" for i, (s, v) in enumerate(zip(t, a, strict=True)))
    path.write_text(HEAD + rows, encoding="utf-8")
    clipped = read_columns(path).clipped
    flat = np.abs(a) >= 19.6
    assert clipped[flat].all()
    assert (clipped & ~flat).sum() <= 2 * 10  # a neighbour at either side of ten tops


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "nothing was measured; write one of [[ripples]]"),
        ("[[ripple]]\naxis = 'x'", "unknown table [[ripple]]; did you mean [[ripples]]?"),
        ("[ripples]\naxis = 'x'", "write [[ripples]] with double brackets"),
        ("[[ripples]]\naxis = 'z'\nspeed_mm_s = 9\nspacing_mm = 1", 'axis = "z": must be one of x, y'),
        ("[[ripples]]\naxis = 'x'\nspeed_mm_s = 9", "spacing_mm is missing; write spacing_mm, from crest to crest"),
        ("[[ripples]]\naxis = 'x'\nspeed_mm_s = 9\nspacing_um = 9", "not written in that unit here, write spacing_mm"),
        ("[[ripples]]\naxis = 'x'\nspeed = 9\nspacing_mm = 9", "the unit belongs in it, write speed_mm_s"),
        ("[[ripples]]\naxis = 'x'\nspeed_mm_s = '9'\nspacing_mm = 9", "a number, 1 to 2000, without quotes"),
        ("[[ripples]]\naxis = 'x'\nspeed_mm_s = nan\nspacing_mm = 9", "speed_mm_s = nan: must be a number, 1 to 2000"),
        ("[[pitch]]\nrun = 'a left'\nfree_mm = 250", "write either hz, or sound with the name of a WAV file"),
        ("[[pitch]]\nrun = 'a'\nfree_mm = 250\nhz = 90", 'write belt and run, such as "a left"'),
        ("[[push]]\naxis = 'x'\nforce_n = 20\ngives_um = 100\nat_mm = [1]", "at_mm = [1]: must be 2 numbers"),
        ("[[push]]\naxis = 'x'\nforce_n = 0.09\ngives_um = 100", "force_n = 0.09: must be a number, 0.1 to 2000"),
        ("[[push]]\naxis = 'x'\nforce_n = 20\ngives_um = 0", "gives_um = 0: must be a number, 0.1 to 100000"),
        ("[[pitch]]\nrun = 'a left'\nfree_mm = 9\nhz = 90", "free_mm = 9: must be a number, 10 to 5000"),
        ("[[pitch]]\nrun = 3\nfree_mm = 90\nhz = 90", "run = 3: must be text"),
        ("[[weighed]]\nkey = 'carriage.mas_g'\nvalue = 300", "no such number; write a key as in the scenario"),
        ("[[weighed]]\nkey = 'carriage.mass_g'\nvalue = -3", "carriage.mass_g must be 1 to 100000 g, above 0"),
        ("[[record]]\nfile = 'none.csv'", "none.csv: cannot be read"),
        ("[[record]]\nfile = 'a.csv'\nset = { 'belts.ea_n' = 3 }", "belts.ea_n is no part of what was asked"),
        ("[[record]]\nfile = 'a.csv'\nuse = 'test'", 'use = "test": must be one of fit, check'),
        ("x = [", "the file must be TOML: [[ripples]]"),
        (
            "[[ripples]]\nspacing_mm =  # from crest to crest\naxis = 'x'",
            "line 2: spacing_mm has no value; write one behind the =",
        ),
        ("[[pitch]]\nhz =", "line 2: hz has no value; write one behind the = (a number as hz = 2.5"),
    ],
)
def test_measured_files_that_cannot_be_read(tmp_path, text, words):
    (tmp_path / "a.csv").write_text(HEAD + GOOD, encoding="utf-8")
    path = tmp_path / "measured.toml"
    path.write_text(text, encoding="utf-8")
    assert words in told(read_measured, path)


def test_defaults_are_filled_in(tmp_path):
    path = tmp_path / "measured.toml"
    path.write_text(
        "[[ripples]]\naxis = 'y'\nspeed_mm_s = 150\nspacing_mm = 2.1\n"
        "[[pitch]]\nrun = 'a left'\nfree_mm = 250\nhz = 86\n"
        "[[push]]\naxis = 'x'\nforce_n = 20\ngives_um = 171\n"
        "[[weighed]]\nkey = 'carriage.mass_g'\nvalue = 320\n",
        encoding="utf-8",
    )
    found = read_measured(path)
    (ripples,), (pitch,), (push,), (weighed,) = found.ripples, found.pitch, found.push, found.weighed
    assert (ripples.axis, ripples.speed_m_s, ripples.spacing_m, ripples.give_m) == pytest.approx(
        (1, 0.15, 2.1e-3, 5e-5)
    )
    assert (pitch.belt, pitch.run, pitch.free_m) == ("a", "left", 0.25)
    assert pitch.give_hz == pytest.approx(0.02 * 86)
    assert push.give_or_take_m == pytest.approx(0.05 * 171e-6)
    assert weighed.give == pytest.approx(3.2)


def plucked(hertz: float, rate: float = 8000.0, lasts: float = 1.5, noise: float = 0.02) -> np.ndarray:
    """A string that is plucked a fifth along: overtones as its shape gives them, each dying faster, after a silence."""
    rng = np.random.default_rng(3)
    t = np.arange(0, lasts, 1 / rate)
    x = sum(
        np.sin(np.pi * k / 5) / k**2 * np.sin(2 * np.pi * k * hertz * t) * np.exp(-t * (2 + k)) for k in range(1, 9)
    )
    return np.concatenate([np.zeros(int(0.3 * rate)), x]) + noise * rng.normal(size=len(t) + int(0.3 * rate))


@pytest.mark.parametrize("hertz", [43.0, 86.4, 131.7, 310.0])
def test_the_pitch_of_a_plucked_string_is_its_fundamental(tmp_path, hertz):
    path = tmp_path / "left.wav"
    x = plucked(hertz)
    wavfile.write(path, 8000, (8000 * x).astype(np.int16))
    assert read_pitch(path) == pytest.approx(hertz, rel=2e-3)


def test_a_sound_may_be_as_large_as_is_said_and_no_larger(tmp_path, monkeypatch):
    path = tmp_path / "left.wav"
    wavfile.write(path, 8000, (8000 * plucked(90.0)).astype(np.int16))
    monkeypatch.setattr(sound, "LARGEST_BYTES", path.stat().st_size)
    assert read_pitch(path) == pytest.approx(90.0, rel=2e-3)
    monkeypatch.setattr(sound, "LARGEST_BYTES", path.stat().st_size - 1)
    assert "larger than" in told(read_pitch, path)


def test_a_small_microphone_that_hardly_hears_the_fundamental():
    x = plucked(90.0)
    weak = np.gradient(np.gradient(x))  # overtones lifted by their square
    assert pitch_of(weak / weak.std(), 8000.0, "a") == pytest.approx(90.0, rel=3e-3)


def test_sounds_that_tell_nothing(tmp_path):
    rng = np.random.default_rng(1)
    for name, x, words in (
        ("silent", np.zeros(8000), "is silent"),
        ("short", plucked(90.0)[:500], "0.15 s are needed"),
        ("noise", 0.1 * rng.normal(size=12000), "no pitch stands out"),
    ):
        wavfile.write(tmp_path / f"{name}.wav", 8000, (8000 * x).astype(np.int16))
        assert words in told(read_pitch, tmp_path / f"{name}.wav")
    (tmp_path / "a.wav").write_bytes(b"RIFF....WAVEfmt ")
    assert "is no WAV file that can be read" in told(read_pitch, tmp_path / "a.wav")
