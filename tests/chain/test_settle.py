"""Settle detection on what heads do: hang still, swing, turn, steer."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.chain.settle import Settle, SettleSettings
from ingest.core.blocks import Flag
from ingest.core.channels import CHANNELS, Channel
from ingest.core.errors import ConfigError

OUTPUT_HZ = 10.0


def still(block, channels, **changes):
    stage = Settle(SettleSettings(**changes), OUTPUT_HZ)
    (out,) = stage.feed(block(channels, rate_hz=OUTPUT_HZ))
    return (out.flags & Flag.STILL) != 0


def test_a_head_at_rest_is_still_once_the_window_is_full(block):
    flags = still(block, {Channel.INCL_X: np.zeros(12), Channel.ROTATION: np.zeros(12)})
    assert flags.tolist() == [False] * 7 + [True] * 5


def test_noise_of_a_rough_sensor_stays_still(block):
    """0.02 deg at 100 Hz is 0.0063 deg after the low-pass (white noise, means of ten)."""
    rng = np.random.default_rng(1)
    noise = {c: rng.normal(0.0, math.radians(0.0063), 20_000) for c in CHANNELS[:4]}
    assert still(block, noise)[7:].mean() > 0.998


def test_a_swinging_head_settles_with_its_pendulum(block):
    """A damped pendulum in closed form: A exp(-t/tau) cos(wt); invented figures.

    The spread over a window of 0.8 s, most of a period, is at least 1.6 times the amplitude
    left at its end.
    """
    t = np.arange(400) / OUTPUT_HZ
    period_s, tau_s = 1.0, 4.0
    envelope_deg = 2.0 * np.exp(-t / tau_s)
    swing = np.radians(envelope_deg * np.cos(2 * math.pi * t / period_s))
    flags = still(block, {Channel.INCL_X: swing, Channel.INCL_Y: np.zeros(400)})
    assert not flags[envelope_deg > 0.05].any()
    assert flags[envelope_deg < 0.015].all()
    first = int(flags.argmax())
    assert 14.0 < t[first] < 20.0  # 0.05 deg and 0.015 deg are left after 14.8 s and 19.6 s


@pytest.mark.parametrize(
    ("channel", "deg_per_s"),
    [
        (Channel.INCL_X, 0.2),
        (Channel.INCL_Y, 0.2),
        (Channel.INCL_Z, 0.2),
        (Channel.ROTATION, 0.5),
        (Channel.STEER, 0.5),
        (Channel.AZIMUTH_CROSS, 0.2),
        (Channel.AZIMUTH_TRACK, 0.2),
    ],
)
def test_slow_movement_of_any_angle_is_no_rest(block, channel, deg_per_s):
    moving = np.radians(deg_per_s * np.arange(50) / OUTPUT_HZ)
    assert not still(block, {Channel.INCL_X: np.zeros(50)} | {channel: moving}).any()


def test_temperature_has_no_say(block):
    warm = {Channel.INCL_X: np.zeros(50), Channel.TEMPERATURE: np.arange(50.0)}
    assert still(block, warm)[7:].all()


def test_a_rest_at_the_wrap_of_an_encoder_is_a_rest(block):
    at_wrap = np.where(np.arange(40) % 2, math.pi - 1e-4, -math.pi + 1e-4)
    assert still(block, {Channel.INCL_X: np.zeros(40), Channel.ROTATION: at_wrap})[7:].all()


def test_a_broken_sightline_has_no_say_while_it_is_broken(block):
    azimuth = np.zeros(40)
    azimuth[10:20] = math.nan
    channels = {Channel.INCL_X: np.zeros(40), Channel.AZIMUTH_CROSS: azimuth}
    assert still(block, channels)[7:].all()
    azimuth[20:28] = np.linspace(0.01, 0.02, 8)
    azimuth[28:] = 0.02
    channels = {Channel.INCL_X: np.zeros(40), Channel.AZIMUTH_CROSS: azimuth}
    flags = still(block, channels)
    assert not flags[24:30].any()
    assert flags[36:].all()
    azimuth[20:] = 0.01
    assert still(block, channels)[7:].tolist() == [True] * 33


def test_a_head_with_no_angle_is_never_still(block):
    assert not still(block, {Channel.TEMPERATURE: np.zeros(40)}).any()


def test_a_gap_ends_a_rest(block):
    stage = Settle(SettleSettings(), OUTPUT_HZ)
    stage.feed(block({Channel.INCL_X: np.zeros(20)}, rate_hz=OUTPUT_HZ))
    (out,) = stage.feed(block({Channel.INCL_X: np.zeros(9)}, rate_hz=OUTPUT_HZ, after_gap=True))
    assert ((out.flags & Flag.STILL) != 0).tolist() == [False] * 7 + [True] * 2


def test_what_is_not_still_moves_once_the_window_is_full(block):
    x = np.repeat([0.0, 0.1], 12)
    stage = Settle(SettleSettings(), OUTPUT_HZ)
    (out,) = stage.feed(block({Channel.INCL_X: x}, rate_hz=OUTPUT_HZ))
    moving, still = Flag.MOVING, Flag.STILL
    assert out.flags.tolist() == [0] * 7 + [still] * 5 + [moving] * 7 + [still] * 5


def test_other_flags_stay(block):
    stage = Settle(SettleSettings(), OUTPUT_HZ)
    (out,) = stage.feed(block({Channel.INCL_X: np.zeros(9)}, flags=Flag.UNCALIBRATED))
    assert out.flags.tolist() == [Flag.UNCALIBRATED] * 7 + [Flag.UNCALIBRATED | Flag.STILL] * 2


@settings(max_examples=100, deadline=None, derandomize=True)
@given(seed=st.integers(0, 2**16), cuts=st.lists(st.integers(0, 60), max_size=10))
def test_the_cut_does_not_show(block, cut_block, assert_same, seed, cuts):
    rng = np.random.default_rng(seed)
    channels = {}
    for channel in CHANNELS:
        steps = rng.random(60) < 0.05
        channels[channel] = np.cumsum(steps * rng.normal(size=60)) + 1e-4 * rng.normal(size=60)
        channels[channel][rng.random(60) < rng.choice([0.0, 0.2, 1.0])] = math.nan
    whole = block(channels, rate_hz=OUTPUT_HZ)
    results = []
    for pieces in ([whole], cut_block(whole, cuts), cut_block(whole, range(60))):
        stage = Settle(SettleSettings(), OUTPUT_HZ)
        results.append([out for piece in pieces for out in stage.feed(piece)])
    assert_same(results[0], results[1])
    assert_same(results[0], results[2])


@pytest.mark.parametrize(("field", "value"), [("window_s", 0.0), ("tilt_deg", 0.0)])
def test_refuses_settings_that_make_no_sense(field, value):
    with pytest.raises(ConfigError, match=field):
        SettleSettings(**{field: value})
