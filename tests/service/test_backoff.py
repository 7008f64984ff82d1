"""Waits between tries: above nothing, below the cap, drawn over the whole range."""

import random
import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.core.ids import MonotonicNs
from ingest.service.backoff import Backoff, BackoffSettings

SETTINGS = BackoffSettings(least_s=0.05, first_s=0.25, max_s=10.0, good_s=5.0)


def at(seconds):
    return MonotonicNs(round(seconds * 1e9))


def waits(backoff, count):
    return [backoff.note_failure() for _ in range(count)]


def test_doubles_up_to_the_cap():
    longest = waits(Backoff(SETTINGS, lambda: 1.0), 9)
    assert longest == [0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 10.0, 10.0, 10.0]


def test_never_waits_nothing_even_with_the_smallest_draw():
    assert set(waits(Backoff(SETTINGS, lambda: 0.0), 20)) == {0.05}


def test_draws_over_the_whole_range():
    """Full jitter: uniform, so that mean and spread are those of the uniform distribution.

    The name and the reason for it: M. Brooker, "Exponential Backoff And Jitter", 2015
    (from memory); uniform mean (a+b)/2 and variance (b-a)^2/12: any handbook of statistics.
    """
    backoff = Backoff(SETTINGS, random.Random(3).random)
    capped = waits(backoff, 4006)[6:]
    assert statistics.fmean(capped) == pytest.approx((0.05 + 10.0) / 2, rel=0.03)
    assert statistics.variance(capped) == pytest.approx((10.0 - 0.05) ** 2 / 12, rel=0.05)


def test_what_a_person_must_mend_waits_the_maximum():
    backoff = Backoff(SETTINGS, lambda: 0.0)
    assert backoff.note_failure(retryable=False) == 10.0
    assert backoff.note_failure(retryable=False) == 10.0


def test_opening_is_not_enough_to_forget_failures():
    """A link that opens, says one thing and dies must not be tried in a tight loop."""
    backoff = Backoff(SETTINGS, lambda: 1.0)
    for number in range(20):
        backoff.note_failure()
        backoff.note_good(at(100.0 * number))
    assert backoff.note_failure() == 10.0


def test_forgets_failures_after_good_data_for_long_enough():
    backoff = Backoff(SETTINGS, lambda: 1.0)
    waits(backoff, 5)
    for seconds in (100.0, 102.0, 104.999):
        backoff.note_good(at(seconds))
    assert backoff.failures == 5
    backoff.note_good(at(105.0))
    assert backoff.failures == 0
    assert backoff.note_failure() == 0.25


def test_a_failure_starts_the_period_of_good_data_anew():
    backoff = Backoff(SETTINGS, lambda: 1.0)
    backoff.note_failure()
    backoff.note_good(at(100.0))
    backoff.note_failure()
    backoff.note_good(at(104.0))
    backoff.note_good(at(108.0))
    assert backoff.failures == 2


@given(
    st.floats(1e-3, 10.0),
    st.floats(1.0, 100.0),
    st.floats(1.0, 1000.0),
    st.lists(st.tuples(st.floats(0.0, 1.0), st.booleans()), min_size=1, max_size=80),
)
def test_every_wait_lies_in_its_range(least_s, first_ratio, max_ratio, failures):
    first_s = least_s * first_ratio
    max_s = first_s * max_ratio
    draws = iter(draw for draw, retryable in failures if retryable)
    backoff = Backoff(BackoffSettings(least_s, first_s, max_s), lambda: next(draws))
    for number, (_, retryable) in enumerate(failures):
        wait_s = backoff.note_failure(retryable=retryable)
        cap_s = min(max_s, first_s * 2.0 ** min(number, 1000)) if retryable else max_s
        assert (least_s if retryable else max_s) * (1 - 1e-9) <= wait_s <= cap_s * (1 + 1e-9)
        assert wait_s > 0.0


def test_a_thousand_failures_do_not_overflow():
    assert waits(Backoff(SETTINGS, lambda: 1.0), 5000)[-1] == 10.0


@pytest.mark.parametrize(
    "wrong",
    [
        {"least_s": 0.0},
        {"least_s": 1.0},
        {"first_s": 11.0},
        {"good_s": 0.0},
        {"max_s": float("nan")},
    ],
)
def test_refuses_settings_that_would_spin(wrong):
    with pytest.raises(ValueError, match="backoff needs"):
        BackoffSettings(**wrong)
