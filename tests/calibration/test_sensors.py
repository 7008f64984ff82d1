"""Applying a record: the error model turned round, cheap shapes, and its uncertainty.

The oracle writes down what a faulty sensor would read, by its own loop and by a numerical
inverse; correcting that must give the truth back.
"""

import math
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import brentq

from calibration.encoders import ORDERS
from calibration.measured import covariance
from calibration.records.parts import EncoderPart, Harmonic, TiltPart
from calibration.records.text import load_record, seal
from calibration.records.version1 import CalibrationRecord1
from calibration.sensors import Correction

RECORD = load_record(
    (Path(__file__).parent / "records" / "version-1.json").read_text(encoding="utf-8")
)
CHANNELS = (
    "incl_x",
    "incl_y",
    "rotation",
    "azimuth_cross",
    "azimuth_track",
    "steer",
    "temperature",
    "incl_z",
)
ROWS = {name: row for row, name in enumerate(CHANNELS)}
AXES = ("incl_x", "incl_y", "incl_z")


def truth(n, seed=0):
    rng = np.random.default_rng(seed)
    values = rng.uniform(-0.2, 0.2, size=(8, n))
    values[[2, 3, 4, 5]] = rng.uniform(-7.0, 7.0, size=(4, n))
    values[ROWS["incl_z"]] = rng.uniform(1.2, 1.4, size=n)
    values[ROWS["temperature"]] = rng.uniform(-5.0, 45.0, size=n)
    return values


def readings(true, record=RECORD):
    """What the record's sensor would read: each sample and axis for itself."""
    raw = true.copy()
    for i in range(true.shape[1]):
        above = true[ROWS["temperature"], i] - record.tilt.reference_temperature_degc
        wanted = [math.sin(true[ROWS[a], i]) for a in AXES]
        scales = [1 + s * above for s in record.tilt.scale_per_degc]
        unscaled = np.linalg.solve(np.array(record.tilt.matrix), np.divide(wanted, scales))
        for j, axis in enumerate(AXES):
            drift = record.tilt.bias_deg[j] + record.tilt.bias_deg_per_degc[j] * above
            raw[ROWS[axis], i] = math.asin(unscaled[j] + math.radians(drift))
        for name, part in record.encoders.items():
            raw[ROWS[name], i] = encoder_reading(part, true[ROWS[name], i])
    return raw


def encoder_reading(part, true_rad):
    def error(raw):
        degrees = part.zero_deg + sum(
            h.cos_deg * math.cos(h.order * raw) + h.sin_deg * math.sin(h.order * raw)
            for h in part.harmonics
        )
        return raw - math.radians(degrees) - true_rad

    return brentq(error, true_rad - 0.1, true_rad + 0.1, xtol=1e-15)


@pytest.mark.parametrize("n", [1, 7, 50])
def test_corrected_readings_are_the_truth(n):
    true = truth(n)
    corrected = Correction.from_record(RECORD).apply(readings(true), ROWS)
    assert corrected == pytest.approx(true, abs=1e-13)


def test_the_readings_stay_as_they_were():
    raw = readings(truth(5))
    before = raw.copy()
    Correction.from_record(RECORD).apply(raw, ROWS)
    assert np.array_equal(raw, before)


def test_the_cut_into_blocks_does_not_matter():
    correction, raw = Correction.from_record(RECORD), readings(truth(40))
    whole = correction.apply(raw, ROWS)
    pieces = [correction.apply(piece, ROWS) for piece in np.split(raw, [1, 2, 9, 30], axis=1)]
    assert np.hstack(pieces) == pytest.approx(whole, abs=1e-15)


def test_rows_may_come_in_any_order():
    correction, raw = Correction.from_record(RECORD), readings(truth(6))
    order = [7, 3, 0, 6, 2, 5, 1, 4]
    rows = {CHANNELS[old]: new for new, old in enumerate(order)}
    assert np.array_equal(correction.apply(raw[order], rows), correction.apply(raw, ROWS)[order])


def test_turns_of_an_encoder_are_kept():
    correction, raw = Correction.from_record(RECORD), readings(truth(4))
    later = raw.copy()
    later[ROWS["rotation"]] += 6 * math.pi
    step = correction.apply(later, ROWS) - correction.apply(raw, ROWS)
    assert step[ROWS["rotation"]] == pytest.approx(6 * math.pi, abs=1e-12)


def test_a_channel_without_a_value_keeps_none_and_spoils_no_other():
    raw = readings(truth(4))
    full = Correction.from_record(RECORD).apply(raw, ROWS)
    raw[ROWS["incl_x"], 1] = math.nan
    raw[ROWS["rotation"], 2] = math.nan
    part = Correction.from_record(RECORD).apply(raw, ROWS)
    assert np.isnan(part[ROWS["incl_x"], 1])
    assert np.isnan(part[ROWS["rotation"], 2])
    assert np.isnan(part).sum() == 2
    # incl_y lacks only incl_x's cross-axis share, 0.0018 of at most 0.2 rad.
    assert part[ROWS["incl_y"], 1] == pytest.approx(full[ROWS["incl_y"], 1], abs=4e-4)
    assert np.array_equal(part[:, [0, 3]], full[:, [0, 3]])


def test_a_missing_upright_axis_is_taken_as_level():
    true = truth(3)
    true[[0, 1]] = 0.0
    raw = readings(true)
    raw[ROWS["incl_z"]] = math.nan
    corrected = Correction.from_record(RECORD).apply(raw, ROWS)
    # With incl_z as read the answer is 0; sin(1.2) for 1 times 0.0012 is 8e-5 rad.
    assert corrected[[0, 1]] == pytest.approx(0.0, abs=2e-4)


def test_without_a_temperature_the_reference_temperature_is_taken():
    raw = readings(truth(3))
    at_reference, without = raw.copy(), raw.copy()
    at_reference[ROWS["temperature"]] = 20.0
    without[ROWS["temperature"]] = math.nan
    correction = Correction.from_record(RECORD)
    expected = correction.apply(at_reference, ROWS)[[0, 1, 7]]
    assert np.array_equal(correction.apply(without, ROWS)[[0, 1, 7]], expected)


def test_a_sine_beyond_one_ends_upright():
    raw = truth(1)
    raw[ROWS["incl_z"]] = math.pi / 2
    corrected = Correction.from_record(RECORD).apply(raw, ROWS)
    assert np.isfinite(corrected).all()


def test_two_axes_and_no_encoder_will_do():
    tilt = TiltPart(
        reference_temperature_degc=20.0,
        bias_deg=(1.0, -1.0),
        u_bias_deg=(0.01, 0.01),
        matrix=((1.0, 0.0), (0.0, 1.0)),
        u_matrix=((0.0, 0.0), (0.0, 0.0)),
        bias_deg_per_degc=(0.0, 0.0),
        u_bias_deg_per_degc=(0.0, 0.0),
        scale_per_degc=(0.0, 0.0),
        u_scale_per_degc=(0.0, 0.0),
    )
    record = seal(RECORD.model_copy(update={"tilt": tilt, "encoders": {}}))
    values = np.zeros((8, 2))
    corrected = Correction.from_record(record).apply(values, ROWS)
    assert corrected[0] == pytest.approx(-math.radians(1.0), abs=1e-6)
    assert corrected[1] == pytest.approx(math.radians(1.0), abs=1e-6)
    assert not corrected[2:].any()


def test_a_head_without_a_record_is_left_as_it_reads():
    values = truth(5)
    correction = Correction.nominal("00000000000000aa")
    assert np.array_equal(correction.apply(values, ROWS), values)
    assert not correction.calibrated
    assert "default" in correction.stands_on


def test_the_default_uncertainty_is_large_and_each_head_s_own():
    heads = [Correction.nominal(h) for h in ("00000000000000aa", "00000000000000bb")]
    one, other = (h.systematic("incl_y", {"incl_y": 0.0}) for h in heads)
    assert one.u > math.radians(0.5)
    assert (one - other).u == pytest.approx(math.hypot(one.u, other.u))


def perturbed(record, path, index, by):
    """Return the record with one coefficient moved; ``path`` names a tilt field."""
    field = np.array(getattr(record.tilt, path), dtype=float)
    field[index] += by
    nested = tuple(map(tuple, field)) if field.ndim == 2 else tuple(field)
    changed = record.tilt.model_copy(update={path: nested})
    return record.model_copy(update={"tilt": changed})


@pytest.mark.parametrize("channel", AXES[:2])
def test_tilt_uncertainty_is_every_coefficient_s_share(channel):
    # Oracle: move each coefficient by its own uncertainty, apply, and take the root sum square.
    raw = readings(truth(1, seed=4))
    nominal = Correction.from_record(RECORD).apply(raw, ROWS)[ROWS[channel], 0]
    total = 0.0
    for path in ("bias_deg", "matrix", "bias_deg_per_degc", "scale_per_degc"):
        sizes = np.array(getattr(RECORD.tilt, f"u_{path}"))
        for index in np.ndindex(sizes.shape):
            moved = Correction.from_record(perturbed(RECORD, path, index, sizes[index] * 1e-3))
            shift = moved.apply(raw, ROWS)[ROWS[channel], 0] - nominal
            total += (shift * 1e3) ** 2
    at = {axis: float(raw[ROWS[axis], 0]) for axis in AXES}
    temperature = float(raw[ROWS["temperature"], 0])
    u = Correction.from_record(RECORD).systematic_u_rad(channel, at, temperature)
    assert u == pytest.approx(math.sqrt(total), rel=1e-3)


def test_encoder_uncertainty_is_every_coefficient_s_share():
    # cos^2 + sin^2 = 1: the same at every angle; 0.01, 0.004, 0.002, 0.002 deg.
    correction = Correction.from_record(RECORD)
    expected = math.radians(math.sqrt(0.01**2 + 0.004**2 + 2 * 0.002**2))
    for angle in (0.0, 0.7, 4.0):
        u = correction.systematic_u_rad("rotation", {"rotation": angle})
        assert u == pytest.approx(expected)


def test_systematic_errors_of_one_head_are_correlated_as_they_are():
    correction = Correction.from_record(RECORD)
    here = correction.systematic("rotation", {"rotation": 0.0})
    half_turn = correction.systematic("rotation", {"rotation": math.pi})
    # The zero and even harmonics are common, the first harmonic changes sign.
    assert (here - half_turn).u == pytest.approx(2 * math.radians(0.004))
    assert here.u_shared == here.u
    assert here.dof > 29
    assert here.stands_on == {"cal-2026-0042"}


def test_systematic_errors_of_two_axes_share_their_biases():
    correction = Correction.from_record(RECORD)
    at = dict.fromkeys(AXES[:2], 0.0)
    pair = [correction.systematic(axis, at, 20.0) for axis in AXES[:2]]
    # incl_y's bias reaches incl_x through 0.0021, incl_x's reaches incl_y through -0.0018; incl_z.
    b, bz = math.radians(0.008), math.radians(0.02)
    expected = b * b * (1.004 * -0.0018 + 0.0021 * 0.997) + bz * bz * (-0.0007 * 0.0012)
    assert covariance(pair)[0, 1] == pytest.approx(expected, rel=1e-4)


def test_refuses_a_channel_that_nobody_calibrated():
    correction = Correction.from_record(RECORD)
    with pytest.raises(KeyError, match="steer"):
        correction.systematic("steer", {"steer": 0.0})
    with pytest.raises(KeyError, match="incl_x"):
        correction.systematic("incl_x", {"incl_y": 0.0})


def test_doublings_stand_for_every_order_that_a_record_may_hold():
    schema = Harmonic.model_json_schema()["properties"]["order"]
    assert tuple(schema["enum"]) == ORDERS


def test_a_record_with_a_zero_only_shifts():
    part = EncoderPart(zero_deg=2.0, u_zero_deg=0.1)
    record = CalibrationRecord1(
        record_id="cal-2026-0001",
        head_id="00000000000000aa",
        issued=date(2026, 1, 1),
        due=None,
        tilt=None,
        encoders={"steer": part},
        ports={},
        stub_m=0.0,
        u_stub_m=0.0,
        channels={},
    )
    values = truth(3)
    step = Correction.from_record(record).apply(values, ROWS) - values
    assert step[ROWS["steer"]] == pytest.approx(-math.radians(2.0))
    assert np.count_nonzero(step) == 3
