"""The run-out fit: its speed, and whether its intervals cover."""

import math

import numpy as np
from rows import rate, row
from scipy import optimize

from calibration.reporting import t_factor
from ingest.core.errors import MeasurementRefused
from ingest.core.frames import Side
from ingest.geometry.fit import fit_runout
from ingest.geometry.runout import RunoutLimits, Turn

SIGMA = math.radians(0.01)


def fit(quick):
    """One run-out fit with its uncertainty, 120 samples, beside curve_fit on the same data."""
    seconds = 0.5 if quick else 3.0
    rng, phi = np.random.default_rng(1), np.linspace(0.0, 2 * np.pi, 120)
    incl_y = np.radians(-1 + 0.5 * np.cos(phi - 0.3)) + SIGMA * rng.standard_normal(120)
    azimuth = np.radians(-90 + 0.5 * np.sin(phi - 0.3)) + SIGMA * rng.standard_normal(120)
    turn = Turn(phi, incl_y, azimuth_rad=azimuth, is_spin=True)

    def curve(x, c, a, b):
        return c + a * np.cos(x) + b * np.sin(x)

    ours = 1e3 / rate(lambda: fit_runout(turn), 1, seconds)
    alone = Turn(phi, incl_y, is_spin=True)
    one = 1e3 / rate(lambda: fit_runout(alone), 1, seconds)
    theirs = 1e3 / rate(lambda: optimize.curve_fit(curve, phi, incl_y), 1, seconds)
    return [
        row("scipy curve_fit, elevation alone, no checks", theirs, "ms"),
        row("levelhead, elevation alone, with all checks", one, "ms", one / theirs, "of curve_fit"),
        row("levelhead, elevation and sightline", ours, "ms", ours / theirs, "of curve_fit"),
    ]


def coverage(quick):
    """95 % intervals by the t factor over seeded runs: four stops, noise from the residuals."""
    runs = 200 if quick else 2000
    phi = np.radians([0.0, 92.0, 181.0, 268.0])
    hits = dict.fromkeys(("camber", "run-out", "phase", "heading"), 0)
    counted = 0
    for seed in range(runs):
        truth, incl_y, azimuth = _drawn(seed, phi)
        try:
            found = fit_runout(
                Turn(phi, incl_y, azimuth_rad=azimuth, is_spin=True),
                limits=RunoutLimits(u_camber_rad=math.inf),
            )
        except MeasurementRefused:
            continue
        counted += 1
        values = (
            found.camber(Side.LEFT),
            found.estimates.angle,
            found.estimates.phase,
            found.estimates.heading,
        )
        k = t_factor(0.95, found.dof)
        for name, value, true in zip(hits, values, truth, strict=True):
            hits[name] += abs(math.remainder(value.value - true, 2 * math.pi)) <= k * value.u
    share = {name: 100 * count / counted for name, count in hits.items()}
    return [row(f"95 % intervals of {n} cover, {counted} runs", v, "%") for n, v in share.items()]


def _drawn(seed, phi):
    """A left wheel by the equations of a cone; its line across from a level head."""
    rng = np.random.default_rng(seed)
    camber, e = np.radians(rng.uniform(-5, 5)), np.radians(rng.uniform(0.2, 5))
    phase = rng.uniform(-math.pi, math.pi)
    a = np.array([0.0, math.cos(camber), -math.sin(camber)])
    w, f = np.array([0.0, math.sin(camber), math.cos(camber)]), np.array([1.0, 0.0, 0.0])
    psi = phi - phase
    y = np.cos(e) * a + np.sin(e) * (np.outer(np.cos(psi), w) + np.outer(np.sin(psi), f))
    level = np.stack([y[:, 1], -y[:, 0]], axis=1) / np.hypot(y[:, 0], y[:, 1])[:, None]
    azimuth = np.arctan2(-y[:, 1], -level[:, 1])
    noise = rng.standard_normal((2, len(phi))) * SIGMA
    return (camber, e, phase, math.pi / 2), np.arcsin(y[:, 2]) + noise[0], azimuth + noise[1]
