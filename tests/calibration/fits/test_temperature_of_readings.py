"""A tilt fit without a drift holds where it was read; what the drift may do beside is in its u."""

import itertools
import math

import numpy as np
import pytest

from calibration.drafting.tilt import find_tilt
from calibration.drafting.tilt_rows import TiltSetup
from calibration.files.series import parse_series
from calibration.sensors import DEFAULT_TILT

SETUP = TiltSetup(20.0, math.radians(1.0), math.radians(0.05), sine_bar_mm=200.0)
BIAS_DEG = np.array([0.2, -0.1])
STEPS = [(a, h, s) for a in "xy" for h, s in ((0, 1), (10, 1), (10, -1), (35, 1), (35, -1))]
WAYS = list(itertools.product("xy", ("as-marked", "turned"), range(3)))


def reading(x, y, degc, drift_deg):
    """Return raw angles of a head whose bias drifts from 20 degC on, and a third axis of it."""
    raw = np.array([x, y]) + np.radians(BIAS_DEG + drift_deg * (degc - 20.0))
    return ",".join(f"{math.degrees(math.asin(v)):.9f}" for v in raw)


def files(steps_degc, reversal_degc, drift_deg, random, told=True):
    """Return steps and a reversal as read at two temperatures, with a little noise."""
    column = ",temperature_degc" if told else ""
    axes = f"incl_x_deg,incl_y_deg{column}"
    texts = {"steps": [f"row,axis,height_mm,sign,{axes}"], "reversal": [f"row,axis,facing,{axes}"]}
    for axis, height, sign in STEPS:
        s = sign * height / 200
        known = np.array((s, 0.0) if axis == "x" else (0.0, s)) + 2e-7 * random.standard_normal(2)
        degc = f",{steps_degc}" if told else ""
        texts["steps"].append(
            f"{len(texts['steps'])},{axis},{height},{sign},"
            f"{reading(*known, steps_degc, drift_deg)}{degc}"
        )
    for axis, way, _ in WAYS:
        slope = 1e-3 if way == "turned" else -1e-3
        known = np.array((slope, slope)) + 2e-7 * random.standard_normal(2)
        degc = f",{reversal_degc}" if told else ""
        texts["reversal"].append(
            f"{len(texts['reversal'])},{axis},{way},"
            f"{reading(*known, reversal_degc, drift_deg)}{degc}"
        )
    return [parse_series("\n".join(t), f"{k}.csv", (), kinds=(k,)) for k, t in texts.items()]


def test_the_reference_is_where_the_readings_were_taken():
    part = find_tilt(files(30.0, 30.0, 0.004, np.random.default_rng(1)), SETUP).part
    assert part.reference_temperature_degc == 30.0
    assert np.array(part.bias_deg) == pytest.approx(BIAS_DEG + 0.04, abs=1e-4)
    assert part.u_bias_deg_per_degc == DEFAULT_TILT.u_bias_deg_per_degc[:2]


def test_readings_that_tell_no_temperature_keep_the_reference_of_the_sheet():
    told = files(30.0, 30.0, 0.0, np.random.default_rng(2), told=False)
    assert find_tilt(told, SETUP).part.reference_temperature_degc == 20.0


def test_readings_at_two_temperatures_cost_the_drift_between_them():
    """Held to a Monte Carlo of the drift (JCGM 101): the same fit on readings with drawn drifts."""
    random = np.random.default_rng(3)
    u = DEFAULT_TILT.u_bias_deg_per_degc[0]
    off, stated = [], []
    for drift in u * random.standard_normal((200, 2)):
        part = find_tilt(files(20.8, 23.0, drift, random), SETUP).part
        here = BIAS_DEG + drift * (part.reference_temperature_degc - 20.0)
        off.append(np.array(part.bias_deg) - here)
        stated.append(part.u_bias_deg)
    mean = np.mean(np.array(stated), axis=0)
    # 400 draws: the standard deviation is told to 1/sqrt(800), 3.5 %; three of those.
    assert np.std(off) == pytest.approx(mean.mean(), rel=0.11)
    # A reversal alone tells a level: 23 is 1.2 from the mean over 10 and 12 rows, so 0.010 of it.
    assert mean == pytest.approx(u * (23.0 - (10 * 20.8 + 12 * 23.0) / 22), rel=0.05)


def test_an_oven_that_tells_the_drift_keeps_the_reference_of_the_sheet():
    random = np.random.default_rng(4)
    rows = ["row,axis,true_deg,incl_x_deg,incl_y_deg,temperature_degc"]
    for degc, axis, angle in itertools.product((5.0, 35.0), "xy", (-5, 0, 5)):
        s = math.sin(math.radians(angle))
        known = np.array((s, 0.0) if axis == "x" else (0.0, s)) + 2e-7 * random.standard_normal(2)
        rows.append(f"{len(rows)},{axis},{angle},{reading(*known, degc, 0.004)},{degc}")
    oven = parse_series("\n".join(rows), "oven.csv", (), kinds=("oven",))
    part = find_tilt([*files(22.0, 22.0, 0.004, random), oven], SETUP).part
    assert part.reference_temperature_degc == 20.0
    assert np.array(part.bias_deg) == pytest.approx(BIAS_DEG, abs=1e-3)
    # A line through two soaks (law of propagation, GUM 5.1.2): each strays by 0.001 deg, and the
    # mean of its six readings by what two that are raised across stand askew, 0.05 deg stated.
    askew = 0.05 * math.sin(math.radians(5.0)) * math.sqrt(2) / 6
    expected = math.hypot(0.001, askew) * math.sqrt(2) / 30.0
    assert np.array(part.u_bias_deg_per_degc) == pytest.approx(expected, rel=0.02)
