"""The bar's first-order equations against a head and bar laid out in space."""

import math

import numpy as np
import pytest

from calibration.fits.bar import ATTITUDES, BarAttitude, fit_bar

LENGTH = 2.0
RISE, SWING, SAG, STAND = (8e-4, -5e-4), (7e-4, 3e-4), 2e-4, 1e-3
ZERO_Y, ZERO_AZ, PORT = (4e-4, -6e-4), (9e-4, -2e-4), (0.010, 0.012)


def _turn_z(angle: float) -> np.ndarray:
    c, s = math.cos(angle), math.sin(angle)
    return np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])


def _tip_x(angle: float) -> np.ndarray:
    """Raise +y by the angle."""
    c, s = math.cos(angle), math.sin(angle)
    return np.array([[1, 0, 0], [0, c, -s], [0, s, c]])


def _read(a: BarAttitude) -> tuple[list[float], list[float]]:
    r = -1 if a.rolled else 1
    stand = _tip_x(STAND) @ (_turn_z(math.pi) if a.turned else np.eye(3))
    axes, ports = [], []
    for head in (0, 1):
        end = head if not a.exchanged else 1 - head
        outward = 1 - 2 * end
        elevation = outward * (r * RISE[end] - SAG)
        frame = stand @ _turn_z(r * SWING[end]) @ _tip_x(elevation)
        axes.append(frame)
        ports.append(stand @ [0, outward * LENGTH / 2, 0] + PORT[head] * frame[:, 0])
    tilt, azimuth = [], []
    for head in (0, 1):
        end = head if not a.exchanged else 1 - head
        seen = axes[head].T @ (ports[1 - head] - ports[head])
        nominal = -math.pi / 2 if end == 0 else math.pi / 2
        tilt.append(math.asin(axes[head][2, 1]) + ZERO_Y[head])
        azimuth.append(math.atan2(seen[1], seen[0]) - nominal + ZERO_AZ[head])
    return tilt, azimuth


def test_separates_heads_and_bar_laid_out_in_space() -> None:
    tilt, azimuth = (np.array(v) for v in zip(*map(_read, ATTITUDES), strict=True))
    fit = fit_bar(ATTITUDES, tilt, tilt * 0, azimuth, LENGTH)
    along = [*ZERO_Y, STAND, *RISE, SAG]
    assert fit.incl_y.values == pytest.approx(np.array(along), abs=2e-6)
    across = [*ZERO_AZ, *SWING, PORT[1] - PORT[0]]
    assert fit.azimuth.values == pytest.approx(np.array(across), abs=1e-5)
