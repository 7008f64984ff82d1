"""What a still recording says about its noise."""

import math

import numpy as np
import pytest

from calibration.errors import BadBenchData
from calibration.fits.allan import overlapping_allan


def test_interval_of_white_noise_covers_its_true_deviation() -> None:
    rng = np.random.default_rng(11)
    factors = [1, 4, 16]
    hits = np.zeros(3)
    for _ in range(2000):
        curve = overlapping_allan(rng.normal(0, 1, 256), 1.0, factors)
        truth = 1 / np.sqrt(factors)
        hits += (curve.low <= truth) & (truth <= curve.high)
    share = hits / 2000
    assert share.min() >= 0.933, share
    assert share.max() <= 0.966, share


def test_noise_density_of_white_noise() -> None:
    y = np.random.default_rng(12).normal(0, 0.003, 20000)
    curve = overlapping_allan(y, 0.02)
    # One-sided: variance over the band up to half the sampling rate of 50 per s.
    assert curve.noise_density == pytest.approx(0.003 / math.sqrt(25), rel=0.02)


def test_tells_a_random_walk_from_white_noise() -> None:
    steps = np.random.default_rng(13).normal(0, 1, 4000)
    assert overlapping_allan(np.cumsum(steps), 1.0, [1, 2, 4]).alpha.tolist() == [-2, -2, -2]
    assert overlapping_allan(steps, 1.0, [1, 2, 4]).alpha.tolist() == [0, 0, 0]


def test_bias_instability_is_the_floor_over_0_664() -> None:
    y = np.random.default_rng(14).normal(0, 1, 1000)
    curve = overlapping_allan(y + np.linspace(0, 3, 1000), 1.0)
    assert curve.bias_instability == pytest.approx(curve.deviation.min() / 0.664, rel=1e-3)
    assert 1 < curve.bias_instability_tau_s < 256


def test_refuses_a_recording_with_a_gap_or_too_short() -> None:
    with pytest.raises(BadBenchData, match="gaps"):
        overlapping_allan(np.array([1.0, math.nan, 2.0]), 1.0, [1])
    with pytest.raises(BadBenchData, match="beyond half"):
        overlapping_allan(np.arange(9.0), 1.0, [5])
