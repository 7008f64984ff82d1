"""A turn that goes wrong is refused, flagged, or right: never wrong in silence.

Truth from SciPy's rotations. Each way is tried with 200 seeds, from too little to notice to
plain to see. Wrong is an error of more than three expanded uncertainties (U = 2u), of the
camber or of the clamp error that is carried on.
"""

import math

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from ingest.core.errors import MeasurementRefused
from ingest.geometry.fit import fit_runout
from ingest.geometry.runout import RunoutLimits, Turn
from ingest.geometry.sightline import Sightline
from ingest.geometry.terms import TurnTerms

SEEDS = 200
N = 120
SIGMA = math.radians(0.01)
LINE = Sightline(length_m=2.0)
ANY_U = RunoutLimits(u_camber_rad=math.inf)
STABLE = TurnTerms(drift_rad=math.radians(0.005))
Z = np.array([0.0, 0.0, 1.0])


def seen(spin, theta, clamp, swing):
    """Return rotation, elevations and sightline of a head, shape (4, n), by SciPy's rotations.

    The spin axis lies at elevation ``theta``, the shaft's error ``clamp`` (up, forward, at spin
    zero, shape (n, 2)) about it, the head ``swing`` off plumb.
    """
    lean = Rotation.from_euler("x", theta)
    axis, up, forward = lean.apply([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [1.0, 0.0, 0.0]])
    turned = Rotation.from_rotvec(np.outer(spin, axis))
    tilted = axis + clamp[:, :1] * up + clamp[:, 1:] * forward
    shaft = tilted / np.linalg.norm(tilted, axis=1)[:, None]
    mark = forward - np.einsum("j,ij->i", forward, shaft)[:, None] * shaft
    mark = turned.apply(mark / np.linalg.norm(mark, axis=1)[:, None])
    y = turned.apply(shaft)
    level = np.cross(y, Z) / np.linalg.norm(np.cross(y, Z), axis=1)[:, None]
    x = Rotation.from_rotvec(-swing[:, None] * y).apply(level)
    u = np.cross(x, y)
    rotation = np.arctan2(-(mark * u).sum(1), (mark * x).sum(1))
    line = np.array([0.0, -1.0, 0.0])
    return np.array([rotation, np.arcsin(x @ Z), np.arcsin(y @ Z), np.arctan2(y @ line, x @ line)])


class Case:
    """One seed: a wheel, a clamp, where and how much goes wrong. ``amount`` runs from 0 to 1."""

    def __init__(self, seed):
        self.rng = np.random.default_rng(seed)
        self.amount = (seed + 0.5) / SEEDS
        self.theta = math.radians(self.rng.uniform(-3.0, 3.0))
        self.clamp = np.tile(np.radians(self.rng.uniform(-1.0, 1.0, 2)), (N, 1))
        self.spin = self.rng.uniform(-3.0, 3.0) + np.linspace(0.0, math.tau, N)
        self.swing = np.zeros(N)
        self.zero = 0.0
        """Mean zero of the inclinometer: what is always off shows in no turn."""
        self.terms = TurnTerms()
        self.skipped = 0.0
        """Error of the encoder in the end: the clamp is carried on by the encoder as it is."""
        self.at = int(self.rng.integers(8, N - 8))

    def sized(self, least, most):
        """Return a size, by the amount, evenly on a logarithmic scale, of either sign."""
        return least * (most / least) ** self.amount * self.rng.choice([-1.0, 1.0])

    def turn(self, spoil):
        read = seen(self.spin, self.theta, self.clamp, self.swing)
        read[1:] += SIGMA * self.rng.standard_normal((3, len(self.spin)))
        spoil(self, read)
        return Turn(read[0], read[2], incl_x_rad=read[1], azimuth_rad=read[3])


def whole(_case, _read):
    """Nothing goes wrong in the readings."""


def knock(case):
    case.clamp[case.at :] += np.radians(case.sized(0.001, 1.0)) * case.rng.standard_normal(2)
    return whole


def slip_on_the_shaft(case):
    off = math.radians(case.sized(0.02, 20.0))

    def spoil(case, read):
        read[0, case.at :] += off
        case.skipped = off

    return spoil


def encoder_skip(case):
    """Counts are lost over a short stretch, not all at once."""
    off = np.radians(case.sized(0.02, 20.0)) * np.clip((np.arange(N) - case.at) / 5.0, 0.0, 1.0)

    def spoil(case, read):
        read[0] += off
        case.skipped = off[-1]

    return spoil


def back_roll(case):
    back = math.radians(abs(case.sized(0.5, 120.0)))
    t = np.linspace(0.0, math.tau + 2.0 * back, N)
    turned_at = case.rng.uniform(back, math.tau)
    case.spin = (
        np.where(
            t < turned_at, t, np.where(t < turned_at + back, 2 * turned_at - t, t - 2.0 * back)
        )
        + case.spin[0]
    )
    return whole


def pause(case):
    steps = np.ones(N - 1)
    steps[case.at - 4 : case.at - 4 + int(4 + 60 * case.amount)] = 1e-4
    case.spin = case.spin[0] + np.concatenate([[0.0], np.cumsum(steps)]) * math.tau / steps.sum()
    return whole


def swinging_head(case):
    period = case.rng.uniform(5.0, 30.0)
    size = math.radians(abs(case.sized(0.05, 10.0)))
    case.swing = size * np.cos(math.tau * np.arange(N) / period)
    return whole


def temperature_step(case):
    off = math.radians(case.sized(0.001, 0.5))

    def spoil(case, read):
        read[2, case.at :] += off
        case.zero = off * (N - case.at) / N

    # In the middle of a turn a small step is all but run-out: residuals cannot tell it, the
    # stated stability of the zero must.
    case.terms = STABLE
    return spoil


def slow_warming(case):
    off, lag = math.radians(case.sized(0.001, 0.5)), case.rng.uniform(20.0, 200.0)

    def spoil(case, read):
        warmed = off * (1.0 - np.exp(-np.arange(N) / lag))
        read[2] += warmed
        case.zero = float(warmed.mean())

    case.terms = STABLE
    return spoil


WAYS = (
    knock,
    slip_on_the_shaft,
    encoder_skip,
    back_roll,
    pause,
    swinging_head,
    temperature_step,
    slow_warming,
)
RIGHT = (back_roll, pause, swinging_head)
"""Ways of turning that do no harm: they are measured."""


def told(seed, way):
    """Return what becomes of one seed: refused, flagged, right or wrong."""
    case = Case(seed)
    turn = case.turn(way(case))
    try:
        found = fit_runout(turn, sightline=LINE, limits=ANY_U, terms=case.terms)
    except MeasurementRefused:
        return "refused"
    if found.hints:
        return "flagged"
    estimates, (up, forward) = found.estimates, case.clamp[-1]
    camber = abs(found.elevation_rad - case.theta - case.zero) / estimates.elevation.u
    e, phase = found.clamp.angle_rad, found.clamp.phase_rad
    # Forward comes up where the wheel turns back.
    true = math.atan2(-forward, up) + case.skipped
    off = (e * math.cos(phase), e * math.sin(phase)) - math.hypot(up, forward) * np.array(
        [math.cos(true), math.sin(true)]
    )
    clamp = math.hypot(*off) / math.hypot(estimates.angle.u, e * estimates.phase.u)
    return "wrong" if max(camber, clamp) > 6.0 else "right"


@pytest.mark.parametrize("way", WAYS, ids=lambda way: way.__name__)
def test_a_turn_gone_wrong_is_never_wrong_in_silence(way):
    outcomes = [told(seed, way) for seed in range(SEEDS)]
    assert "wrong" not in outcomes, [i for i, each in enumerate(outcomes) if each == "wrong"]
    if way in RIGHT:
        assert outcomes.count("right") >= 0.97 * SEEDS
    else:
        assert outcomes[-40:].count("refused") >= 36
