"""The Hampel filter against scipy, and on what it must and must not touch."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import median_abs_deviation, norm

from ingest.chain.despike import MAD_TO_SIGMA, Despike, DespikeSettings
from ingest.core.blocks import Flag
from ingest.core.channels import CHANNELS, Channel
from ingest.core.errors import ConfigError

RATE_HZ = 100.0
NO_FLOORS = dict.fromkeys(
    ("floor_tilt_deg", "floor_azimuth_deg", "floor_turn_deg", "floor_degc"), 0.0
)


def run(block, join, channels, **changes):
    """Despike one run to its end, by a gap after it."""
    stage = Despike(DespikeSettings(**changes), RATE_HZ)
    out = stage.feed(block(channels))
    out += stage.feed(block({c: [0.0] for c in channels}, after_gap=True))
    (done,) = join(out)
    return done


def reference(x, k, threshold, floor):
    """The filter written down plainly, with scipy's median absolute deviation."""
    clean, hit = x.copy(), np.zeros(len(x), bool)
    for i in np.flatnonzero(np.isfinite(x)):
        window = x[max(0, i - k) : i + k + 1]
        window = window[np.isfinite(window)]
        median = np.median(window)
        sigma = median_abs_deviation(window, scale="normal")
        if abs(x[i] - median) > max(threshold * sigma, floor):
            clean[i], hit[i] = median, True
    return clean, hit


@settings(max_examples=100, deadline=None, derandomize=True)
@given(
    seed=st.integers(0, 2**16),
    n=st.integers(2, 60),
    k=st.integers(1, 5),
    missing=st.sampled_from([0.0, 0.2, 0.9]),
)
def test_agrees_with_scipys_median_absolute_deviation(block, join, seed, n, k, missing):
    """scipy.stats.median_abs_deviation (scale="normal") is the outside check."""
    rng = np.random.default_rng(seed)
    x = rng.normal(size=n) + 20.0 * (rng.random(n) < 0.1)
    x[rng.random(n) < missing] = math.nan
    done = run(block, join, {Channel.INCL_X: x}, neighbours=k, **NO_FLOORS)
    clean, hit = reference(x, k, 5.0, 0.0)
    np.testing.assert_allclose(done.channel(Channel.INCL_X), clean, rtol=0, atol=1e-12)
    assert ((done.flags & Flag.DESPIKED) != 0).tolist() == hit.tolist()


def test_the_factor_is_that_of_the_normal_distribution():
    assert pytest.approx(1 / norm.ppf(0.75), abs=5e-5) == MAD_TO_SIGMA


def test_a_spike_is_replaced_and_flagged_and_only_it(block, join):
    rng = np.random.default_rng(1)
    x = rng.normal(0.0, math.radians(0.005), 200)
    spiked = x.copy()
    spiked[[50, 120]] += [math.radians(2.0), -math.radians(0.5)]
    done = run(block, join, {Channel.INCL_X: spiked, Channel.INCL_Y: x})
    assert np.flatnonzero(done.flags == Flag.DESPIKED).tolist() == [50, 120]
    np.testing.assert_array_equal(done.channel(Channel.INCL_Y), x)
    others = np.delete(np.arange(200), [50, 120])
    np.testing.assert_array_equal(done.channel(Channel.INCL_X)[others], x[others])
    assert np.abs(done.channel(Channel.INCL_X)).max() < math.radians(0.03)


def test_two_spikes_side_by_side_are_removed(block, join):
    x = np.zeros(40)
    x[[20, 21]] = 0.5
    done = run(block, join, {Channel.INCL_X: x})
    assert not done.channel(Channel.INCL_X).any()


@pytest.mark.parametrize("at", [0, 1, 2, 29])
def test_a_spike_at_the_end_of_a_run_is_removed(block, join, at):
    x = np.zeros(30)
    x[at] = 0.5
    assert not run(block, join, {Channel.INCL_X: x}).channel(Channel.INCL_X).any()


def clean_signals():
    t = np.arange(300) / RATE_HZ
    rng = np.random.default_rng(2)
    noise = rng.normal(0.0, math.radians(0.005), 300)
    turning = np.radians(90.0 * t)
    return {
        "a knock": np.where(t < 1.5, 0.0, math.radians(1.0)) + noise,
        "a swing": math.radians(2.0) * np.sin(2 * math.pi * 1.0 * t) + noise,
        "a still quantised sensor": math.radians(0.01) * rng.integers(0, 2, 300),
        "a slow quantised ramp": math.radians(0.01) * np.floor(t / 0.13),
        "a turning wheel": turning,
        "a turning wheel on a wrapping encoder": (turning + 3.0) % (2 * math.pi),
        "no value at all": np.full(300, math.nan),
    }


@pytest.mark.parametrize(
    ("name", "channel"),
    [(name, Channel.ROTATION) for name in clean_signals()]
    + [(name, Channel.INCL_X) for name in clean_signals() if "wrapping" not in name],
)
def test_what_is_no_spike_passes_to_the_last_bit(block, join, name, channel):
    x = clean_signals()[name]
    done = run(block, join, {channel: x, Channel.STEER: x * 0.0})
    np.testing.assert_array_equal(done.channel(channel), x)
    assert not done.flags.any()


def test_a_flip_of_one_encoder_step_is_no_spike(block, join):
    step = 2 * math.pi / 4096
    x = np.zeros(100)
    x[::9] = step
    done = run(block, join, {Channel.ROTATION: x})
    np.testing.assert_array_equal(done.channel(Channel.ROTATION), x)


@pytest.mark.parametrize("spike_deg", [60.0, 90.0, 179.9, 180.0, 180.1, 270.0])
@pytest.mark.parametrize("pace_deg", [0.0, 0.01, 3.0])
def test_a_spike_of_any_size_on_a_wrapping_encoder_is_removed(block, join, spike_deg, pace_deg):
    noise = np.random.default_rng(5).normal(0.0, math.radians(0.005), 240)
    turn = np.radians(pace_deg * np.arange(240)) + noise
    x = turn % (2 * math.pi)
    at = [60, 120, 180]
    x[at] = (x[at] + math.radians(spike_deg)) % (2 * math.pi)
    done = run(block, join, {Channel.ROTATION: x})
    error = done.channel(Channel.ROTATION) - turn
    error -= 2 * math.pi * np.rint(error / (2 * math.pi))
    assert np.abs(np.degrees(error)).max() <= pace_deg + 0.05
    assert np.flatnonzero(done.flags).tolist() == at


def test_false_alarms_on_normal_noise_above_the_floor_are_rare(block, join):
    """The floor is five sigma of the noise here; without it one sample in 70 would go."""
    x = np.random.default_rng(3).normal(0.0, math.radians(0.01), 100_000)
    done = run(block, join, {Channel.INCL_X: x})
    assert np.count_nonzero(done.flags) <= 3
    bare = run(block, join, {Channel.INCL_X: x}, floor_tilt_deg=0.0)
    assert 0.011 < np.count_nonzero(bare.flags) / len(x) < 0.017


def test_a_sample_leaves_when_its_neighbours_have_come(block):
    stage = Despike(DespikeSettings(neighbours=4), RATE_HZ)
    assert stage.lag_ns == 40_000_000
    assert stage.feed(block({Channel.INCL_X: np.zeros(4)})) == []
    (out,) = stage.feed(block({Channel.INCL_X: np.zeros(2)}, t0_ns=40_000_000))
    assert out.t_ns.tolist() == [0, 10_000_000]
    assert out.lag_ns == 40_000_000


def test_a_gap_brings_out_what_was_held_before_what_follows(block):
    stage = Despike(DespikeSettings(), RATE_HZ)
    stage.feed(block({Channel.INCL_X: np.zeros(5)}))
    tail, after = stage.feed(block({Channel.INCL_X: np.zeros(6)}, after_gap=True, t0_ns=10**9))
    assert tail.t_ns.tolist() == [20_000_000, 30_000_000, 40_000_000]
    assert not tail.after_gap
    assert after.after_gap
    assert after.t_ns[0] == 10**9


def test_a_gap_mark_waits_for_the_first_sample_that_leaves(block):
    stage = Despike(DespikeSettings(), RATE_HZ)
    stage.feed(block({Channel.INCL_X: np.zeros(9)}))
    (tail,) = stage.feed(block({Channel.INCL_X: np.zeros(2)}, after_gap=True, t0_ns=10**9))
    assert not tail.after_gap
    (out,) = stage.feed(block({Channel.INCL_X: np.zeros(9)}, t0_ns=10**9 + 20_000_000))
    assert out.after_gap


def test_neighbours_before_a_gap_have_no_say_after_it(block, join):
    stage = Despike(DespikeSettings(), RATE_HZ)
    out = stage.feed(block({Channel.INCL_X: np.zeros(9)}))
    out += stage.feed(block({Channel.INCL_X: [1.0, 1.0]}, after_gap=True, t0_ns=10**9))
    out += stage.feed(block({Channel.INCL_X: [0.0]}, after_gap=True, t0_ns=2 * 10**9))
    assert join(out)[1].channel(Channel.INCL_X).tolist() == [1.0, 1.0]


@settings(max_examples=100, deadline=None, derandomize=True)
@given(seed=st.integers(0, 2**16), cuts=st.lists(st.integers(0, 80), max_size=10))
def test_the_cut_does_not_show(block, cut_block, assert_same, seed, cuts):
    rng = np.random.default_rng(seed)
    channels = {c: rng.normal(size=80) + 9.0 * (rng.random(80) < 0.1) for c in CHANNELS}
    for values in channels.values():
        values[rng.random(80) < rng.choice([0.0, 0.2, 1.0])] = math.nan
    whole = block(channels)
    last = block({Channel.INCL_X: [0.0]}, after_gap=True)
    results = []
    for pieces in ([whole], cut_block(whole, cuts), cut_block(whole, range(80))):
        stage = Despike(DespikeSettings(), RATE_HZ)
        outs = [out for piece in [*pieces, last] for out in stage.feed(piece)]
        assert sum(len(out) for out in outs) == 80
        results.append(outs)
    assert_same(results[0], results[1])
    assert_same(results[0], results[2])


@pytest.mark.parametrize(
    ("field", "value"), [("neighbours", 0), ("threshold_sigma", 0.5), ("floor_degc", -1.0)]
)
def test_refuses_settings_that_make_no_sense(field, value):
    with pytest.raises(ConfigError, match=field):
        DespikeSettings(**{field: value})
