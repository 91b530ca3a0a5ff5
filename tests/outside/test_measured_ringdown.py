"""A ring-down that a real accelerometer recorded, read by our fit of a decay, against the frequency published for it.

The record comes in the wheel of the general-purpose package `vibration_toolbox` 0.6.10 (MIT; J. Slater and others):
data/case1.mat, a structure struck once, 1280 Hz. Its documentation (`sdof_cf`, read) gives 212.0925305 Hz for it by a curve
fit of the frequency response; the damping ratio of that fit is 0.081 % (from a run of it). Nothing is imported from the
package: the record is taken out of the wheel as a file. `.ci/run` fetches the wheel and hands its folder in
BELTSPRING_OUTSIDE; by hand:

    pip download --no-deps vibration_toolbox==0.6.10 -d DIR && BELTSPRING_OUTSIDE=DIR pytest tests/outside
"""

from __future__ import annotations

import io
import os
import zipfile
from pathlib import Path

import numpy as np
import pytest
from beltspring.sim.analyse.ringing.decay import fit_damped
from scipy.io import loadmat
from scipy.signal import butter, sosfiltfilt

PUBLISHED_HZ, PUBLISHED_DAMPING = 212.092530551, 0.00081
WHEEL = "vibration_toolbox-0.6.10-py35-none-any.whl"


def record() -> tuple[np.ndarray, float]:
    """(samples of the struck structure from the blow on, samples a second)."""
    place = os.environ.get("BELTSPRING_OUTSIDE")
    if place is None:
        lacking = f"BELTSPRING_OUTSIDE names no folder with {WHEEL} (pip download --no-deps vibration_toolbox==0.6.10)"
        assert "CI" not in os.environ, lacking
        pytest.skip(lacking)
    wheel = Path(place) / WHEEL
    assert wheel.is_file(), f"{wheel.name} is missing in the folder that BELTSPRING_OUTSIDE names"
    with zipfile.ZipFile(wheel) as archive:
        found = loadmat(io.BytesIO(archive.read("vibration_toolbox/data/case1.mat")))
    blow = int(np.argmax(np.abs(found["Time_chan_1"])))
    return found["Time_chan_2"][blow:, 0], float(found["Time_Sample_Rate"][0, 0])


@pytest.mark.parametrize("band_hz", [(180.0, 245.0), (190.0, 235.0)])
def test_the_frequency_of_a_real_ring_down(band_hz):
    samples, rate = record()
    heard = sosfiltfilt(butter(4, band_hz, "bandpass", fs=rate, output="sos"), samples)
    # Three swings a fit, from one start after another while it rings: the middle of what they tell.
    found = [fit_damped(np.arange(len(heard) - k) / rate, heard[k:], 212.0) for k in range(40, 1500, 16)]
    assert all(one is not None for one in found)
    hertz = float(np.median([one.frequency_hz for one in found]))
    assert hertz == pytest.approx(PUBLISHED_HZ, rel=2e-4)
    damping = float(np.median([one.damping_ratio for one in found]))
    assert damping == pytest.approx(PUBLISHED_DAMPING, rel=0.1)
