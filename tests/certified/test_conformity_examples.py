"""JCGM 106:2012 worked examples (quoted from memory, recomputed), and tails at the limit."""

import pytest
from scipy import special, stats

from calibration.decision import Rule, decide, probability_of_conformity

EXAMPLES = {
    "breakdown voltage of a diode, upper limit": ((-5.47, 0.05, None, -5.40), 0.92, 0.91924),
    "burst pressure of a vessel, lower limit": ((509.7, 8.6, 490.0, None), 0.99, 0.98901),
    "viscosity of an oil, two-sided": ((13.6, 1.8, 12.5, 16.3), 0.66, 0.66263),
}


@pytest.mark.parametrize("name", EXAMPLES)
def test_probability_of_conformity(name):
    inputs, printed, computed = EXAMPLES[name]
    assert probability_of_conformity(*inputs) == pytest.approx(printed, abs=0.005)
    assert probability_of_conformity(*inputs) == pytest.approx(computed, abs=5e-6)


@pytest.mark.parametrize(
    ("chance", "z"), [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)]
)
def test_one_sided_distance_for_a_chance(chance, z):
    # JCGM 106 7.3, table: how many u inside a single limit a value must be.
    exact = float(special.ndtri(chance))
    assert exact == pytest.approx(z, abs=0.006)
    assert probability_of_conformity(-exact, 1.0, None, 0.0) == pytest.approx(chance)


def test_speed_enforcement_needs_a_reading_above_the_limit():
    # JCGM 106, from memory: limit 100, u 2 % of the reading, p 0.999 -> 107 (106.588).
    reading = 106.588
    assert probability_of_conformity(reading, 0.02 * reading, 100.0, None) == pytest.approx(
        0.999, abs=2e-6
    )


@pytest.mark.parametrize(("bands", "risk"), [(0.0, 0.5), (1.0, 0.02275), (1.5, 0.00135)])
def test_risk_at_the_edge_of_the_guard_band(bands, risk):
    # ILAC-G8:09/2019: chance of a wrong acceptance at the acceptance limit, U = 2 u.
    assert 1.0 - probability_of_conformity(-2.0 * bands, 1.0, None, 0.0) == pytest.approx(
        risk, abs=5e-6
    )


# The rule vectors: limits -1.0 and 0.5, U 0.0625, from JCGM 106 and ILAC-G8 by our own sums.
VECTORS = [
    (-1.10, "outside", "outside", "fail", 0.0007),
    (-1.03, "outside", "undecided", "conditional-fail", 0.1685),
    (-1.00, "inside", "undecided", "conditional-pass", 0.5000),
    (-0.9375, "inside", "inside", "pass", 0.9772),
    (0.44, "inside", "undecided", "conditional-pass", 0.9726),
    (0.5625, "outside", "undecided", "conditional-fail", 0.0228),
    (0.57, "outside", "outside", "fail", 0.0125),
]


@pytest.mark.parametrize("vector", VECTORS, ids=lambda v: str(v[0]))
def test_decision_vectors(vector):
    y, simple, guarded, certificate, chance = vector
    words = {Rule.SIMPLE: simple, Rule.GUARD_U: guarded, Rule.GUARD_U_4: certificate}
    for rule, word in words.items():
        decision = decide(y, 0.03125, -1.0, 0.5, rule)
        # A simple decision is "pass" or "fail" on a certificate; the words here are ours.
        assert decision.decision == word
        assert decision.p_conform == pytest.approx(chance, abs=5e-5)


def test_probability_agrees_with_scipy_far_in_the_tails():
    for y in (-30.0, -6.0, 0.0, 2.5, 40.0):
        expected = stats.norm.cdf(3.0, y, 2.0) - stats.norm.cdf(-1.0, y, 2.0)
        assert probability_of_conformity(y, 2.0, -1.0, 3.0) == pytest.approx(expected, abs=1e-15)
