"""Moving, settling or still: judged against the head's own noise."""

import math

import numpy as np
import pytest

from calibration.bench.capture import Capture, CaptureSettings, Refused, Settled
from calibration.bench.steps import told_refusal
from calibration.bench.stillness import Rest, RestLimits, judge

HZ = 50
NOISE = math.radians(0.003)


def noisy(seconds, level=0.0, seed=0, sigma=NOISE):
    n = round(seconds * HZ)
    return np.arange(n) / HZ, level + np.random.default_rng(seed).normal(0, sigma, n)


def verdict(values, time_s=None, limits=None):
    time_s = np.arange(len(values)) / HZ if time_s is None else time_s
    return judge(time_s, {"incl_x": values}, limits or RestLimits())


def test_white_noise_at_rest_is_called_still_in_2000_windows():
    calls = [verdict(noisy(1.2, 0.1, seed)[1]).rest for seed in range(2000)]
    assert calls.count(Rest.STILL) == 2000


def test_noise_ten_times_larger_is_still_at_rest():
    calls = [verdict(noisy(1.2, 0.1, seed, 10 * NOISE)[1]).rest for seed in range(200)]
    assert calls.count(Rest.STILL) == 200


def test_a_creep_of_a_hundredth_of_a_degree_a_second_is_settling():
    t, values = noisy(1.2)
    found = verdict(values + math.radians(0.01) * t)
    assert found.rest is Rest.SETTLING
    assert found.figure_rad > found.limit_rad


def test_a_knock_is_moving_and_names_channel_figure_and_limit():
    t, values = noisy(1.2)
    knocked = values + np.where(t > 0.9, math.radians(0.2), 0.0)
    found = judge(t, {"incl_y": values, "incl_x": knocked}, RestLimits())
    assert (found.rest, found.channel) == (Rest.MOVING, "incl_x")
    assert math.degrees(found.figure_rad) == pytest.approx(0.2, abs=0.02)
    assert math.degrees(found.limit_rad) == pytest.approx(0.05, abs=0.01)


def test_an_angle_that_wraps_at_half_a_turn_does_not_move():
    _, values = noisy(1.2)
    assert verdict(np.angle(np.exp(1j * (values + math.pi)))).rest is Rest.STILL


def test_temperature_has_no_say():
    t, values = noisy(1.2)
    found = judge(t, {"incl_x": values, "temperature": 20 + t}, RestLimits())
    assert found.rest is Rest.STILL


def test_too_short_a_window_is_never_still():
    assert verdict(noisy(0.5)[1]).rest is Rest.SETTLING


def test_a_channel_without_a_value_is_not_at_rest():
    _, values = noisy(1.2)
    values[-3] = math.nan
    assert verdict(values).rest is not Rest.STILL


@pytest.mark.parametrize("wrong", [{"window_s": 0.0}, {"creep_rad": -1.0}, {"least": 3}])
def test_limits_that_cannot_be_are_refused(wrong):
    with pytest.raises(ValueError, match="window"):
        RestLimits(**wrong)


def feed(capture, seconds, level=0.0, start=0.0, seed=1):
    t, values = noisy(seconds, level, seed)
    for at, value in zip(t, values, strict=True):
        capture.feed(start + at, {"incl_x": value, "temperature": 21.0})


def test_a_reading_is_the_mean_of_what_came_after_the_head_was_still():
    capture = Capture(CaptureSettings(reading_s=2.0))
    capture.begin()
    feed(capture, 4.0, level=0.25)
    assert isinstance(capture.outcome, Settled)
    assert capture.outcome.n == 2 * HZ
    assert capture.outcome.mean["incl_x"] == pytest.approx(0.25, abs=5 * NOISE / 10)
    assert capture.outcome.spread["incl_x"] == pytest.approx(NOISE, rel=0.3)
    assert capture.outcome.mean["temperature"] == 21.0


def test_nothing_is_read_unless_asked_for():
    capture = Capture(CaptureSettings())
    feed(capture, 6.0)
    assert capture.outcome is None
    assert not capture.waiting


def test_a_head_that_moves_while_it_is_read_is_refused():
    capture = Capture(CaptureSettings(reading_s=2.0))
    capture.begin()
    feed(capture, 2.0)
    feed(capture, 1.0, level=math.radians(0.5), start=2.0)
    assert isinstance(capture.outcome, Refused)
    assert capture.outcome.verdict.channel == "incl_x"
    assert not capture.waiting


def test_a_head_that_settles_first_is_waited_for():
    capture = Capture(CaptureSettings(reading_s=1.0))
    capture.begin()
    feed(capture, 0.6, level=0.3)
    feed(capture, 3.0, level=0.1, start=0.6)
    assert isinstance(capture.outcome, Settled)
    assert capture.outcome.mean["incl_x"] == pytest.approx(0.1, abs=NOISE)


def test_a_head_that_settles_slowly_is_waited_for_and_read_where_it_ends():
    for seed in range(60):
        capture = Capture(CaptureSettings(reading_s=2.0))
        capture.begin()
        t, values = noisy(16.0, seed=seed)
        for at, value in zip(t, values + math.radians(0.1) * np.exp(-t / 1.5), strict=True):
            capture.feed(at, {"incl_x": value})
        assert isinstance(capture.outcome, Settled)
        assert abs(math.degrees(capture.outcome.mean["incl_x"])) < 0.0072  # twice the creep seen


def test_a_head_that_creeps_for_ever_is_never_read():
    capture = Capture(CaptureSettings(reading_s=2.0))
    capture.begin()
    t, values = noisy(20.0)
    for at, value in zip(t, values + math.radians(0.006) * t, strict=True):
        capture.feed(at, {"incl_x": value})
    assert capture.outcome is None
    assert capture.waiting


def test_a_gap_in_the_samples_starts_the_reading_anew():
    capture = Capture(CaptureSettings(reading_s=2.0))
    capture.begin()
    feed(capture, 2.0, level=0.2)
    feed(capture, 1.5, level=0.4, start=5.0)
    assert capture.outcome is None
    assert capture.waiting
    feed(capture, 3.0, level=0.4, start=6.5)
    assert isinstance(capture.outcome, Settled)
    assert capture.outcome.mean["incl_x"] == pytest.approx(0.4, abs=NOISE)


def test_memory_is_bounded():
    capture = Capture(CaptureSettings(reading_s=1.0))
    feed(capture, 20.0)
    assert capture._time_s.size <= 3.1 * HZ


def test_what_is_shown_is_the_mean_of_the_last_window():
    capture = Capture(CaptureSettings())
    feed(capture, 3.0, level=0.2)
    assert capture.latest["incl_x"] == pytest.approx(0.2, abs=NOISE)


def test_a_channel_that_sees_nothing_does_not_keep_others_from_being_read():
    capture = Capture(CaptureSettings(reading_s=1.0))
    capture.begin(["incl_x"])
    t, values = noisy(4.0)
    for i, (at, value) in enumerate(zip(t, values, strict=True)):
        seen = {"azimuth_cross": 0.1} if i % 7 else {}
        capture.feed(at, {"incl_x": value, "rotation": math.nan, **seen})
    assert isinstance(capture.outcome, Settled)
    assert capture.outcome.mean.keys() == {"incl_x"}


def test_a_needed_channel_without_a_value_is_never_read():
    for missing in ({}, {"rotation": math.nan}):
        capture = Capture(CaptureSettings(reading_s=1.0))
        capture.begin(["rotation"])
        for at, value in zip(*noisy(4.0), strict=True):
            capture.feed(at, {"incl_x": value, **missing})
        assert capture.outcome is None
        assert capture.stillness.channel == "rotation"
        assert math.isnan(capture.stillness.figure_rad)


def test_a_needed_channel_that_falls_silent_while_it_is_read_is_refused():
    capture = Capture(CaptureSettings(reading_s=2.0))
    capture.begin(["incl_x"])
    feed(capture, 2.0)
    capture.feed(2.0, {"temperature": 21.0})
    assert isinstance(capture.outcome, Refused)
    assert "no value in incl_x" in told_refusal("A", capture.outcome)
