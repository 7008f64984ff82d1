"""The low-pass: its nulls, its noise, its delay, its windows."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from ingest.chain.decimate import Decimate, DecimateSettings
from ingest.core.blocks import Flag
from ingest.core.channels import CHANNELS, Channel
from ingest.core.errors import ConfigError


def decimated(block, x, rate_hz=100.0, channel=Channel.INCL_X):
    stage = Decimate(DecimateSettings(), rate_hz)
    (out,) = stage.feed(block({channel: x}, rate_hz=rate_hz))
    return out, stage


@pytest.mark.parametrize(("rate_hz", "size"), [(100.0, 10), (200.0, 20), (500.0, 50), (12.0, 1)])
def test_the_output_rate_is_ten_hertz_or_the_heads_own(block, rate_hz, size):
    out, stage = decimated(block, np.zeros(100), rate_hz)
    assert stage.size == size
    assert len(out) == 100 // size


def test_agrees_with_scipys_filter(block):
    """scipy.signal.lfilter with ten equal taps, taken every tenth sample."""
    x = np.random.default_rng(1).normal(size=1000)
    out, _ = decimated(block, x)
    expected = signal.lfilter(np.full(10, 0.1), 1.0, x)[9::10]
    np.testing.assert_allclose(out.channel(Channel.INCL_X), expected, rtol=0, atol=1e-14)


@pytest.mark.parametrize("rate_hz", [100.0, 200.0, 400.0, 500.0])
@pytest.mark.parametrize("hum_hz", [50.0, 60.0, 100.0, 120.0, 150.0])
def test_mains_hum_vanishes_and_so_does_what_it_folds_to(block, rate_hz, hum_hz):
    """50 and 60 Hz mains and their harmonics (IEC 60038 nominal frequencies)."""
    t = np.arange(int(4 * rate_hz)) / rate_hz
    hum = np.sin(2 * math.pi * hum_hz * t + 0.4)
    if hum_hz % rate_hz == 0.0:
        hum -= hum.mean()  # what folds to zero frequency is a constant, and no filter's matter
    out, _ = decimated(block, hum, rate_hz)
    assert np.abs(out.channel(Channel.INCL_X)).max() < 1e-9


def test_white_noise_leaves_white_with_a_tenth_of_the_variance(block):
    x = np.random.default_rng(2).normal(size=400_000)
    y = decimated(block, x)[0].channel(Channel.INCL_X)
    # Relative standard error of a variance from n normal values: sqrt(2/(n-1)).
    assert y.var() * 10 == pytest.approx(1.0, abs=4 * math.sqrt(2 / len(y)))
    lag_one = np.corrcoef(y[1:], y[:-1])[0, 1]
    assert abs(lag_one) < 4 / math.sqrt(len(y))


def test_a_ramp_shows_that_time_is_the_middle_of_the_window(block):
    rad_per_s = 0.3
    t = np.arange(100) / 100.0
    out, stage = decimated(block, rad_per_s * t)
    np.testing.assert_allclose(out.channel(Channel.INCL_X), rad_per_s * out.t_ns * 1e-9, atol=1e-9)
    assert stage.lag_ns == out.lag_ns == 45_000_000
    last_sample_ns = np.arange(9, 100, 10) * 10_000_000
    np.testing.assert_array_equal(last_sample_ns - out.t_ns, 45_000_000)


def test_a_wrapping_encoder_is_averaged_across_the_wrap(block):
    x = np.radians(np.array([357.0, 359.0, 1.0, 3.0, 358.0, 2.0, 0.0, 0.0, 356.0, 4.0]) % 360.0)
    out, _ = decimated(block, x, channel=Channel.ROTATION)
    assert out.channel(Channel.ROTATION)[0] == pytest.approx(0.0, abs=1e-12)


def test_circular_channels_leave_within_half_a_turn(block):
    x = np.radians(np.linspace(0.0, 1440.0, 200))
    out, _ = decimated(block, x, channel=Channel.AZIMUTH_TRACK)
    values = out.channel(Channel.AZIMUTH_TRACK)
    assert np.abs(values).max() <= math.pi
    expected = x.reshape(20, 10).mean(axis=1)
    np.testing.assert_allclose(np.exp(1j * values), np.exp(1j * expected), atol=1e-12)


def test_elevations_are_not_wrapped(block):
    out, _ = decimated(block, np.full(10, 7.0))
    assert out.channel(Channel.INCL_X) == pytest.approx([7.0])


def test_missing_values_leave_the_mean_of_the_rest(block):
    x = np.arange(30.0)
    x[[0, 4]] = math.nan
    x[20:] = math.nan
    out, _ = decimated(block, x)
    assert out.channel(Channel.INCL_X)[:2] == pytest.approx([(45 - 4) / 8, 14.5])
    assert math.isnan(out.channel(Channel.INCL_X)[2])


def test_flags_of_any_sample_stay(block):
    stage = Decimate(DecimateSettings(), 100.0)
    given_block = block({Channel.INCL_X: np.zeros(20)})
    given_block.flags[3] = Flag.DESPIKED
    given_block.flags[5] = Flag.SWIVEL_LOCKED
    (out,) = stage.feed(given_block)
    assert out.flags.tolist() == [Flag.DESPIKED | Flag.SWIVEL_LOCKED, 0]


def test_a_window_cut_by_a_gap_is_dropped_and_counted(block):
    stage = Decimate(DecimateSettings(), 100.0)
    stage.feed(block({Channel.INCL_X: np.zeros(14)}))
    assert stage.cut_windows == 0
    (out,) = stage.feed(block({Channel.INCL_X: np.ones(10)}, after_gap=True, t0_ns=10**9))
    assert stage.cut_windows == 1
    assert out.after_gap
    assert out.channel(Channel.INCL_X).tolist() == [1.0]
    stage.feed(block({Channel.INCL_X: np.ones(10)}, after_gap=True, t0_ns=10**10))
    assert stage.cut_windows == 1


@settings(max_examples=100, deadline=None, derandomize=True)
@given(
    seed=st.integers(0, 2**16),
    cuts=st.lists(st.integers(0, 90), max_size=10),
    rate_hz=st.sampled_from([10.0, 70.0, 100.0, 330.0]),
)
def test_the_cut_does_not_show(block, cut_block, assert_same, seed, cuts, rate_hz):
    rng = np.random.default_rng(seed)
    channels = {c: rng.uniform(-4.0, 4.0, 90) for c in CHANNELS}
    for values in channels.values():
        values[rng.random(90) < rng.choice([0.0, 0.2, 1.0])] = math.nan
    whole = block(channels, rate_hz=rate_hz)
    whole.t_ns[:] += rng.integers(0, 10**6, 90)
    whole.flags[:] = rng.integers(0, 16, 90)
    results = []
    for pieces in ([whole], cut_block(whole, cuts), cut_block(whole, range(90))):
        stage = Decimate(DecimateSettings(), rate_hz)
        results.append([out for piece in pieces for out in stage.feed(piece)])
    assert_same(results[0], results[1])
    assert_same(results[0], results[2])


def test_refuses_a_rate_of_nothing():
    with pytest.raises(ConfigError, match="output_hz"):
        DecimateSettings(output_hz=0.0)
