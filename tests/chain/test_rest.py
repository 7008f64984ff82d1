"""Readings of a rest: mean, its uncertainty, its beginning and its end."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import sem

from ingest.chain.rest import Rest, RestSettings
from ingest.core.blocks import Flag
from ingest.core.channels import CHANNELS, ROW, Channel
from ingest.core.errors import ConfigError

OUTPUT_HZ = 10.0
X = ROW[Channel.INCL_X]


def resting(block, channels, still, **more):
    made = block(channels, rate_hz=OUTPUT_HZ, **more)
    made.flags[:] |= np.where(still, np.uint16(Flag.STILL), np.uint16(0))
    return made


def rest(**changes):
    return Rest(RestSettings(**changes), OUTPUT_HZ)


def test_the_reading_is_the_mean_with_its_standard_error(block):
    """scipy.stats.sem is the outside check (s over sqrt(n), n - 1 in s)."""
    x = np.random.default_rng(1).normal(0.2, 0.01, 25)
    stage = rest()
    assert stage.feed(resting(block, {Channel.INCL_X: x}, True)) == []
    reading = stage.latest()
    assert reading.values[X] == pytest.approx(x.mean(), abs=1e-14)
    assert reading.u[X] == pytest.approx(sem(x), rel=1e-12)
    assert (reading.n, reading.t_ns, reading.span_s) == (25, 0, pytest.approx(2.4))
    assert math.isnan(reading.values[ROW[Channel.STEER]])
    assert math.isnan(reading.u[ROW[Channel.STEER]])


def test_the_standard_error_covers_the_scatter_of_means():
    """Statistics: over 2000 rests of 16 samples the mean of u squared is the variance."""
    rng = np.random.default_rng(2)
    stage = rest()
    means, variances = [], []
    for row in rng.normal(0.0, 1e-3, (2000, 16)):
        values = np.full((len(CHANNELS), 16), np.nan)
        values[X] = row
        stage._values, stage._t_ns = values, np.arange(16)
        stage._flags = np.zeros(16, np.uint16)
        reading = stage.latest()
        means.append(reading.values[X])
        variances.append(reading.u[X] ** 2)
    assert np.var(means) == pytest.approx(np.mean(variances), rel=4 * math.sqrt(2 / 2000))


def test_nothing_is_read_while_the_head_moves(block):
    stage = rest()
    assert stage.latest() is None
    stage.feed(resting(block, {Channel.INCL_X: np.zeros(9)}, False))
    assert stage.latest() is None


def test_a_rest_grows_and_ends_when_the_head_moves(block):
    stage = rest()
    stage.feed(resting(block, {Channel.INCL_X: np.full(3, 0.1)}, True))
    assert stage.latest().n == 3
    stage.feed(resting(block, {Channel.INCL_X: np.full(2, 0.1)}, True, t0_ns=3 * 10**8))
    assert stage.latest().n == 5
    (ended,) = stage.feed(resting(block, {Channel.INCL_X: [0.3]}, False, t0_ns=5 * 10**8))
    assert ended.n == 5
    assert ended.values[X] == pytest.approx(0.1)
    assert stage.latest() is None


def test_several_rests_in_one_block_leave_in_order(block):
    x = np.repeat([0.1, 0.5, 0.2, 0.6, 0.3], 4)
    still = np.repeat([True, False, True, False, True], 4)
    stage = rest()
    ended = stage.feed(resting(block, {Channel.INCL_X: x}, still))
    assert [reading.values[X] for reading in ended] == pytest.approx([0.1, 0.2])
    assert [reading.t_ns for reading in ended] == [0, 800_000_000]
    assert stage.latest().values[X] == pytest.approx(0.3)


def test_a_gap_ends_a_rest(block):
    stage = rest()
    stage.feed(resting(block, {Channel.INCL_X: np.full(3, 0.1)}, True))
    (ended,) = stage.feed(resting(block, {Channel.INCL_X: [0.4]}, True, after_gap=True))
    assert ended.n == 3
    assert stage.latest().values[X] == pytest.approx(0.4)


def test_a_rest_across_the_wrap_of_an_encoder_is_averaged_there(block):
    x = np.array([math.pi - 0.01, -math.pi + 0.05, math.pi - 0.01])
    stage = rest()
    stage.feed(resting(block, {Channel.ROTATION: x}, True))
    reading = stage.latest()
    assert reading.values[ROW[Channel.ROTATION]] == pytest.approx(-math.pi + 0.01)
    assert reading.u[ROW[Channel.ROTATION]] == pytest.approx(sem([-0.01, 0.05, -0.01]))


def test_missing_values_are_left_out_channel_by_channel(block):
    azimuth = np.array([math.nan, 0.1, 0.2, math.nan])
    stage = rest()
    stage.feed(resting(block, {Channel.INCL_X: np.zeros(4), Channel.AZIMUTH_CROSS: azimuth}, True))
    reading = stage.latest()
    row = ROW[Channel.AZIMUTH_CROSS]
    assert reading.values[row] == pytest.approx(0.15)
    assert reading.u[row] == pytest.approx(sem([0.1, 0.2]))
    assert reading.counts[[X, row]].tolist() == [4, 2]
    assert reading.n == 4


def test_one_sample_has_no_uncertainty(block):
    stage = rest()
    stage.feed(resting(block, {Channel.INCL_X: [0.1]}, True))
    assert math.isnan(stage.latest().u[X])


def test_a_long_rest_is_read_from_its_last_part(block):
    stage = rest(longest_s=5.0)
    stage.feed(resting(block, {Channel.INCL_X: np.arange(200.0)}, True))
    reading = stage.latest()
    assert reading.n == 50
    assert reading.values[X] == pytest.approx(np.arange(150.0, 200.0).mean())
    assert reading.t_ns == 15 * 10**9


def test_flags_of_any_sample_stay(block):
    made = resting(block, {Channel.INCL_X: np.zeros(4)}, True)
    made.flags[2] |= np.uint16(Flag.DESPIKED)
    stage = rest()
    stage.feed(made)
    assert stage.latest().flags == Flag.STILL | Flag.DESPIKED


@settings(max_examples=60, deadline=None, derandomize=True)
@given(seed=st.integers(0, 2**16), cuts=st.lists(st.integers(0, 60), max_size=10))
def test_the_cut_does_not_show(block, cut_block, seed, cuts):
    rng = np.random.default_rng(seed)
    channels = {c: rng.uniform(-4.0, 4.0, 60) for c in CHANNELS}
    for values in channels.values():
        values[rng.random(60) < rng.choice([0.0, 0.3])] = math.nan
    whole = resting(block, channels, np.cumsum(rng.random(60) < 0.1) % 2 == 0)
    results = []
    for pieces in ([whole], cut_block(whole, cuts), cut_block(whole, range(60))):
        stage = rest(longest_s=1.0)
        readings = [reading for piece in pieces for reading in stage.feed(piece)]
        readings += [reading for reading in [stage.latest()] if reading]
        results.append(
            [(r.t_ns, r.values.tobytes(), r.u.tobytes(), r.n, r.span_s, r.flags) for r in readings]
        )
    assert results[0] == results[1] == results[2]


def test_refuses_a_rest_of_no_length():
    with pytest.raises(ConfigError, match="longest_s"):
        RestSettings(longest_s=0.0)


def test_what_was_read_longer_ago_can_be_forgotten(block):
    """An axle that is turned by a tenth of a degree too slowly to end a rest: not half of it."""
    gathered = rest()
    assert gathered.latest() is None
    gathered.keep(1.5)
    ramp = np.repeat([0.0, 0.1], 50)
    gathered.feed(resting(block, {Channel.AZIMUTH_CROSS: ramp}, np.ones(100, bool)))
    assert gathered.latest().values[ROW[Channel.AZIMUTH_CROSS]] == pytest.approx(0.05)
    before = gathered.latest()
    gathered.keep(1.5)
    after = gathered.latest()
    assert after.values[ROW[Channel.AZIMUTH_CROSS]] == pytest.approx(0.1)
    assert after.n < before.n
    assert after.span_s <= 1.5
