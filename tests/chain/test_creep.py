"""Creep: what moves too slowly for a short window ends a rest all the same."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from calibration.reporting import t_factor
from ingest.chain.creep import FALSE_ALARM, Creep, rise_of
from ingest.chain.rest import Rest, RestSettings
from ingest.chain.settle import Settle, SettleSettings
from ingest.core.blocks import Flag
from ingest.core.channels import CHANNELS, ROW, Channel

OUTPUT_HZ = 10.0
STOOD_S = 30.0
"""A rest as long as it can be before the wheel begins to creep: the worst that creep can meet."""
NOISES_DEG = (0.001, 0.003)
"""Of a good head and of a poor one, after the low-pass; invented."""


def at_rest(seconds, noise_deg, rng):
    return {c: np.radians(rng.normal(0.0, noise_deg, seconds * 10)) for c in CHANNELS[:7]}


@pytest.fixture
def followed(block, cut_block):
    """Return what the present rest reads after each sample; None while there is none."""

    def follow(channels):
        settle, rest = Settle(SettleSettings(), OUTPUT_HZ), Rest(RestSettings(), OUTPUT_HZ)
        whole = block(channels, rate_hz=OUTPUT_HZ)
        for sample in cut_block(whole, range(len(whole))):
            (out,) = settle.feed(sample)
            rest.feed(out)
            yield rest.latest()

    return follow


@pytest.mark.parametrize("n", [16, 64, 256])
def test_a_rise_and_its_uncertainty_are_those_of_a_linear_regression(n):
    """Against scipy.stats.linregress, a general-purpose library; rises from nothing to plenty."""
    rng = np.random.default_rng(n)
    place = np.arange(n)
    slopes = np.array([0.0, 1e-7, 1e-6, 1e-5, -1e-5, 1e-4, -1e-4, 1e-3])
    values = rng.normal(0.0, 1e-5, (len(CHANNELS), n)) + slopes[:, None] * place
    rises, us = rise_of(values)
    for row, rise, u in zip(values, rises, us, strict=True):
        line = stats.linregress(place, row)
        assert rise == pytest.approx(line.slope * (n - 1), rel=1e-9)
        assert u == pytest.approx(line.stderr * (n - 1), rel=1e-9)


@pytest.mark.parametrize("n", [16, 128])
def test_white_noise_is_taken_for_a_creep_as_often_as_is_said(n):
    """At 1 in 100, where that can be counted: within the binomial's 99.9 % (scipy)."""
    rng = np.random.default_rng(7)
    found = [rise_of(rng.normal(0.0, 1e-5, (len(CHANNELS), n))) for _ in range(2500)]
    factor = t_factor(0.99, n - 2)
    alarms = sum(int(np.count_nonzero(np.abs(rise) > factor * u)) for rise, u in found)
    low, high = stats.binom.interval(0.999, 2500 * len(CHANNELS), 0.01)
    assert low <= alarms <= high
    creep = Creep(np.zeros((len(CHANNELS), 1)), n)
    assert creep._t[0] == pytest.approx(stats.t.isf(FALSE_ALARM / 2.0, n - 2), rel=1e-6)


def seen_within_s(deg_per_s, noise_deg):
    """Return how long a creep lasts at most until it is seen, by the variance of a slope.

    The rise over n samples is uncertain by noise times the root of 12 / n; four of these are left
    to chance.
    """
    for n in (16, 32, 64, 128, 256):
        factor = float(stats.t.isf(FALSE_ALARM / 2.0, n - 2)) + 4.0
        if deg_per_s * n / OUTPUT_HZ > max(0.005, factor * noise_deg * math.sqrt(12.0 / n)):
            return n / OUTPUT_HZ + 0.8
    raise AssertionError("no stretch is long enough")


@pytest.mark.parametrize("noise_deg", NOISES_DEG)
@pytest.mark.parametrize("seconds", [10, 30, 60])
@pytest.mark.parametrize("deg", [0.02, 0.05, 0.2])
def test_a_wheel_that_creeps_is_never_read_as_it_stood_before(followed, deg, seconds, noise_deg):
    """0.02 to 0.2 deg within 10 to 60 s, after 30 s of rest: what a slow hand does to an adjuster.

    While it goes on a reading is behind by no more than a stretch of it in which noise allows it to
    be seen, and one look; five seconds after its end nothing of it is left.
    """
    rng = np.random.default_rng(int(deg * 1000) + seconds)
    channels = at_rest(round(STOOD_S) + seconds + 40, noise_deg, rng)
    t_s = np.arange(len(channels[Channel.INCL_Y])) / OUTPUT_HZ
    true_deg = deg * np.clip((t_s - STOOD_S) / seconds, 0.0, 1.0)
    channels[Channel.INCL_Y] += np.radians(true_deg)
    behind_deg = seen_within_s(deg / seconds, noise_deg) * deg / seconds
    over, read = t_s > STOOD_S + seconds + 5.0, 0
    for at, reading in enumerate(followed(channels)):
        if reading is None:
            continue
        off = abs(math.degrees(reading.values[ROW[Channel.INCL_Y]]) - true_deg[at])
        assert off < (0.003 + noise_deg / 3.0 if over[at] else behind_deg), t_s[at]
        read += bool(over[at])
    assert read > 0.9 * np.count_nonzero(over)


@pytest.mark.parametrize("noise_deg", NOISES_DEG)
def test_a_wheel_that_rests_for_ten_minutes_rests_for_ten_minutes(block, noise_deg):
    stage = Settle(SettleSettings(), OUTPUT_HZ)
    (out,) = stage.feed(block(at_rest(600, noise_deg, np.random.default_rng(3)), rate_hz=OUTPUT_HZ))
    assert (out.flags[7:] & Flag.STILL).all()


def test_a_drift_that_does_not_matter_ends_no_rest(block):
    """0.003 deg within 25.6 s, far above this head's noise: a sensor that warms up."""
    warming = np.radians(0.003 / 25.6 * np.arange(3000) / OUTPUT_HZ)
    flags = Settle(SettleSettings(), OUTPUT_HZ).feed(
        block({Channel.INCL_Y: warming}, rate_hz=OUTPUT_HZ)
    )
    assert (flags[0].flags[7:] & Flag.STILL).all()


@pytest.mark.parametrize("period_s", [0.7, 1.0, 1.6])
def test_a_vehicle_that_sways_rests(block, period_s):
    """Bodies of lorries roll and pitch at 0.6 to 2 Hz (common practice); 0.01 deg to each side."""
    t_s = np.arange(1200) / OUTPUT_HZ
    sway = np.radians(0.01) * np.sin(2.0 * math.pi * t_s / period_s)
    (out,) = Settle(SettleSettings(), OUTPUT_HZ).feed(
        block({Channel.INCL_X: sway}, rate_hz=OUTPUT_HZ)
    )
    assert (out.flags[7:] & Flag.STILL).all()


def test_a_suspension_that_sinks_slowly_is_read_when_it_has_sunk(followed):
    """0.3 deg that die away with 4 s, in closed form: in the end one rest, all of it sunk."""
    rng = np.random.default_rng(5)
    channels = at_rest(90, 0.001, rng)
    t_s = np.arange(900) / OUTPUT_HZ
    sinking_deg = 0.3 * np.exp(-t_s / 4.0)
    channels[Channel.INCL_Y] += np.radians(sinking_deg)
    *_, last = followed(channels)
    assert last is not None
    assert last.span_s > 25.0
    assert abs(math.degrees(last.values[ROW[Channel.INCL_Y]])) < 0.001


@settings(deadline=None, max_examples=25)
@given(cuts=st.lists(st.integers(0, 600), max_size=40))
def test_the_cut_of_a_creep_does_not_show(block, cut_block, assert_same, cuts):
    rng = np.random.default_rng(9)
    channels = at_rest(60, 0.002, rng)
    channels[Channel.INCL_X] += np.radians(0.004 * np.arange(600) / OUTPUT_HZ)
    whole = block(channels, rate_hz=OUTPUT_HZ)
    expected = Settle(SettleSettings(), OUTPUT_HZ).feed(whole)
    assert np.count_nonzero(expected[0].flags & Flag.MOVING) > 3
    stage = Settle(SettleSettings(), OUTPUT_HZ)
    assert_same([out for each in cut_block(whole, cuts) for out in stage.feed(each)], expected)
