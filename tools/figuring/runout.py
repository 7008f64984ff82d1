"""How near the run-out fit comes to what the noise allows, and the usual three-stop mean."""

import math
from concurrent.futures import ProcessPoolExecutor

import lmfit
import numpy as np
from rows import rate, row
from scipy import optimize

from calibration.harmonics import fit_harmonics
from ingest.core.errors import MeasurementRefused
from ingest.geometry.fit import fit_runout
from ingest.geometry.runout import RunoutLimits, Turn
from ingest.geometry.sightline import Sightline

N = 36
SIGMA = math.radians(0.01)
SHARES = 8
"""Into so many shares the runs are split among the cores."""
BAD = 4
"""Readings that are off, of 36."""
GROSS_SIGMA = (10.0, 100.0)
"""By how much, to either side."""
ANY_U = RunoutLimits(u_camber_rad=math.inf)


def bound(quick):
    """Variance of the fitted camber against the Cramer-Rao bound sigma^2/n, 36 readings a turn."""
    runs = 2000 if quick else 40_000
    cases = (("clean data", 0), (f"{BAD} of {N} off by 10 to 100 sigma", BAD))
    rows = []
    with ProcessPoolExecutor() as pool:
        for name, bad in cases:
            shares = [range(first, runs, SHARES) for first in range(SHARES)]
            found = np.concatenate(list(pool.map(_errors, shares, [bad] * SHARES)), axis=1)
            # The mean of clean noise has the bound's variance exactly: what a run of seeds has
            # of luck is taken off by it (a control variate).
            beyond = np.square(found[0]) - np.square(found[1])
            share = beyond / (SIGMA**2 / N)
            upper = 1.0 + share.mean() + 1.645 * share.std() / math.sqrt(len(share))
            rows.append(row(f"{name}, {runs:,} seeded runs", 1.0 + share.mean(), "of the bound"))
            rows.append(row(f"{name}, upper 95 % limit", upper, "of the bound"))
            rows.append(row(f"{name}, refused", 100.0 * (1.0 - len(share) / runs), "%"))
    return rows + _means(runs // 10) + [_short_roll(200 if quick else 2000)]


def _errors(seeds, bad):
    """Return errors of the fit and of the clean mean, refused turns left out, shape (2, m)."""
    spin = np.arange(N) * math.tau / N
    errors = []
    for seed in seeds:
        rng = np.random.default_rng(seed)
        noise = SIGMA * rng.standard_normal(N)
        noisy = np.radians(1.5) + np.radians(0.8) * np.cos(spin - 0.4) + noise
        off = rng.choice(N, bad, replace=False)
        noisy[off] += SIGMA * rng.uniform(*GROSS_SIGMA, bad) * rng.choice((-1.0, 1.0), bad)
        try:
            found = fit_runout(Turn(spin, noisy, is_spin=True), limits=ANY_U)
        except MeasurementRefused:
            continue
        errors.append((found.elevation_rad - np.radians(1.5), noise.mean()))
    return np.array(errors).reshape(-1, 2).T


def _means(runs):
    """The plain mean of three stops, twelve readings each, with every stop off by a degree."""
    errors = {"three-stop mean, stops exact": [], "three-stop mean, stops off by 1 deg": []}
    ours = []
    for seed in range(runs):
        rng = np.random.default_rng(seed)
        thirds = np.arange(3) * math.tau / 3
        for name, off in zip(errors, (0.0, 1.0), strict=True):
            at = thirds + np.radians(off) * rng.standard_normal(3)
            spin = np.repeat(at, N // 3)
            noisy = _seen(spin, rng)
            errors[name].append(float(noisy.mean()))
        ours.append(fit_harmonics(spin, noisy).mean[0])
    variance = {
        name: np.mean(np.square(np.array(each) - np.radians(1.5))) for name, each in errors.items()
    }
    variance["levelhead, the same readings off by 1 deg"] = np.mean(
        (np.array(ours) - np.radians(1.5)) ** 2
    )
    return [row(name, float(v) / (SIGMA**2 / N), "of the bound") for name, v in variance.items()]


def _seen(spin, rng):
    return (
        np.radians(1.5)
        + np.radians(0.8) * np.cos(spin - 0.4)
        + SIGMA * rng.standard_normal(len(spin))
    )


def _short_roll(runs):
    """An eighth of a turn, 60 readings of 0.02 deg, clamps 2 mm off centre."""
    sigma, line = math.radians(0.02), Sightline(length_m=2.0)
    errors = []
    for seed in range(runs):
        rng = np.random.default_rng(seed)
        spin = rng.uniform(0, math.tau) + np.radians(np.linspace(0.0, 45.0, 60))
        up, ahead = np.radians(rng.uniform(-1.0, 1.0, 2))
        off_up, off_ahead = rng.normal(0.0, 0.002 / math.sqrt(2.0) / 2.0, 2)
        # To first order: the cone's sway and, a quarter of a turn later, the clamp's offset.
        incl_y = up * np.cos(spin) + ahead * np.sin(spin)
        swing = off_up * np.sin(spin) - off_ahead * np.cos(spin)
        azimuth = -math.pi / 2 + up * np.sin(spin) - ahead * np.cos(spin) + swing
        noise = sigma * rng.standard_normal((2, 60))
        turn = Turn(spin, incl_y + noise[0], azimuth_rad=azimuth + noise[1], is_spin=True)
        errors.append(fit_runout(turn, sightline=line, limits=ANY_U).elevation_rad)
    return row("45 deg roll: camber, 1 sigma", math.degrees(np.std(errors)), "deg")


def peers(quick):
    """One fit of a sinusoid to 120 readings beside general fitters, known angles."""
    seconds = 0.5 if quick else 3.0
    spin = np.linspace(0.0, math.tau, 120)
    noisy = _seen(spin, np.random.default_rng(1))

    def curve(x, c, a, b):
        return c + a * np.cos(x) + b * np.sin(x)

    model = lmfit.Model(curve)
    scipys = 1e3 / rate(lambda: optimize.curve_fit(curve, spin, noisy), 1, seconds)
    lmfits = 1e3 / rate(lambda: model.fit(noisy, x=spin, c=0.0, a=0.0, b=0.0), 1, seconds)
    ours = 1e3 / rate(lambda: fit_harmonics(spin, noisy), 1, seconds)
    return [
        row("scipy curve_fit", scipys, "ms"),
        row("lmfit", lmfits, "ms", lmfits / scipys, "of curve_fit"),
        row("levelhead, outliers rejected", ours, "ms", ours / scipys, "of curve_fit"),
    ]
