"""The calibration bench: how long a fit takes, and a certificate."""

import math
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from rows import rate, row
from scipy import optimize

from calibration.fits.tilt_sphere import fit_sphere

SIGMA = math.radians(0.003)
RECORD = Path("tests/calibration/records/version-2.json")
"""The kept record of the second version: signed, whole, and in every clone."""
ALLOWED_S = 2.0
ALLOWED_MS = 50.0


def bench(quick):
    """A gravity-sphere fit of 24 attitudes beside SciPy's least squares; one certificate."""
    raw = _attitudes()
    seconds = 0.5 if quick else 3.0
    ours = 1e3 / rate(lambda: fit_sphere(raw), 1, seconds)
    theirs = 1e3 / rate(lambda: _by_scipy(raw), 1, seconds)
    command, writing = _certificate(1 if quick else 5)
    return [
        row("24 attitudes, scipy least_squares, no covariance", theirs, "ms"),
        row("24 attitudes, levelhead", ours, "ms", ours / theirs, "of least_squares"),
        row("24 attitudes, levelhead", ours, "ms", ours / ALLOWED_MS, "of the 50 ms allowed"),
        row("certificate, HTML and PDF and DCC", command, "s", command / ALLOWED_S, "of 2 s"),
        row("of that, starting the program", command - writing, "s"),
    ]


def _attitudes():
    rng = np.random.default_rng(1)
    true = rng.normal(size=(24, 3))
    true /= np.linalg.norm(true, axis=1)[:, None]
    gain = np.eye(3) + np.radians(rng.normal(0, 1, (3, 3)))
    return true @ gain.T + np.radians([0.4, -0.3, 0.2]) + SIGMA * rng.standard_normal((24, 3))


def _by_scipy(raw):
    def length(x):
        m = np.array([[x[3], x[6], x[7]], [x[6], x[4], x[8]], [x[7], x[8], x[5]]])
        return np.linalg.norm((raw - x[:3]) @ m.T, axis=1) - 1

    return optimize.least_squares(length, [0, 0, 0, 1, 1, 1, 0, 0, 0], xtol=1e-12).x


def _certificate(times):
    """Return the seconds of the whole command, and those beyond a command that only reads."""
    levelhead = str(Path(sys.executable).with_name("levelhead"))
    with tempfile.TemporaryDirectory() as folder:
        out = [f"--{kind}={folder}/c.{kind}" for kind in ("html", "pdf", "dcc")]
        whole = _least([levelhead, "certificate", str(RECORD), *out], times)
        alone = _least([levelhead, "certificate", "--help"], times)
    return whole, whole - alone


def _least(command, times):
    took = []
    for _ in range(times):
        began = time.perf_counter()
        subprocess.run(command, check=True, capture_output=True)
        took.append(time.perf_counter() - began)
    return min(took)
