"""Connected is not alive."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.core.ids import MonotonicNs
from ingest.service.watchdog import Watchdog, WatchdogSettings

SETTINGS = WatchdogSettings(limit_s=2.0, grace_s=3.0)


def at(seconds):
    return MonotonicNs(round(seconds * 1e9))


def test_a_start_may_be_quiet_for_the_grace_and_the_limit():
    watchdog = Watchdog(SETTINGS, at(100.0))
    assert watchdog.remaining_s(at(100.0)) == 5.0
    assert watchdog.remaining_s(at(105.0)) == 0.0
    assert watchdog.remaining_s(at(105.1)) < 0.0


def test_silence_counts_from_the_last_valid_frame():
    watchdog = Watchdog(SETTINGS, at(100.0))
    watchdog.note_good(at(110.0))
    assert watchdog.remaining_s(at(112.0)) == 0.0
    assert watchdog.remaining_s(at(112.5)) == -0.5


def test_a_frame_left_over_from_before_a_restart_does_not_end_the_grace():
    watchdog = Watchdog(SETTINGS, at(100.0))
    watchdog.note_good(at(100.1))
    assert watchdog.remaining_s(at(104.0)) == 1.0


@given(st.lists(st.floats(0.0, 1000.0), max_size=20), st.floats(0.0, 1000.0))
def test_is_never_silent_within_the_limit_of_a_frame_in_any_order(frames, now):
    watchdog = Watchdog(SETTINGS, at(0.0))
    for seconds in frames:
        watchdog.note_good(at(seconds))
    alive = max([3.0, *frames])
    assert (watchdog.remaining_s(at(now)) < 0.0) == (at(now) - at(alive) > at(2.0))


@pytest.mark.parametrize("wrong", [{"limit_s": 0.0}, {"limit_s": -1.0}, {"grace_s": -0.1}])
def test_refuses_limits_that_cannot_be(wrong):
    with pytest.raises(ValueError, match="watchdog needs"):
        WatchdogSettings(**wrong)
