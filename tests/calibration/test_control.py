"""Control limits and run rules on made-up courses."""

import numpy as np
import pytest

from calibration.control import (
    BASELINE,
    FEWEST,
    RUN,
    Limits,
    Signal,
    control_limits,
    signals,
    values_until_false_alarm,
)

KNOWN = Limits(centre=0.0, low=-3.0, high=3.0, sigma=1.0, range_high=3.686)


def test_few_values_set_no_limits():
    assert control_limits([0.1] * (FEWEST - 1)) is None
    assert control_limits([0.1] * FEWEST) is not None


def test_the_first_values_set_the_limits_and_later_ones_do_not_move_them():
    rng = np.random.default_rng(2)
    first = rng.normal(size=BASELINE).tolist()
    assert control_limits([*first, 50.0, 60.0]) == control_limits(first)


def test_a_value_beyond_a_limit_is_a_signal_and_one_on_it_is_none():
    assert signals([3.0, -3.0, 3.01, -3.01], KNOWN) == (
        Signal(2, "beyond-limits"),
        Signal(3, "beyond-limits"),
    )


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_eight_on_one_side_are_a_signal_and_each_more_is(side):
    values = [side * 0.1] * RUN
    assert signals(values[:-1], KNOWN) == ()
    assert signals(values, KNOWN) == (Signal(RUN - 1, "run-on-one-side"),)
    assert [s.index for s in signals([*values, side], KNOWN)] == [RUN - 1, RUN]


@pytest.mark.parametrize("break_", [-0.1, 0.0])
def test_a_value_across_or_on_the_centre_ends_a_run(break_):
    values = [0.1] * (RUN - 1)
    assert signals([*values, break_, *values], KNOWN) == ()


def test_values_on_the_centre_are_on_no_side():
    assert signals([0.0] * (2 * RUN), KNOWN) == ()


def test_the_rate_of_false_alarms_is_what_simulated_charts_have():
    rng = np.random.default_rng(7)
    waits = []
    for _ in range(1500):
        values = rng.normal(size=1200)
        found = signals(values.tolist(), KNOWN)
        waits.append(found[0].index + 1 if found else 1200)
    wait, u = np.mean(waits), np.std(waits) / np.sqrt(len(waits))
    assert values_until_false_alarm() == pytest.approx(wait, abs=4.0 * u)


def test_a_slow_drift_widens_limits_little():
    steady = np.random.default_rng(3).normal(size=BASELINE)
    drifting = steady + np.linspace(0.0, 4.0, BASELINE)
    wide = control_limits(drifting.tolist()).sigma / control_limits(steady.tolist()).sigma
    assert wide < 1.15 < np.std(drifting) / np.std(steady)
