"""The whole fit against the Cramer-Rao bound, robust against gross outliers, 2000 seeds each.

The bound of the mean of a harmonic at n even angles is sigma^2 / n (the estimate of a constant
among orthogonal columns). ``tools/figures bound`` does the same with 40 000 seeds.
"""

import math

import numpy as np
import pytest

from ingest.core.errors import MeasurementRefused
from ingest.geometry.fit import fit_runout
from ingest.geometry.runout import RunoutLimits, Turn

RUNS = 2000
N = 36
SIGMA = math.radians(0.01)
TRUTH = math.radians(1.5)
ANY_U = RunoutLimits(u_camber_rad=math.inf)


def variance_ratio(bad):
    """Return the mean squared error in units of the bound, and how many turns were refused."""
    spin = np.arange(N) * math.tau / N
    curve = TRUTH + np.radians(0.8) * np.cos(spin - 0.4)
    errors, refused = [], 0
    for seed in range(RUNS):
        rng = np.random.default_rng(seed)
        noisy = curve + SIGMA * rng.standard_normal(N)
        off = rng.choice(N, bad, replace=False)
        noisy[off] += SIGMA * rng.uniform(10.0, 100.0, bad) * rng.choice((-1.0, 1.0), bad)
        try:
            found = fit_runout(Turn(spin, noisy, is_spin=True), limits=ANY_U)
        except MeasurementRefused:
            refused += 1
            continue
        errors.append(found.elevation_rad - TRUTH)
    return float(np.var(errors)) / (SIGMA**2 / N), refused


@pytest.mark.parametrize(("bad", "most"), [(0, 1.02), (4, 1.3)])
def test_variance_is_near_the_bound(bad, most):
    ratio, refused = variance_ratio(bad)
    # Two standard deviations of a variance over so many runs.
    assert ratio < most + 2.0 * math.sqrt(2.0 / RUNS)
    assert refused <= 0.01 * RUNS
