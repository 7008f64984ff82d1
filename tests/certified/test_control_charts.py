"""Control charts against published worked examples and the published behaviour of run rules."""

import numpy as np
import pytest

from calibration.control import D2, D3, control_limits, signals, values_until_false_alarm

# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2: flow rates of ten batches, with the
# limits that it prints. From memory; sum and moving ranges recomputed.
FLOW = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)
# Montgomery, Introduction to Statistical Quality Control: viscosity of fifteen batches of primer
# paint, mean 33.52, mean moving range 0.48, limits as printed. From memory; recomputed.
PRIMER = """
33.75 33.05 34.00 33.81 33.46 34.02 33.68 33.27 33.49 33.20 33.62 33.00 33.54 33.12 33.84
"""


def test_the_handbook_s_flow_rates():
    limits = control_limits(FLOW)
    assert limits.centre == pytest.approx(50.81, abs=0.005)
    # It divides by 1.128, we by 2/sqrt(pi) = 1.12838.
    assert (limits.low, limits.high) == pytest.approx((45.8159, 55.8041), abs=0.002)
    assert signals(FLOW, limits) == ()


def test_the_textbook_s_primer_paint():
    limits = control_limits([float(value) for value in PRIMER.split()])
    found = limits.centre, limits.low, limits.high
    assert found == pytest.approx((33.52, 32.24, 34.80), abs=0.007)  # it rounds in between
    assert limits.range_high == pytest.approx(1.57, abs=0.005)


def test_the_constants_of_two_values_are_those_of_the_tables():
    """d2 and d3 for n = 2 (ISO 7870-2, common tables; from memory): 1.128 and 0.853."""
    assert pytest.approx((1.128, 0.853), abs=0.0005) == (D2, D3)
    ranges = np.abs(np.diff(np.random.default_rng(1).normal(size=(400_000, 2)))).ravel()
    assert (ranges.mean(), ranges.std()) == pytest.approx((D2, D3), rel=0.005)


def test_how_often_chance_alone_alarms():
    """Champ and Woodall (Technometrics 29, 1987): 152.73 values for these two rules (memory)."""
    assert values_until_false_alarm() == pytest.approx(152.73, abs=0.005)
