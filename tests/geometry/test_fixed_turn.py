"""A head fixed to its wheel: gravity alone tells the spin axis. Made with SciPy's rotations."""

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from calibration.measured import Measured
from ingest.core.errors import MeasurementRefused
from ingest.core.frames import Side
from ingest.geometry.fixed import fit_fixed, settled_fixed

RUNS = 2000
T95 = 1.959964
"""Student's factor for a noise that is known, GUM Table G.2 (1.960)."""
SIGMA = math.radians(0.01)
TILTS = st.floats(-8.0, 8.0)


def wheel(side, camber_deg, toe_deg=1.0):
    """Attitude of an unturned wheel, body axes forward, left, up."""
    return Rotation.from_euler("ZX", [-side * toe_deg, -side * camber_deg], degrees=True)


def seen(attitude, mount, turns_deg):
    """Elevations of the head's three axes, shape (3, n), and the spin axis in the head."""
    up = [
        (attitude * Rotation.from_euler("y", turn, degrees=True) * mount).inv().apply([0, 0, 1])
        for turn in turns_deg
    ]
    return np.arcsin(np.clip(np.array(up).T, -1.0, 1.0)), mount.inv().apply([0.0, 1.0, 0.0])


def side_of(sign):
    return Side.LEFT if sign == 1 else Side.RIGHT


@settings(max_examples=100, deadline=None)
@given(
    st.sampled_from([1, -1]),
    st.floats(-5.0, 5.0),
    TILTS,
    TILTS,
    st.floats(-180.0, 180.0),
    st.lists(st.floats(0.0, 360.0), min_size=3, max_size=8),
)
def test_camber_is_exact_however_the_head_is_mounted(side, camber, lean, skew, about, turns):
    mount = Rotation.from_euler("yxz", [about, lean, skew], degrees=True)
    elevations, axis = seen(wheel(side, camber), mount, turns)
    try:
        found = fit_fixed(elevations)
    except MeasurementRefused as refused:
        assume(refused.code not in ("too-few-stops", "condition", "u-too-large"))
        raise
    tolerance = 1e-12 * max(found.worth.condition, 1.0)
    assert abs(math.degrees(found.camber_rad(side_of(side))) - camber) < max(tolerance, 1e-11)
    assert found.heading_rad is None
    sine = math.hypot(axis[0], axis[2])
    assert abs(math.sin(found.clamp.angle_rad) - sine) < 1e-13 * found.worth.condition


def test_settled_uncertainty_agrees_with_monte_carlo():
    # JCGM 101's way, seed 21: the clamp and the three axes at rest are drawn 4000 times.
    rng = np.random.default_rng(21)
    mount = Rotation.from_euler("yxz", [30.0, 2.0, -3.0], degrees=True)
    elevations, _ = seen(wheel(1, 2.0), mount, [0.0, 70.0, 150.0, 260.0])
    clamp = fit_fixed(elevations, sigma_rad=1e-12).clamp
    rest = seen(wheel(1, 2.0), mount, [40.0])[0][:, 0]
    u = np.array([3e-4, 2e-4, 3e-4, 1e-4, 4e-3])

    def camber(values, *, noise=(0.0,) * 5):
        parts = [
            Measured.of(float(v), float(n), source="s") for v, n in zip(values, noise, strict=True)
        ]
        return settled_fixed(tuple(parts[:3]), parts[3], parts[4], Side.LEFT).camber

    at = np.array([*rest, clamp.angle_rad, clamp.phase_rad])
    drawn = [camber(at + u * rng.standard_normal(5)).value for _ in range(4000)]
    assert camber(at, noise=u).u == pytest.approx(np.std(drawn, ddof=1), rel=0.05)


def test_intervals_of_three_stops_cover():
    turns_deg = [0.0, 118.0, 242.0]
    hits = np.zeros(3)
    rolled = Rotation.from_rotvec(np.outer(np.radians(turns_deg), [0.0, 1.0, 0.0]))
    for seed in range(RUNS):
        rng = np.random.default_rng(seed)
        sign = 1 if seed % 2 else -1
        camber = rng.uniform(-5.0, 5.0)
        mount = Rotation.from_rotvec(np.radians(rng.uniform(-4.0, 4.0, 3)))
        spun = wheel(sign, camber) * rolled * mount
        axis = mount.inv().apply([0.0, 1.0, 0.0])
        sines = spun.inv().apply([0.0, 0.0, 1.0]).T + SIGMA * rng.standard_normal(
            (3, len(turns_deg))
        )
        found = fit_fixed(np.arcsin(np.clip(sines, -1, 1)), sigma_rad=SIGMA)
        known = found.camber(side_of(sign)), found.estimates.angle, found.estimates.phase
        truth = math.radians(camber), math.acos(axis[1]), math.atan2(axis[0], -axis[2])
        off = [math.remainder(m.value - t, math.tau) for m, t in zip(known, truth, strict=True)]
        hits += [abs(o) <= T95 * m.u for o, m in zip(off, known, strict=True)]
    assert ((hits / RUNS >= 0.933) & (hits / RUNS <= 0.966)).all(), hits


@pytest.mark.parametrize(
    ("change", "options", "code"),
    [
        (lambda e: e[:, :2], {}, "too-few-stops"),
        (lambda e: np.where(np.arange(4) == 2, np.nan, e), {}, "non-finite"),
        (lambda e: e + [[0], [0.01], [0]] * np.array([1, -1, 1, -1]), {}, "u-too-large"),
        (
            lambda e: e + [[0], [0.01], [0]] * np.array([1, -1, 1, -1]),
            {"sigma_rad": SIGMA},
            "scatter",
        ),
        (lambda e: e[[1, 0, 2]], {}, "steep"),
    ],
)
def test_refusals_of_a_fixed_head_carry_their_figure(change, options, code):
    elevations, _ = seen(wheel(1, 1.0), Rotation.identity(), [0.0, 80.0, 170.0, 260.0])
    with pytest.raises(MeasurementRefused) as refused:
        fit_fixed(change(elevations), **options)
    assert refused.value.code == code
    below = code == "too-few-stops"
    assert (refused.value.figure < refused.value.limit) == below
