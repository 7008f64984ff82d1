"""The fit of all tilt readings of a head at once, against heads invented from plain matrices."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from calibration.errors import BadBenchData
from calibration.fits.combined import fit_tilt, through, turned_matrix
from calibration.fits.parts import levelled, tilt_part
from calibration.fits.placed import Placed, Tumbled
from calibration.fits.two_axis import DRIFT, HEAD, fit_two_axes
from calibration.measured import Measured
from calibration.sensors import DEFAULT_TILT
from calibration.tilt import Tilt

SIGMA = math.radians(0.003)


class Head:
    """A head with true errors: bias, any matrix, drift."""

    def __init__(self, seed, thermal=False, askew_rad=0.0):
        self.askew_rad = askew_rad
        rng = self.rng = np.random.default_rng(seed)
        self.bias = np.radians(rng.normal(0, 0.5, 3))
        cross = np.radians(rng.normal(0, 1.0, (3, 3))) * (1 - np.eye(3))
        self.matrix = np.eye(3) + np.diag(rng.normal(0, 0.01, 3)) + cross
        self.bias_drift = np.radians(rng.normal(0, 0.005, 3)) * thermal
        self.scale_drift = rng.normal(0, 1e-4, 3) * [1, 1, 0] * thermal

    def read(self, true, above=0.0, sigma=0.0):
        above = np.broadcast_to(above, len(true))[:, None]
        seen = (true / (1 + self.scale_drift * above)) @ np.linalg.inv(self.matrix).T
        noise = sigma * self.rng.standard_normal(true.shape)
        return self.bias + self.bias_drift * above + seen + noise

    def tumbled(self, n, sigma=0.0):
        true = self.rng.normal(size=(n, 3))
        true /= np.linalg.norm(true, axis=1)[:, None]
        return Tumbled(self.read(true, 0.0, sigma), np.zeros(n))

    def placed(self, name, axis, angle_deg, facing=1.0, above=0.0, sigma=0.0):
        angle = np.radians(angle_deg)
        facing, above = (np.broadcast_to(v, len(angle)).astype(float) for v in (facing, above))
        along, across = np.radians(self.rng.normal(0, 0.2, 2))
        known, other = np.sin(angle + along * facing), np.sin(across * facing)
        true = np.stack([known, other, np.sqrt(1 - known**2 - other**2)], axis=1)
        if axis == 1:
            true = true[:, [1, 0, 2]]
        if self.askew_rad:
            turn = self.askew_rad * self.rng.standard_normal(len(angle))
            c, s = np.cos(turn), np.sin(turn)
            x, y, z = true.T
            true = np.stack([c * x + s * y, c * y - s * x, z], axis=1)
        return Placed(name, axis, angle, facing, self.read(true, above, sigma), above)

    def plates(self, sigma=0.0):
        steps, there_and_back = [-10.0, -4.0, 4.0, 10.0], [1.0, -1.0, 1.0, -1.0]
        made = []
        for axis, name in enumerate("xy"):
            made.append(self.placed(f"steps {name}", axis, steps, sigma=sigma))
            flat = np.zeros(4)
            made.append(self.placed(f"reversal {name}", axis, flat, there_and_back, sigma=sigma))
        return made

    def oven(self, sigma=0.0):
        angle, above = np.tile([-8.0, 0.0, 8.0], 4), np.repeat([-15.0, -5.0, 5.0, 15.0], 3)
        return [
            self.placed(f"oven {n}", axis, angle, above=above, sigma=sigma)
            for axis, n in enumerate("xy")
        ]


def bias_and_matrix(x):
    matrix = turned_matrix(x[..., :12]).reshape(*x.shape[:-1], 9)
    return np.concatenate([x[..., :3], matrix], axis=-1)


def truth(head):
    return np.concatenate([head.bias, head.matrix.ravel()])


@pytest.mark.parametrize("seed", range(5))
def test_every_coefficient_comes_back_without_noise(seed):
    head = Head(seed, thermal=True)
    fit = fit_tilt(head.tumbled(12), [*head.plates(), *head.oven()], thermal=True)
    assert fit.undetermined == ()
    value, _ = through(fit, bias_and_matrix)
    np.testing.assert_allclose(value, truth(head), rtol=1e-9, atol=1e-11)
    drift = [fit.value(f"bias {a} per degC") for a in "xyz"]
    np.testing.assert_allclose(drift, head.bias_drift, rtol=1e-9, atol=1e-14)
    scale = [fit.value(f"scale {a} per degC") for a in "xy"]
    np.testing.assert_allclose(scale, head.scale_drift[:2], rtol=1e-9, atol=1e-13)


def test_plates_alone_do_without_a_sphere():
    head = Head(3)
    fit = fit_tilt(None, head.plates(), thermal=False)
    value, _ = through(fit, bias_and_matrix)
    np.testing.assert_allclose(value, truth(head), rtol=1e-6, atol=1e-8)


def test_the_sphere_alone_leaves_the_turn_in_the_housing_open():
    head = Head(4)
    fit = fit_tilt(head.tumbled(24), [], thermal=False)
    assert fit.undetermined == ("turn x", "turn y", "turn z")
    part = tilt_part(fit, 20.0, math.radians(0.3), DEFAULT_TILT)
    assert part.u_matrix[0][2] >= math.radians(0.3)
    assert part.u_matrix[0][0] < 1e-9
    np.testing.assert_allclose(np.radians(part.bias_deg), head.bias, atol=1e-11)
    assert part.u_bias_deg_per_degc == DEFAULT_TILT.u_bias_deg_per_degc


def test_a_level_found_on_the_bar_tells_two_of_the_three_turns():
    head = Head(5)
    part = tilt_part(fit_tilt(head.tumbled(24), [], thermal=False), 20.0, 0.005, DEFAULT_TILT)
    level = np.arcsin(head.read(np.array([[0.0, 0.0, 1.0]])))
    found = Tilt.from_part(part, "cal").correct(level.T, np.array([20.0]))[:, 0]
    u = math.radians(0.001)
    zeros = [Measured.of(float(z), u, source="bar") for z in found[:2]]
    told = levelled(part, *zeros)
    again = Tilt.from_part(told, "cal").correct(level.T, np.array([20.0]))[:2, 0]
    # What was known before, 0.005 rad, has a share of (u / 0.005)^2.
    assert np.abs(again).max() < 1.5 * (u / 0.005) ** 2 * np.abs(found[:2]).max()
    assert told.u_matrix[0][2] == pytest.approx(u, rel=1e-3)
    assert told.u_matrix[0][1] == part.u_matrix[0][1]
    assert np.linalg.norm(told.matrix) == pytest.approx(np.linalg.norm(part.matrix), rel=1e-12)


def test_a_level_that_is_known_better_already_moves_little():
    head = Head(6)
    part = tilt_part(
        fit_tilt(head.tumbled(12), head.plates(), thermal=False), 20.0, 1, DEFAULT_TILT
    )
    zero = Measured.of(math.radians(0.1), math.radians(1.0), source="bar")
    told = levelled(part, zero, zero)
    np.testing.assert_allclose(told.matrix, part.matrix, atol=1e-9)


def test_intervals_cover_2000_runs_of_each_coefficient():
    """95 % intervals (t factor) cover in 93.3 to 96.6 % (99.9 % binomial band)."""
    inside = np.zeros(12)
    for seed in range(2000):
        head = Head(seed)
        fit = fit_tilt(head.tumbled(9, SIGMA), head.plates(SIGMA), thermal=False)
        value, covariance = through(fit, bias_and_matrix)
        k = fit.expanded("bias x") / fit.u("bias x")
        inside += np.abs(value - truth(head)) <= k * np.sqrt(np.diag(covariance))
    shares = inside / 2000
    assert ((shares >= 0.933) & (shares <= 0.966)).all(), shares


def band(runs):
    """Return between which shares 95 % intervals cover, but for one case in a thousand."""
    return stats.binom.ppf([0.0005, 0.9995], runs, 0.95) / runs


@pytest.mark.parametrize("three_axis", [False, True])
def test_intervals_of_the_thermal_fit_cover(three_axis):
    """The band is the 99.9 % binomial one of so few runs: 91.8 to 98.0 % of 500."""
    runs, inside = 250 if three_axis else 500, 0.0
    for seed in range(runs):
        head = Head(seed, thermal=True)
        if three_axis:
            placed = [*head.plates(SIGMA), *head.oven(SIGMA)]
            fit = fit_tilt(head.tumbled(9, SIGMA), placed, thermal=True)
            true = np.array([*head.bias, *head.bias_drift, *head.scale_drift[:2]])
            names = fit.names[:3] + fit.names[12:17]
        else:
            fit, true = two_axes(head, SIGMA, thermal=True)
            true = np.array([*true, *head.bias_drift[:2], *head.scale_drift[:2]])
            names = HEAD + DRIFT
        off = [fit.value(name) for name in names] - true
        inside = inside + (np.abs(off) <= [fit.expanded(name) for name in names])
    low, high = band(runs)
    assert ((inside / runs >= low) & (inside / runs <= high)).all(), inside / runs


ASKEW_RAD = math.radians(0.01)


@pytest.mark.parametrize("three_axis", [False, True])
def test_heads_set_down_askew_accuse_no_row_and_their_intervals_cover(three_axis):
    """As named is Baarda's test: one clean row in a thousand. Askew by what is stated."""
    runs, rows, named, inside = 200, 0, 0, 0.0
    for seed in range(runs):
        head = Head(seed, askew_rad=ASKEW_RAD)
        if three_axis:
            tumbled, placed = head.tumbled(9, SIGMA / 10), head.plates(SIGMA / 10)
            fit = fit_tilt(tumbled, placed, thermal=False, u_askew_rad=ASKEW_RAD)
            true, names = head.bias, HEAD_OF_THREE
        else:
            fit, true = two_axes(head, SIGMA / 10, u_askew_rad=ASKEW_RAD)
            names = HEAD
        rows, named = rows + fit.residuals.size, named + len(fit.distrusted())
        off = [fit.value(name) for name in names] - true
        inside = inside + (np.abs(off) <= [fit.expanded(name) for name in names])
    assert named <= stats.binom.ppf(0.999, rows, 0.001)
    low, high = band(runs)
    assert ((inside / runs >= low) & (inside / runs <= high)).all(), inside / runs


HEAD_OF_THREE = ("bias x", "bias y", "bias z")


def test_a_row_that_is_off_is_named_where_heads_stand_askew():
    head = Head(12, askew_rad=ASKEW_RAD)
    placed = head.plates(SIGMA / 10)
    placed[0].raw[1, 0] += 12 * SIGMA / 10
    fit = fit_tilt(head.tumbled(9, SIGMA / 10), placed, thermal=False, u_askew_rad=ASKEW_RAD)
    assert fit.distrusted() == ("steps x 2, axis x",)


def two_axes(head, sigma=0.0, thermal=False, u_askew_rad=0.0):
    """Return the fit of a head that lacks the upright axis, and has nothing to do with it."""
    head.matrix[2], head.matrix[:, 2] = (0, 0, 1), (0, 0, 1)
    placed = [*head.plates(sigma), *(head.oven(sigma) if thermal else ())]
    two = [replace(p, raw=p.raw[:, :2]) for p in placed]
    fit = fit_two_axes(two, thermal=thermal, u_askew_rad=u_askew_rad)
    return fit, np.concatenate([head.bias[:2], head.matrix[:2, :2].ravel()])


def test_every_coefficient_of_two_axes_comes_back_without_noise():
    head = Head(9, thermal=True)
    fit, true = two_axes(head, thermal=True)
    assert fit.undetermined == ()
    np.testing.assert_allclose(fit.values[:6], true, rtol=1e-9, atol=1e-12)
    drift = [*head.bias_drift[:2], *head.scale_drift[:2]]
    np.testing.assert_allclose(fit.values[6:10], drift, rtol=1e-9, atol=1e-13)


def test_intervals_of_two_axes_cover_three_times_2000_runs_of_each_coefficient():
    """Over 60 000 seeds from 0 the shares are 94.79 to 95.03 %.

    Of 180 shares of 2000 runs each that of ``m yx`` in the first is the oddest: 93.0 %, 4.1
    deviations off, which chance does in one of 140 such lots. Nothing in the fit sets it
    apart from ``m xy``, so that three lots are pooled rather than a luckier one looked for.
    """
    runs, inside = 6000, np.zeros(6)
    for seed in range(runs):
        fit, true = two_axes(Head(seed), SIGMA)
        half = [fit.expanded(name) for name in HEAD]
        inside += np.abs(fit.values[:6] - true) <= half
    shares = inside / runs
    assert ((shares >= 0.933) & (shares <= 0.966)).all(), shares


def test_the_part_corrects_the_head():
    head = Head(7, thermal=True)
    fit = fit_tilt(head.tumbled(12), [*head.plates(), *head.oven()], thermal=True)
    tilt = Tilt.from_part(tilt_part(fit, 20.0, 0.01, DEFAULT_TILT), "cal")
    true = np.array([[0.05, -0.03, math.sqrt(1 - 0.05**2 - 0.03**2)]])
    raw = np.arcsin(head.read(true, 10.0)).T
    assert tilt.correct(raw, np.array([30.0]))[:2, 0] == pytest.approx(
        np.arcsin(true[0, :2]), abs=1e-11
    )


def test_too_few_attitudes_are_named():
    head = Head(8)
    fit = fit_tilt(head.tumbled(6), [], thermal=False)
    assert {"m xy", "m xz", "m yz"} & set(fit.undetermined)
    with pytest.raises(BadBenchData, match="open"):
        tilt_part(fit, 20.0, 0.01, DEFAULT_TILT)


def test_no_readings_are_refused():
    with pytest.raises(BadBenchData, match="no readings"):
        fit_tilt(None, [], thermal=False)
