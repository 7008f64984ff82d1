"""Worked networks of surveying textbooks, through the file that a vehicle's network comes in.

Angles there run clockwise, here counter-clockwise: an angle from P to Q is one from Q to P.
"""

import json
import math

import numpy as np
import pytest
from scipy.stats import chi2

from ingest.geometry.network.adjusting import adjust
from ingest.geometry.network.forms import Unknown
from ingest.geometry.network.judging import CRITICAL_W, DETECTED, judge, limits
from ingest.geometry.network.results import measured
from ingest.payload.network_file import parse_network_file
from ingest.payload.network_read import network_of

ARCSEC = 1.0 / 3600.0


def dms(degrees, minutes, seconds):
    return degrees + minutes / 60.0 + seconds * ARCSEC


def pin(name, x_m, y_m, *, fixed=False):
    return {"id": name, "x_m": x_m, "y_m": y_m, "fixed": fixed}


def angle(at, back, to, angle_deg, sigma_arcsec):
    sigma = {"sigma_deg": sigma_arcsec * ARCSEC}
    return {"type": "angle", "at": at, "from": back, "to": to, "angle_deg": angle_deg} | sigma


def tape(at, to, distance_m, sigma_m):
    return {"type": "distance", "at": at, "to": to, "distance_m": distance_m, "sigma_m": sigma_m}


def adjusted_file(stations, observations):
    text = json.dumps({"stations": stations, "observations": observations})
    adjusted = adjust(network_of(parse_network_file(text)))
    return adjusted, judge(adjusted, ())


def position(adjusted, name):
    """Return x, y and their standard uncertainties, m."""
    at = adjusted.unknowns.x(name)
    u = np.sqrt(adjusted.covariance.diagonal()[at : at + 2])
    return adjusted.state[at : at + 2], u


def test_closure_of_a_triangle():
    # Mikhail and Ackermann (1976), Observations and Least Squares, example 7.1: misclosure -3",
    # which each angle shares alike; reference variance 3 square seconds.
    stations = [pin("A", 0.0, 0.0, fixed=True), pin("B", 100.0, 0.0, fixed=True), pin("C", 80, 68)]
    read = (dms(40, 19, 2), dms(70, 30, 1), dms(69, 11, 0))
    corners = (("A", "B", "C"), ("B", "C", "A"), ("C", "A", "B"))
    observations = [angle(*c, value, 1.0) for c, value in zip(corners, read, strict=True)]
    _, judgement = adjusted_file(stations, observations)
    assert judgement.dof == 1
    assert judgement.chi2 == pytest.approx(3.0, abs=1e-6)
    for row in judgement.checked:
        assert math.degrees(row.residual) / ARCSEC == pytest.approx(-1.0, abs=1e-6)
        assert row.redundancy == pytest.approx(1.0 / 3.0)


def test_closing_of_the_horizon():
    # Ghilani, Adjustment Computations, chapter 11: misclosure 15" shared by variance. The targets'
    # distances are not determined, and the angles are.
    stations = [pin("O", 0.0, 0.0), pin("A", 100.0, 0.0), pin("B", -70.0, 71.0)]
    stations.append(pin("C", -79.0, -61.0))
    read = (dms(134, 38, 56), dms(83, 17, 35), dms(142, 3, 14))
    sigma = (6.7, 9.9, 4.3)
    pairs = (("A", "B"), ("B", "C"), ("C", "A"))
    observations = [
        angle("O", *pair, value, s) for pair, value, s in zip(pairs, read, sigma, strict=True)
    ]
    adjusted, judgement = adjusted_file(stations, observations)
    shared = [math.degrees(row.residual) / ARCSEC for row in judgement.checked]
    assert shared == pytest.approx([4.172, 9.109, 1.719], abs=5e-4)
    assert judgement.dof == 1
    assert judgement.chi2 == pytest.approx(1.3941, abs=5e-5)
    assert math.sqrt(judgement.variance_factor) == pytest.approx(1.1807, abs=5e-5)
    spot = Unknown(adjusted.unknowns, adjusted.state).spot
    found = [spot("O").bearing(spot(to)) - spot("O").bearing(spot(back)) for back, to in pairs]
    u = [math.degrees(value.u) / ARCSEC for value in measured(adjusted, found)]
    assert u == pytest.approx([5.692, 6.204, 4.046], abs=5e-4)


def test_a_levelling_net_stood_on_its_side():
    # Ghilani (2010), example 12.6, p. 218. Heights are laid along X, so that a tape along them
    # reads a difference of height; what lies across is not determined, and does not matter.
    heights = {"A": 437.596, "B": 448.1, "C": 453.5, "D": 444.9}
    stations = [pin(name, x_m, 0.0, fixed=name == "A") for name, x_m in heights.items()]
    lines = (
        *(("A", "B", 10.509, 6), ("A", "C", 15.881, 12), ("B", "C", 5.360, 4)),
        *(("D", "B", 3.167, 4), ("D", "C", 8.523, 5), ("A", "D", 7.348, 3)),
    )
    observations = [tape(a, b, length, mm * 1e-3) for a, b, length, mm in lines]
    adjusted, judgement = adjusted_file(stations, observations)
    for name, x_m, u_mm in (("B", 448.1087, 2.30), ("C", 453.4685, 2.64), ("D", 444.9436, 1.76)):
        xy, u = position(adjusted, name)
        assert xy[0] == pytest.approx(x_m, abs=5e-5)
        # Its standard deviations carry S0 = 0.6512.
        assert u[0] * 0.6512e3 == pytest.approx(u_mm, abs=5e-3)
    assert judgement.dof == 3
    assert judgement.chi2 == pytest.approx(1.27212, abs=5e-5)
    residuals = [row.residual * 1e3 for row in judgement.checked]
    # B to D and C to D fall, D to A falls: taped the other way round, their residuals turn.
    assert residuals == pytest.approx([3.71, -8.53, -0.24, -1.89, 1.86, -0.39], abs=6e-3)
    share = [row.redundancy for row in judgement.checked]
    assert share == pytest.approx([0.65487, 0.88618, 0.32945, 0.43262, 0.50917, 0.18770], abs=6e-6)
    assert judgement.chi2_limits == pytest.approx((0.216, 9.348), abs=5e-4)


def test_an_angle_resection():
    # Ghilani (2010), example 15.5, p. 277.
    stations = [
        pin("P", 1303.599, 1458.615, fixed=True),
        pin("Q", 1636.436, 1310.468, fixed=True),
        pin("R", 1503.395, 888.362, fixed=True),
        pin("S", 1506.262, 785.061, fixed=True),
        pin("U", 1000.0, 1000.0),
    ]
    observations = [
        angle("U", "Q", "P", dms(30, 29, 33), 5.0),
        angle("U", "R", "Q", dms(38, 30, 31), 6.0),
        angle("U", "S", "R", dms(10, 29, 57), 6.0),
    ]
    adjusted, judgement = adjusted_file(stations, observations)
    xy, u = position(adjusted, "U")
    assert xy == pytest.approx([999.9989, 1000.0253], abs=5e-5)
    s0 = math.sqrt(judgement.variance_factor)
    assert s0 == pytest.approx(0.60300, abs=5e-6)
    assert u * s0 == pytest.approx([0.02057, 0.04268], abs=5e-6)
    assert judgement.dof == 1


def test_a_trilateration():
    # Benning (2011), example 8-2, as given by Krumm, Geodetic Network Adjustment Examples
    # (Stuttgart, rev. 3.5, 2020), example 3.1.1: two fixed points, five distances of 10 mm.
    stations = [pin("1", 0, 1000, fixed=True), pin("2", 1000, 1000, fixed=True)]
    stations += [pin("3", 1.0, -2.0), pin("4", 998.0, 3.0)]
    observations = [
        tape("1", "3", 1000.0200, 0.010),
        tape("1", "4", 1414.2000, 0.010),
        tape("2", "3", 1414.2400, 0.010),
        tape("2", "4", 999.9800, 0.010),
        tape("3", "4", 1000.0000, 0.010),
    ]
    adjusted, judgement = adjusted_file(stations, observations)
    assert position(adjusted, "3")[0] == pytest.approx([-0.0096, -0.0226], abs=5e-5)
    assert position(adjusted, "4")[0] == pytest.approx([999.9930, 0.0174], abs=5e-5)
    residuals = [row.residual * 100.0 for row in judgement.checked]
    assert residuals == pytest.approx([0.260, -0.368, -0.368, 0.260, 0.260], abs=5e-4)
    s0 = math.sqrt(judgement.variance_factor)
    assert s0 * 10.0 == pytest.approx(6.882, abs=5e-4)
    for point in "34":
        assert position(adjusted, point)[1] * s0 * 100.0 == pytest.approx([0.901, 0.637], abs=5e-4)


def test_critical_values():
    # Baarda (1968): two-sided 0.001 and power 0.80, delta_0 = 4.1321; chi-square tables.
    assert pytest.approx(3.2905, abs=5e-5) == CRITICAL_W
    assert pytest.approx(4.1321, abs=5e-5) == DETECTED
    for dof in (1, 2, 3, 5, 20, 100):
        assert limits(dof) == pytest.approx(chi2.ppf((0.025, 0.975), dof), rel=1e-9)
    assert limits(0) is None
