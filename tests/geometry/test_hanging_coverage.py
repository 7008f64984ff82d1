"""Do 95 % intervals cover when all is wrong at once? 2000 seeded runs (0 to 1999) each.

The head hangs and swings, every channel is noisy, the clamp is eccentric and only the encoder
tells the turn. Made with vectors in numpy; the band as in ``test_run_out_coverage``.
"""

import math

import numpy as np
import pytest

from calibration.reporting import t_factor
from ingest.core.errors import MeasurementRefused
from ingest.core.frames import Side
from ingest.geometry.fit import fit_runout
from ingest.geometry.runout import Turn
from ingest.geometry.sightline import Sightline

RUNS = 2000
SIGMA = math.radians(0.01)
Z = np.array([0.0, 0.0, 1.0])
STUB_M, LINE_M, OFFSET_RMS_M = 0.25, 2.0, 0.002


def drawn(seed, spin, side):
    """Truth and noisy readings of a wheel, clamp and head drawn from a seed."""
    rng = np.random.default_rng(seed)
    camber, toe = np.radians(rng.uniform(-5, 5)), np.radians(rng.uniform(-3, 3))
    e, phase = np.radians(rng.uniform(0.2, 5)), rng.uniform(-math.pi, math.pi)
    # Off centre as the sightline's default says: 2 mm rms, to any side.
    aside, ahead = rng.normal(0.0, OFFSET_RMS_M / math.sqrt(2.0), 2)
    offset, offset_at = math.hypot(aside, ahead), math.atan2(ahead, aside)
    theta, heading = -side * camber, -side * toe
    h = np.array([-math.sin(heading), math.cos(heading), 0.0])
    f = np.cross(h, Z)
    a = math.cos(theta) * h + math.sin(theta) * Z
    w = np.cross(f, a)

    def turned(phi):
        return np.outer(np.cos(phi), w) + np.outer(np.sin(phi), f)

    y = math.cos(e) * a + math.sin(e) * turned(spin - phase)
    level = np.cross(y, Z)
    level /= np.linalg.norm(level, axis=1)[:, None]
    hung = np.radians(rng.uniform(-1.5, 1.5, len(spin)))[:, None]
    x = np.cos(hung) * level + np.sin(hung) * np.cross(level, y)
    u = np.cross(x, y)
    # The encoder's mark: square to the shaft, forward at spin angle zero.
    y0 = math.cos(e) * a + math.sin(e) * turned(np.array([-phase]))[0]
    mark = turned(spin + math.pi / 2) - (f @ y0) / (a @ y0) * a
    rotation = np.arctan2(-(mark * u).sum(1), (mark * x).sum(1))
    port = offset * turned(spin - offset_at) + side * STUB_M * (y - a)
    line = np.array([0.0, -side * LINE_M, 0.0]) - port
    azimuth = np.arctan2((line * y).sum(1), (line * x).sum(1))
    clean = np.array([np.arcsin(x @ Z), np.arcsin(y @ Z), azimuth])
    incl_x, incl_y, azimuth = clean + SIGMA * rng.standard_normal(clean.shape)
    truth = {
        "camber": camber,
        "runout": e,
        "phase": phase,
        "heading": heading + side * math.pi / 2,
        "swing": offset / LINE_M,
    }
    return truth, Turn(rotation, incl_y, incl_x, azimuth)


@pytest.mark.parametrize(
    ("spin_deg", "stated"),
    [
        (np.array([0.0, 118.0, 242.0]), True),
        (np.array([0.0, 70.0, 141.0, 218.0, 290.0]), False),
        (np.linspace(0.0, 100.0, 60), False),
    ],
    ids=["three stops, noise stated", "five stops", "a roll of 100 degrees"],
)
def test_intervals_of_a_hanging_head_cover(spin_deg, stated):
    hits, refused = dict.fromkeys(("camber", "runout", "phase", "heading", "swing"), 0), 0
    for seed in range(RUNS):
        side = Side.LEFT if seed % 2 else Side.RIGHT
        truth, turn = drawn(seed, np.radians(spin_deg), side.sign)
        line = Sightline(length_m=LINE_M, port_left_m=side.sign * STUB_M)
        try:
            found = fit_runout(turn, sightline=line, sigma_rad=SIGMA if stated else None)
        except MeasurementRefused:
            refused += 1
            continue
        known = found.estimates
        values = {
            "camber": found.camber(side),
            "runout": known.angle,
            "phase": known.phase,
            "heading": known.heading,
            "swing": known.swing,
        }
        k = t_factor(0.95, math.inf if stated else found.dof)
        for quantity, value in values.items():
            off = math.remainder(value.value - truth[quantity], math.tau)
            hits[quantity] += abs(off) <= k * value.u
    assert refused <= 0.003 * RUNS
    for quantity, count in hits.items():
        assert 0.933 <= count / (RUNS - refused) <= 0.966, (quantity, count)
