"""A wheel that creeps about its own axle by 0.03 to 0.3 deg while it is steered, at once or slowly.

The exact knuckle of ``conftest``, its head turned about the wheel's axle by SciPy's rotations. What
is asked: caster and SAI lie inside the whole U, or the sweep warns or is refused. With a true 95 %
the count of 40 runs is below 34 in one of 1000 cases (binomial).
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from calibration.reporting import coverage_factor
from ingest.core.errors import MeasurementRefused
from ingest.core.frames import Side
from ingest.geometry.sweep.fit import fit_sweep
from ingest.geometry.sweep.readings import SweepNoise
from ingest.geometry.sweep.steering import CLOSING_OUT, CREPT

NOISE = SweepNoise(math.radians(0.005), math.radians(0.02))
STOPS = np.array([0.0, 10.0, 20.0, 10.0, 0.0, -10.0, -20.0, -10.0, 0.0])
PATHS = {
    "nine stops, out and back": STOPS,
    "five stops, one way": np.arange(-20.0, 25.0, 10.0),
    "41 readings, one way": np.linspace(-20.0, 20.0, 41),
    "41 readings, out and back": np.concatenate(
        [np.arange(0.0, 20.0, 2.0), np.arange(20.0, -20.0, -2.0), np.arange(-20.0, 1.0, 2.0)]
    ),
}
RUNS = 40


def slipped(sweep, slip_rad):
    """Turn the head of each reading about its shaft, front up."""
    incl_y, incl_x = sweep.incl_y_rad, sweep.incl_x_rad
    shaft = np.stack([np.zeros(len(sweep)), np.cos(incl_y), np.sin(incl_y)], axis=1)
    rise = np.arcsin(np.sin(incl_x) / np.cos(incl_y)) + slip_rad
    forward = Rotation.from_rotvec(-rise[:, None] * shaft).apply([1.0, 0.0, 0.0])
    return replace(sweep, incl_x_rad=np.arcsin(forward[:, 2]))


def shape(kind, n, rng):
    if kind == "at once":
        return (np.arange(n) >= rng.integers(1, n)).astype(float)
    return np.linspace(0.0, 1.0, n) if kind == "slowly" else np.zeros(n)


def runs(knuckle, with_noise, path, kind, *, stated):
    """Yield for each seed the knuckle and what the fit gave, None where it was refused."""
    for seed in range(RUNS):
        rng = np.random.default_rng(seed)
        side = Side.LEFT if rng.random() < 0.5 else Side.RIGHT
        wheel = knuckle(side, rng.uniform(1.0, 6.0), rng.uniform(4.0, 9.0), rng.uniform(-1.0, 1.0))
        size = math.radians(np.exp(rng.uniform(*np.log([0.03, 0.3])))) * rng.choice([-1, 1])
        read = slipped(with_noise(wheel.sweep(path), rng), size * shape(kind, len(path), rng))
        try:
            yield wheel, fit_sweep(read, noise=NOISE if stated else None)
        except MeasurementRefused:
            yield wheel, None


def covered(wheel, found):
    true = ((wheel.caster_deg, found.whole.caster), (wheel.sai_deg, found.whole.sai))
    return all(
        abs(each.value - math.radians(known)) <= coverage_factor(each.dof) * each.u
        for known, each in true
    )


def warns(found):
    return bool({CREPT, CLOSING_OUT} & set(found.hints))


@pytest.mark.parametrize("stated", [True, False], ids=["noise stated", "noise unknown"])
@pytest.mark.parametrize("kind", ["at once", "slowly"])
@pytest.mark.parametrize("name", PATHS)
def test_a_slip_is_inside_u_or_said(knuckle, with_noise, name, kind, stated):
    told = list(runs(knuckle, with_noise, PATHS[name], kind, stated=stated))
    good = [found is None or warns(found) or covered(wheel, found) for wheel, found in told]
    assert sum(good) >= 34


@pytest.mark.parametrize("stated", [True, False], ids=["noise stated", "noise unknown"])
@pytest.mark.parametrize("name", PATHS)
def test_a_wheel_that_was_held_is_seldom_suspected(knuckle, with_noise, name, stated):
    told = list(runs(knuckle, with_noise, PATHS[name], "not at all", stated=stated))
    # Stated are 1 % and, for the first and last of the outliers, 0.5 %: four of 40 by a chance of
    # 0.3 % at the most.
    assert sum(found is None or warns(found) for _, found in told) <= 3
    assert sum(found is None or covered(*each) for each in told for found in each[1:]) >= 34


def test_a_closing_reading_that_does_not_close_is_no_outlier(knuckle):
    # 0.1 deg before the last reading alone: left out as an outlier, it would not show.
    sweep = knuckle(sai_deg=7.0).sweep(STOPS)
    read = slipped(sweep, math.radians(0.1) * (np.arange(9) == 8))
    for noise in (NOISE, None):
        with pytest.raises(MeasurementRefused) as refused:
            fit_sweep(read, noise=noise)
        assert refused.value.code in ("not-held", "not-closed")


def test_the_way_back_takes_the_slip_out_of_u(knuckle, with_noise):
    rng = np.random.default_rng(5)
    one, both = (
        fit_sweep(with_noise(knuckle().sweep(PATHS[f"41 readings, {way}"]), rng), noise=NOISE)
        for way in ("one way", "out and back")
    )
    assert one.u_slip_rad[1] > 3.0 * both.u_slip_rad[1] > 0.0
    assert one.whole.sai.u == pytest.approx(math.hypot(one.estimates.sai.u, one.u_slip_rad[1]))
    assert fit_sweep(knuckle().sweep(STOPS, locked=False)).u_slip_rad == (0.0, 0.0, 0.0)
