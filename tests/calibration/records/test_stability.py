"""A bias instability read off the end of a curve that still falls is an upper limit."""

import math

import numpy as np

from calibration.document.certificate.uncertainty import _steady
from calibration.fits.allan import overlapping_allan
from calibration.records.results import CurvePoint, Stability

N = 4096


def stability(y):
    allan = overlapping_allan(y, 0.1)
    curve = tuple(
        CurvePoint(tau_s=t, deviation=d, low=0.9 * d, high=1.1 * d)
        for t, d in zip(allan.tau_s.tolist(), allan.deviation.tolist(), strict=True)
    )
    return Stability(
        channel="incl_x",
        unit="deg",
        recorded_s=f"{N / 10}",
        bias_instability=f"{allan.bias_instability:.3g}",
        at_tau_s=f"{allan.bias_instability_tau_s:.3g}",
        curve=curve,
    )


def told(found):
    return dict(_steady(found).items)["Bias instability"]


def test_white_noise_shows_no_floor():
    """White noise has none: its Allan deviation falls with the root of the averaging time."""
    found = stability(0.003 * np.random.default_rng(1).standard_normal(N))
    assert found.still_falls
    assert told(found).startswith("at most ")


def test_a_curve_that_rises_again_has_its_floor_in_it():
    """A random walk rises with the root of the averaging time (NIST SP 1065, section 5.2)."""
    random = np.random.default_rng(2)
    walk = np.cumsum(1e-4 * random.standard_normal(N))
    found = stability(0.003 * random.standard_normal(N) + walk)
    assert not found.still_falls
    assert not told(found).startswith("at most")
    assert math.isfinite(float(found.bias_instability))


def test_without_a_curve_nothing_is_said_to_fall():
    assert not Stability(channel="incl_x", unit="deg", recorded_s="1").still_falls
