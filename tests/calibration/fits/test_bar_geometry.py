"""The bar's first-order equations against a head and bar laid out in space."""

import math

import numpy as np
import pytest

from calibration.fits.bar import ATTITUDES, BarAttitude, fit_bar

LENGTH = 2.0
RISE, SWING, SAG, STAND = (8e-4, -5e-4), (7e-4, 3e-4), 2e-4, 1e-3
TWIST, FACES, LEAN, ZERO_X = (6e-4, -9e-4), 3e-4, -1.2e-3, (2e-4, 11e-4)
ZERO_Y, ZERO_AZ, PORT = (4e-4, -6e-4), (9e-4, -2e-4), (0.010, 0.012)


def _turn_z(angle: float) -> np.ndarray:
    c, s = math.cos(angle), math.sin(angle)
    return np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])


def _tip_x(angle: float) -> np.ndarray:
    """Raise +y by the angle."""
    c, s = math.cos(angle), math.sin(angle)
    return np.array([[1, 0, 0], [0, c, -s], [0, s, c]])


def _tip_y(angle: float) -> np.ndarray:
    """Raise +x by the angle."""
    c, s = math.cos(angle), math.sin(angle)
    return np.array([[c, 0, -s], [0, 1, 0], [s, 0, c]])


def _read(a: BarAttitude) -> tuple[list[float], list[float], list[float]]:
    r = -1 if a.rolled else 1
    stand = _tip_x(STAND) @ _tip_y(LEAN) @ (_turn_z(math.pi) if a.turned else np.eye(3))
    bar = _tip_y(math.pi) if a.rolled else np.eye(3)
    axes, ports = [], []
    for head in (0, 1):
        end = head if not a.exchanged else 1 - head
        outward = 1 - 2 * end
        # Heads are set upright again after the bar was rolled with all that is bent about it.
        bent = _turn_z(SWING[end]) @ _tip_x(outward * RISE[end]) @ _tip_y(TWIST[end])
        rolled = _tip_y(r * FACES) @ bar @ bent @ bar.T
        frame = stand @ _tip_x(-outward * SAG) @ rolled
        axes.append(frame)
        ports.append(stand @ [0, outward * LENGTH / 2, 0] + PORT[head] * frame[:, 0])
    tilt, across, azimuth = [], [], []
    for head in (0, 1):
        end = head if not a.exchanged else 1 - head
        seen = axes[head].T @ (ports[1 - head] - ports[head])
        nominal = -math.pi / 2 if end == 0 else math.pi / 2
        tilt.append(math.asin(axes[head][2, 1]) + ZERO_Y[head])
        across.append(math.asin(axes[head][2, 0]) + ZERO_X[head])
        azimuth.append(math.atan2(seen[1], seen[0]) - nominal + ZERO_AZ[head])
    return tilt, across, azimuth


def test_separates_heads_and_bar_laid_out_in_space() -> None:
    tilt, across, azimuth = (np.array(v) for v in zip(*map(_read, ATTITUDES), strict=True))
    fit = fit_bar(ATTITUDES, tilt, across, azimuth, LENGTH)
    along = [*ZERO_Y, STAND, *RISE, SAG]
    assert fit.incl_y.values == pytest.approx(np.array(along), abs=3e-6)
    sight = [*ZERO_AZ, *SWING, PORT[1] - PORT[0]]
    assert fit.azimuth.values == pytest.approx(np.array(sight), abs=1e-5)
    level = [ZERO_X[0] + TWIST[0], ZERO_X[1] - ZERO_X[0], TWIST[1] - TWIST[0], LEAN, FACES]
    assert fit.incl_x.values == pytest.approx(np.array(level), abs=3e-6)


def test_no_attitude_tells_a_twist_from_a_head_s_own_level(monkeypatch) -> None:
    """Both heads off one way and both ends twisted the other read the same everywhere."""
    plain = np.array([_read(a)[1] for a in ATTITUDES])
    monkeypatch.setattr(f"{__name__}.TWIST", tuple(t + 1e-3 for t in TWIST))
    monkeypatch.setattr(f"{__name__}.ZERO_X", tuple(z - 1e-3 for z in ZERO_X))
    twisted = np.array([_read(a)[1] for a in ATTITUDES])
    assert twisted == pytest.approx(plain, abs=2e-6)
