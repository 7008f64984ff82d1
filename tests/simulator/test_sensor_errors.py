"""Sensor errors: the calibration's correction, written out here, undoes them exactly."""

import numpy as np
import pytest

from ingest.core.channels import CHANNELS, ROW, Channel
from ingest.core.units import DEG
from ingest.simulator.draws import draw_calibration, draw_head
from ingest.simulator.sensors import CircleErrors, Noise, Sensors, TiltErrors, Warming

SEEDS = range(12)


def corrected_sines(errors: TiltErrors, raw: np.ndarray, degc: np.ndarray) -> np.ndarray:
    """s_true = M(T) (s_raw - b(T)), sample by sample."""
    out = []
    for sines, temperature in zip(raw.T, degc, strict=True):
        warm = temperature - errors.reference_degc
        bias = errors.bias + errors.bias_per_degc * warm
        out.append(errors.matrix * (1.0 + errors.matrix_per_degc * warm) @ (sines - bias))
    return np.array(out).T


def corrected_angle(errors: CircleErrors, raw: np.ndarray) -> np.ndarray:
    """true = raw - zero - sum of a_k cos(k raw) + b_k sin(k raw), k = 1, 2, 4."""
    true = raw - errors.zero_rad
    for k, a, b in zip((1, 2, 4), errors.cos_rad, errors.sin_rad, strict=True):
        true = true - a * np.cos(k * raw) - b * np.sin(k * raw)
    return true


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("three_axis", [False, True])
def test_the_tilt_correction_undoes_the_tilt_errors(seed: int, three_axis: bool) -> None:
    errors = draw_head(seed, "a", three_axis=three_axis).sensors.tilt
    random = np.random.default_rng(seed)
    vectors = random.standard_normal((3, 50))
    vectors /= np.linalg.norm(vectors, axis=0)
    degc = random.uniform(-5.0, 45.0, 50)
    raw = errors.raw(vectors, degc)
    assert np.abs(raw - vectors).max() > 1e-3, "there is something to correct"
    assert corrected_sines(errors, raw, degc) == pytest.approx(vectors, abs=1e-12)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_encoder_correction_undoes_the_encoder_errors(seed: int) -> None:
    sensors = draw_head(seed, "a").sensors
    true = np.linspace(-np.pi, np.pi, 721)
    for errors in (sensors.rotation, sensors.azimuth_cross, sensors.azimuth_track):
        raw = errors.raw(true)
        assert np.ptp(raw - true) > 1e-5, "the errors change around the circle"
        assert corrected_angle(errors, raw) == pytest.approx(true, abs=1e-12)


@pytest.mark.parametrize("seed", SEEDS)
def test_what_a_three_axis_sensor_reads_fits_the_wire_in_every_attitude(seed: int) -> None:
    errors = draw_head(seed, "a", three_axis=True).sensors.tilt
    vectors = np.random.default_rng(seed).standard_normal((3, 4000))
    vectors = np.hstack([vectors / np.linalg.norm(vectors, axis=0), np.eye(3), -np.eye(3)])
    for degc in (0.0, 20.0, 40.0):
        raw = errors.raw(vectors, np.full(vectors.shape[1], degc))
        assert np.abs(raw).max() < 1.0


def test_a_reading_passes_through_all_errors_and_keeps_missing_channels_missing() -> None:
    head = draw_head(3, "a")
    sensors = Sensors(head.sensors.tilt, head.sensors.rotation, head.sensors.azimuth_cross)
    true = np.full((len(CHANNELS), 1), np.nan)
    for channel, value in (
        (Channel.INCL_X, 0.02),
        (Channel.INCL_Y, -0.01),
        (Channel.ROTATION, 2.0),
        (Channel.AZIMUTH_CROSS, -1.5),
        (Channel.TEMPERATURE, 31.0),
    ):
        true[ROW[channel]] = value
    raw = sensors.read(true, np.random.default_rng(1))
    assert np.array_equal(np.isnan(raw), np.isnan(true))
    sines = np.sin(raw[[ROW[Channel.INCL_X], ROW[Channel.INCL_Y]]])
    back = corrected_sines(sensors.tilt, np.vstack([sines, [[0.0]]]), np.array([31.0]))
    assert np.arcsin(back[:2, 0]) == pytest.approx([0.02, -0.01], abs=1e-12)
    assert corrected_angle(sensors.rotation, raw[ROW[Channel.ROTATION]]) == pytest.approx(2.0)
    cross = corrected_angle(sensors.azimuth_cross, raw[ROW[Channel.AZIMUTH_CROSS]])
    assert cross == pytest.approx(-1.5, abs=1e-12)
    assert raw[ROW[Channel.TEMPERATURE], 0] == 31.0


def test_the_noise_has_the_stated_spread_and_does_not_depend_on_the_cut() -> None:
    noisy, true = Sensors(noise=Noise()), np.zeros((len(CHANNELS), 20000))
    whole = noisy.read(true, np.random.default_rng(9))
    random = np.random.default_rng(9)
    pieces = [noisy.read(piece, random) for piece in np.split(true, [1, 7, 500], axis=1)]
    assert np.array_equal(whole, np.hstack(pieces))
    spread = whole.std(axis=1) / DEG
    assert spread[ROW[Channel.INCL_Y]] == pytest.approx(0.003, rel=0.03)
    assert spread[ROW[Channel.ROTATION]] == pytest.approx(0.010, rel=0.03)
    assert spread[ROW[Channel.AZIMUTH_CROSS]] == pytest.approx(0.005, rel=0.03)
    assert np.abs(np.corrcoef(whole) - np.eye(len(CHANNELS))).max() < 0.04


def test_a_head_warms_up_towards_its_end_temperature() -> None:
    warming = Warming(start_degc=15.0, rise_degc=4.0, time_s=600.0)
    degc = warming.at(np.array([-10.0, 0.0, 600.0, 1e5]))
    assert degc == pytest.approx([15.0, 15.0, 15.0 + 4.0 * (1.0 - np.exp(-1.0)), 19.0])


def test_a_calibration_misses_the_truth_by_its_stated_uncertainties() -> None:
    misses: dict[str, list[float]] = {"bias": [], "scale": [], "cross": [], "zero": [], "a": []}
    for seed in range(300):
        head = draw_head(seed, "a")
        known, true = draw_calibration(seed, "a", head), head.sensors
        u = known.uncertainties
        misses["bias"].append((known.tilt.bias_deg[0] - true.tilt.bias[0] / DEG) / u.bias_deg)
        misses["scale"].append((known.tilt.matrix[1][1] - true.tilt.matrix[1, 1]) / u.scale)
        cross_deg = (known.tilt.matrix[0][1] - true.tilt.matrix[0, 1]) / DEG
        misses["cross"].append(cross_deg / u.cross_deg)
        zero_deg = known.rotation.zero_deg - true.rotation.zero_rad / DEG
        misses["zero"].append(zero_deg / u.encoder_zero_deg)
        a_deg = known.rotation.cos_deg[0] - true.rotation.cos_rad[0] / DEG
        misses["a"].append(a_deg / u.harmonic_deg)
    for name, values in misses.items():
        assert abs(np.mean(values)) < 0.2, name
        assert np.std(values) == pytest.approx(1.0, abs=0.15), name


def test_a_seed_and_a_name_draw_the_same_head_again() -> None:
    one, again = draw_head(4, "alder"), draw_head(4, "alder")
    assert one.design == again.design
    assert one.sensors.rotation == again.sensors.rotation
    assert np.array_equal(one.sensors.tilt.matrix, again.sensors.tilt.matrix)
    assert draw_calibration(4, "alder", one) == draw_calibration(4, "alder", again)
    others = [draw_head(5, "alder"), draw_head(4, "birch")]
    assert len({h.design.head for h in (one, *others)}) == 3
    assert all(h.sensors.rotation != one.sensors.rotation for h in others)
