"""Every fit gives back what went in, and its intervals hold what they say they hold."""

import math
from collections.abc import Callable

import numpy as np
import pytest
from scipy.optimize import least_squares

from calibration.errors import BadBenchData
from calibration.fits import bar
from calibration.fits.backlash import fit_backlash, hysteresis_rad, next_backlash
from calibration.fits.encoder_closure import fit_closure, next_start
from calibration.fits.encoder_turn import encoder_part, fit_counts, fit_turn, next_position
from calibration.fits.result import Fit
from calibration.fits.tilt_reversal import fit_reversal, next_facing
from calibration.fits.tilt_sphere import fit_sphere, matrix_of, next_attitude
from calibration.fits.tilt_steps import fit_steps, next_step
from calibration.fits.tilt_temperature import fit_temperature, next_soak
from calibration.fits.warmup import fit_warmup

RUNS = 2000
SIGMA = math.radians(0.003)
H = np.array([2e-3, -3e-3, 1e-3, 5e-4, -4e-4, 2e-4])
TURN = np.linspace(0, 2 * np.pi, 24, endpoint=False)
M = np.array([[1.01, 0.008, -0.004], [0.008, 0.99, 0.006], [-0.004, 0.006, 1.004]])
B = np.array([0.009, -0.007, 0.004])


def _attitudes(n: int) -> np.ndarray:
    """Points spread over the sphere along a spiral."""
    i = np.arange(n) + 0.5
    z, a = 1 - 2 * i / n, math.pi * (1 + math.sqrt(5)) * i
    r = np.sqrt(1 - z * z)
    return np.column_stack([r * np.cos(a), r * np.sin(a), z])


def _error(raw: np.ndarray) -> np.ndarray:
    waves = [f(k * raw) for k in (1, 2, 4) for f in (np.cos, np.sin)]
    return np.tensordot(H, np.array(waves), 1)


def _sphere() -> tuple[Callable, np.ndarray, np.ndarray]:
    raw = np.linalg.solve(M, _attitudes(24).T).T + B
    truth = np.array([*B, *np.diag(M), M[0, 1], M[0, 2], M[1, 2]])
    return fit_sphere, raw, truth


def _turn() -> tuple[Callable, np.ndarray, np.ndarray]:
    true = TURN - 0.01 - _error(TURN)
    return (lambda ref: fit_turn(TURN, ref)), true, np.array([0.01, *H])


def _closure() -> tuple[Callable, np.ndarray, np.ndarray]:
    start = np.array([0.1, 0.9, 2.0, 3.3, 4.6])[:, None]
    place = np.linspace(0, 2 * np.pi, 7, endpoint=False) + np.array([0, 1, -1, 2, 0, 1, 0]) * 1e-3
    raw = start + place
    for _ in range(40):
        raw = start + place + _error(raw)
    return fit_closure, raw, np.array([np.nan, *H, *start[:, 0], *place[1:]])


def _warmup() -> tuple[Callable, np.ndarray, np.ndarray]:
    t = np.linspace(0, 3600, 120)
    degc = 20 + 2 * np.sin(t / 500)
    y = 0.01 + 2e-3 * np.exp(-t / 600) + 1e-4 * (degc - 20)
    return (lambda v: fit_warmup(t, v, degc, 20)), y, np.array([0.01, 2e-3, 600, 1e-4])


def _temperature() -> tuple[Callable, np.ndarray, np.ndarray]:
    true, degc = (g.ravel() for g in np.meshgrid([-0.5, 0, 0.5], [0.0, 10, 20, 30, 40]))
    raw = 0.008 + 2e-5 * (degc - 20) + true / (1.01 * (1 + 2e-4 * (degc - 20)))
    truth = np.array([0.008, 2e-5, 1.01, 2e-4])
    return (lambda v: fit_temperature(v, true, degc, 20)), raw, truth


def _reversal() -> tuple[Callable, np.ndarray, np.ndarray]:
    facing = np.array([1.0, -1, 1, -1, 1, -1])
    return (lambda v: fit_reversal(v, facing)), 0.4 + 2.8 * facing, np.array([0.4, 2.8])


def _gap() -> tuple[Callable, np.ndarray, np.ndarray]:
    gap = 1e-3 + 2e-4 * np.cos(TURN) - 1e-4 * np.sin(TURN)
    return (lambda v: fit_backlash(TURN, TURN, TURN + v)), gap, np.array([1e-3, 2e-4, -1e-4])


def _counts() -> tuple[Callable, np.ndarray, np.ndarray]:
    turns = np.arange(12) / 4
    return (lambda v: fit_counts(v, turns)), 7 - 4096 * turns, np.array([7.0, -4096])


def _bar(channel: int) -> tuple[Callable, np.ndarray, np.ndarray]:
    truth = 1e-3 * np.arange(1, (6, 5, 5)[channel] + 1)
    y = bar.bar_designs(bar.ATTITUDES, 2.0)[channel] @ truth

    def fit(v: np.ndarray) -> Fit:
        given = [v.reshape(-1, 2)] * 3
        whole = bar.fit_bar(bar.ATTITUDES, *given, 2.0)
        return (whole.incl_y, whole.incl_x, whole.azimuth)[channel]

    return fit, y, truth


def _step(axis: int) -> tuple[Callable, np.ndarray, np.ndarray]:
    gain = np.array([[0.99, 0.01], [-0.02, 1.01]])
    true = np.sin(np.radians([[0, 0], [10, 0], [-10, 0], [0, 10], [0, -10], [20, 5], [-5, 20]]))
    raw = true @ gain.T + np.array([0.01, -0.01])
    truth = np.array([(0.01, -0.01)[axis], *gain[axis]])
    return (lambda v: fit_steps(v, true).axes[axis]), raw, truth


CASES = {
    "sphere": _sphere(),
    "steps x": _step(0),
    "steps y": _step(1),
    "reversal": _reversal(),
    "temperature": _temperature(),
    "turn": _turn(),
    "closure": _closure(),
    "counts": _counts(),
    "backlash": _gap(),
    "bar incl_y": _bar(0),
    "bar incl_x": _bar(1),
    "bar azimuth": _bar(2),
    "warm-up": _warmup(),
}


@pytest.mark.parametrize("case", CASES)
def test_gives_back_every_parameter_of_clean_readings(case: str) -> None:
    fit, y, truth = CASES[case]
    np.testing.assert_allclose(fit(y).values, truth, rtol=1e-9)


@pytest.mark.parametrize("case", CASES)
def test_intervals_of_every_parameter_cover(case: str) -> None:
    fit, y, truth = CASES[case]
    rng = np.random.default_rng(20261125)
    known = ~np.isnan(truth)
    hits = np.zeros(truth.size)
    for _ in range(RUNS):
        got = fit(y + rng.normal(0, SIGMA, y.shape))
        half = np.array([got.expanded(n) for n in got.names])
        hits += np.abs(got.values - truth) <= half
    share = hits[known] / RUNS
    assert share.min() >= 0.933, share
    assert share.max() <= 0.966, share


def test_inverse_of_the_steps_gain_covers_too() -> None:
    _, raw, _ = CASES["steps x"]
    true = np.sin(np.radians([[0, 0], [10, 0], [-10, 0], [0, 10], [0, -10], [20, 5], [-5, 20]]))
    truth = np.linalg.inv([[0.99, 0.01], [-0.02, 1.01]])
    rng = np.random.default_rng(3)
    fits = [fit_steps(raw + rng.normal(0, SIGMA, raw.shape), true) for _ in range(RUNS)]
    hits = np.array([np.abs(f.matrix - truth) <= 2.7764 * f.u_matrix for f in fits])
    assert (np.abs(hits.mean(axis=0) - 0.9495) <= 0.0165).all(), hits.mean(axis=0)


def test_sphere_agrees_with_a_general_solver() -> None:
    fit, raw, _ = CASES["sphere"]
    noisy = raw + np.random.default_rng(4).normal(0, SIGMA, raw.shape)

    def distance(x: np.ndarray) -> np.ndarray:
        m = np.array([[x[3], x[6], x[7]], [x[6], x[4], x[8]], [x[7], x[8], x[5]]])
        true = (noisy - x[:3]) @ m
        norm = np.linalg.norm(true, axis=1)
        return (norm - 1) / np.linalg.norm(true / norm[:, None] @ m, axis=1)

    other = least_squares(distance, [0, 0, 0, 1, 1, 1, 0, 0, 0], xtol=1e-15, ftol=1e-15, gtol=1e-15)
    np.testing.assert_allclose(fit(noisy).values, other.x, atol=1e-8)


def test_names_what_the_readings_leave_open() -> None:
    six = fit_sphere(np.vstack([np.eye(3), -np.eye(3)]))
    assert six.undetermined[:3] == ("m xy", "m xz", "m yz")
    still = bar.fit_bar([bar.BarAttitude()], *[np.zeros((1, 2))] * 3, 2.0)
    assert still.incl_x.rank == 2
    assert set(still.incl_x.undetermined) == set(bar.ACROSS)
    ring = np.linspace(0, 2 * np.pi, 4, endpoint=False)
    even = fit_closure(np.add.outer([0.0, 0.4, 1.0, 1.3, 2.0], ring))
    assert {"zero", "cos 4", "sin 4"} <= set(even.undetermined)
    assert "cos 1" not in even.undetermined


def test_names_the_row_to_distrust() -> None:
    fit, raw, _ = CASES["sphere"]
    raw = raw + np.random.default_rng(5).normal(0, SIGMA, raw.shape)
    raw[7] *= 1.002
    assert fit(raw).distrusted()[0] == "attitude 8"


def test_next_bar_attitudes_reach_full_rank() -> None:
    taken = [bar.ATTITUDES[0]]
    for _ in range(4):
        taken.append(bar.ATTITUDES[bar.next_attitude(taken, 2.0).index])
    assert [np.linalg.matrix_rank(d) for d in bar.bar_designs(taken, 2.0)] == [6, 5, 5]


def test_suggests_what_was_not_looked_at_yet() -> None:
    assert next_facing(np.array([1.0, 1.0, 1.0])).index == 1
    assert (
        next_step(
            np.array([[0.0, 0.0], [0.3, 0.0]]), [np.array([0.2, 0]), np.array([0, 0.2])]
        ).index
        == 1
    )
    gone = np.linspace(0, 2, 12)
    assert next_position(fit_turn(gone, gone, orders=(1,)), [1.0, 5.0]).index == 1
    assert next_backlash(gone, [1.0, 5.0]).index == 1
    upper = _attitudes(24)[:14]
    assert next_attitude(fit_sphere(upper), [upper[3], np.array([0, 0, -1.0])]).index == 1
    level = fit_temperature(np.zeros(3), np.zeros(3), np.array([0.0, 20, 40]), 20)
    assert set(level.undetermined) == {"scale", "scale per degC"}
    assert next_soak(level, [20.0, 20.0], [0.0, 0.5]).index == 1
    ring = np.add.outer([0.0, 0.01], np.linspace(0, 2 * np.pi, 5, endpoint=False))
    assert next_start(ring, [0.005, 0.7]).index == 1


def test_a_turn_becomes_a_part_of_a_record() -> None:
    rng = np.random.default_rng(6)
    turn, ref, _ = CASES["turn"]
    encoder = encoder_part(turn(ref + rng.normal(0, SIGMA, ref.shape)))
    assert encoder.harmonics[2].order == 4
    assert encoder.zero_deg == pytest.approx(math.degrees(0.01), abs=0.01)


def test_refuses_what_it_cannot_fit() -> None:
    with pytest.raises(BadBenchData, match="at least 6"):
        fit_sphere(np.eye(3))
    with pytest.raises(BadBenchData, match="span"):
        fit_sphere(np.ones((8, 3)))
    with pytest.raises(BadBenchData, match="not numbers"):
        fit_reversal(np.array([1.0, math.nan]), np.array([1.0, -1.0]))
    with pytest.raises(BadBenchData, match="paired"):
        fit_backlash(np.zeros(3), np.zeros(3), np.zeros(2))
    with pytest.raises(BadBenchData, match="2 starts"):
        fit_closure(np.zeros((1, 8)))


def test_hysteresis_is_the_largest_gap() -> None:
    assert hysteresis_rad(np.zeros(2), np.array([0.1, -0.3])) == pytest.approx(0.3)


def test_symmetric_matrix_makes_unit_vectors_of_the_readings() -> None:
    fit, raw, _ = CASES["sphere"]
    got = fit(raw)
    np.testing.assert_allclose(matrix_of(got), M, rtol=1e-9)


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("seed", [11, 41])
def test_a_fit_that_runs_away_is_refused_in_words(seed):
    """White noise holds no warm-up: from these draws its time constant runs to nought or beyond."""
    random = np.random.default_rng(seed)
    y = 0.2 + 5e-4 * random.standard_normal(200)
    degc = 20.8 + 0.001 * random.standard_normal(200)
    with pytest.raises(BadBenchData, match="does not settle"):
        fit_warmup(np.arange(200) * 0.3, y, degc, 20.0)
