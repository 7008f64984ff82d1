"""Codes to values and flags, ranges, and the calibration stage."""

import math
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.records.parts import EncoderPart, Harmonic, TiltPart
from calibration.records.text import seal
from calibration.records.version1 import CalibrationRecord1
from calibration.sensors import Correction
from ingest.chain.calibrate import Calibrate
from ingest.chain.clock import TimedRun
from ingest.chain.scale import Scale
from ingest.core.blocks import NO_VALUE, Flag
from ingest.core.channels import CHANNELS, ROW, Channel
from ingest.core.counters import LinkCounters


def timed(codes, status=0):
    codes = np.asarray(codes, np.int32)
    n = codes.shape[1]
    return TimedRun(np.arange(n) * 10_000_000, np.full(n, status, np.uint8), codes, False)


def codes(n, **rows):
    table = np.full((len(CHANNELS), n), NO_VALUE, np.int32)
    for name, row in rows.items():
        table[ROW[Channel(name)]] = row
    return table


def test_a_code_is_a_ten_thousandth_of_a_degree():
    out = Scale({}, LinkCounters()).feed(
        timed(codes(2, incl_y=[-12_345, 900_000], temperature=[215_000, -1]))
    )
    assert out.channel(Channel.INCL_Y) == pytest.approx([math.radians(-1.2345), math.pi / 2])
    assert out.channel(Channel.TEMPERATURE) == pytest.approx([21.5, -0.0001])


def test_no_value_becomes_nan_without_a_flag():
    out = Scale({}, LinkCounters()).feed(timed(codes(3, incl_y=[1, NO_VALUE, 3])))
    assert np.isnan(out.channel(Channel.INCL_Y)).tolist() == [False, True, False]
    assert np.isnan(out.channel(Channel.STEER)).all()
    assert not out.flags.any()


def test_a_circular_code_beyond_a_turn_is_taken_modulo_a_full_turn():
    """SPEC.md, section 5.2, note 1: a receiver should; 5 000 000 codes are 500 deg, thus 140."""
    counters = LinkCounters()
    half = (-1_800_000, 1_799_999)
    scale = Scale({Channel.ROTATION: half, Channel.STEER: (0, 3_599_999)}, counters)
    out = scale.feed(
        timed(
            codes(
                4,
                rotation=[5_000_000, -1_800_001, 1_800_000, 8_388_607],
                steer=[3_000_000, 0, -1, 1],
            )
        )
    )
    assert np.degrees(out.channel(Channel.ROTATION)) == pytest.approx(
        [140.0, 179.9999, -180.0, 838.8607 - 720.0]
    )
    assert np.degrees(out.channel(Channel.STEER))[[0, 1, 3]] == pytest.approx([300.0, 0.0, 1e-4])
    assert math.isnan(out.channel(Channel.STEER)[2])  # it says that it counts from 0 up
    assert counters.strayed == 1


def test_what_leaves_the_stated_range_becomes_nan_and_is_flagged():
    scale = Scale({Channel.INCL_X: (-300_000, 300_000)}, LinkCounters())
    rows = {"incl_x": [-300_001, -300_000, 300_000, 300_001], "incl_y": [10**6] * 4}
    out = scale.feed(timed(codes(4, **rows)))
    assert np.isnan(out.channel(Channel.INCL_X)).tolist() == [True, False, False, True]
    assert not np.isnan(out.channel(Channel.INCL_Y)).any()
    flagged = Flag.OUT_OF_RANGE
    assert out.flags.tolist() == [flagged, 0, 0, flagged]


def test_a_range_over_the_whole_code_still_knows_no_value():
    out = Scale({Channel.INCL_X: (NO_VALUE, 2**23 - 1)}, LinkCounters()).feed(
        timed(codes(2, incl_x=[NO_VALUE, 2**23 - 1]))
    )
    assert np.isnan(out.channel(Channel.INCL_X)).tolist() == [True, False]
    assert not out.flags.any()


def test_the_heads_status_becomes_flags_and_unknown_bits_do_not():
    both = Flag.SWIVEL_LOCKED | Flag.SENSOR_FAULT
    assert Scale({}, LinkCounters()).feed(timed(codes(1), status=0b11111)).flags.tolist() == [both]
    assert Scale({}, LinkCounters()).feed(timed(codes(1), status=0b1)).flags.tolist() == [
        Flag.SWIVEL_LOCKED
    ]


def record(**tilt):
    zeros, us = (0.0, 0.0), (0.01, 0.01)
    part = {
        "reference_temperature_degc": 20.0,
        "bias_deg": (0.3, -0.2),
        "u_bias_deg": us,
        "matrix": ((1.01, 0.004), (-0.003, 0.99)),
        "u_matrix": (us, us),
        "bias_deg_per_degc": zeros,
        "u_bias_deg_per_degc": us,
        "scale_per_degc": zeros,
        "u_scale_per_degc": us,
    } | tilt
    zero = EncoderPart(
        zero_deg=1.5,
        u_zero_deg=0.02,
        harmonics=(Harmonic(order=1, cos_deg=0.1, sin_deg=0.2, u_deg=0.01),),
    )
    return seal(
        CalibrationRecord1(
            record_id="cal-2031-0001",
            head_id="00112233aabbccdd",
            issued=date(2031, 1, 1),
            due=None,
            tilt=TiltPart(**part),
            encoders={"rotation": zero},
            ports={},
            stub_m=0.2,
            u_stub_m=0.001,
            channels={},
        )
    )


THERMAL = Correction.from_record(record(bias_deg_per_degc=(0.02, 0.01)))


def test_without_a_record_every_sample_is_flagged_and_no_value_changes(block):
    given_block = block({Channel.INCL_X: [0.1, 0.2]}, flags=Flag.SWIVEL_LOCKED)
    for correction in (None, Correction.nominal("00112233aabbccdd")):
        (out,) = Calibrate(correction).feed(given_block)
        np.testing.assert_array_equal(out.values, given_block.values)
        assert out.flags.tolist() == [Flag.SWIVEL_LOCKED | Flag.UNCALIBRATED] * 2


def test_with_a_record_values_are_corrected_and_not_flagged(block):
    (out,) = Calibrate(Correction.from_record(record())).feed(
        block({Channel.INCL_X: [0.05], Channel.INCL_Y: [0.02], Channel.ROTATION: [0.0]})
    )
    sines = np.sin([0.05, 0.02]) - np.radians([0.3, -0.2])
    expected = np.arcsin(np.array([[1.01, 0.004], [-0.003, 0.99]]) @ sines)
    assert out.values[:2, 0] == pytest.approx(expected, abs=1e-12)
    assert out.channel(Channel.ROTATION) == pytest.approx([-math.radians(1.5 + 0.1)])
    assert not out.flags.any()


def test_the_last_temperature_stands_until_the_next(block):
    stage = Calibrate(THERMAL)
    rare = [25.0, math.nan, math.nan, 30.0, math.nan]
    tilt = np.full(5, 0.1)
    (out,) = stage.feed(
        block({Channel.INCL_X: tilt, Channel.INCL_Y: tilt, Channel.TEMPERATURE: rare})
    )
    held = [25.0, 25.0, 25.0, 30.0, 30.0]
    (full,) = Calibrate(THERMAL).feed(
        block({Channel.INCL_X: tilt, Channel.INCL_Y: tilt, Channel.TEMPERATURE: held})
    )
    np.testing.assert_array_equal(out.values[:2], full.values[:2])
    np.testing.assert_array_equal(out.channel(Channel.TEMPERATURE), rare)


def test_a_gap_forgets_the_temperature(block):
    stage = Calibrate(THERMAL)
    tilts = {Channel.INCL_X: [0.1], Channel.INCL_Y: [0.1]}
    stage.feed(block(tilts | {Channel.TEMPERATURE: [40.0]}))
    (out,) = stage.feed(block(tilts, after_gap=True))
    (cold,) = Calibrate(THERMAL).feed(block(tilts))
    np.testing.assert_array_equal(out.values, cold.values)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(seed=st.integers(0, 2**16), cuts=st.lists(st.integers(0, 50), max_size=8))
def test_the_cut_does_not_show_in_calibrated_values(block, cut_block, assert_same, seed, cuts):
    rng = np.random.default_rng(seed)
    channels = {c: rng.uniform(-1, 1, 50) for c in CHANNELS}
    for values in channels.values():
        values[rng.random(50) < rng.choice([0.0, 0.3])] = math.nan
    whole = block(channels)
    results = []
    for pieces in ([whole], cut_block(whole, cuts), cut_block(whole, range(50))):
        stage = Calibrate(THERMAL)
        results.append([out for piece in pieces for out in stage.feed(piece)])
    assert_same(results[0], results[1])
    assert_same(results[0], results[2])
