"""The whole chain on one head's stream, as the service runs it."""

import math
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.records.parts import TiltPart
from calibration.records.text import seal
from calibration.records.version1 import CalibrationRecord1
from calibration.sensors import Correction
from ingest.chain.chain import Chain, ChainSettings
from ingest.chain.decimate import DecimateSettings
from ingest.core.blocks import NO_VALUE, Flag
from ingest.core.channels import CHANNELS, ROW, Channel
from ingest.core.counters import LinkCounters
from ingest.core.errors import ConfigError
from ingest.core.units import WIRE_RAD

RATE_HZ = 100.0
PERIOD_US = 10_000
X = ROW[Channel.INCL_X]


def chain(correction=None, rate_hz=RATE_HZ, ranges=None, **changes):
    return Chain(ChainSettings(**changes), correction, rate_hz, LinkCounters(), ranges)


def correction():
    u = (0.01, 0.01)
    tilt = TiltPart(
        reference_temperature_degc=20.0,
        bias_deg=(0.5, -0.25),
        u_bias_deg=u,
        matrix=((1.001, 0.002), (-0.002, 0.999)),
        u_matrix=(u, u),
        bias_deg_per_degc=(0.01, -0.01),
        u_bias_deg_per_degc=u,
        scale_per_degc=(0.0001, 0.0002),
        u_scale_per_degc=u,
    )
    return Correction.from_record(
        seal(
            CalibrationRecord1(
                record_id="cal-2031-0002",
                head_id="00112233aabbccdd",
                issued=date(2031, 1, 1),
                due=None,
                tilt=tilt,
                encoders={},
                ports={},
                stub_m=0.2,
                u_stub_m=0.001,
                channels={},
            )
        )
    )


def steady(raw, n, start=0, rate_hz=RATE_HZ, codes=0, **more):
    seq = start + np.arange(n)
    t_us = np.rint(seq * 1e6 / rate_hz).astype(np.int64)
    return raw(t_us, seq=seq, channels={Channel.INCL_X: codes}, **more)


def messy(raw, seed, n):
    """Losses, repeats, spikes, missing values, late arrivals, moves and rests."""
    rng = np.random.default_rng(seed)
    seq = np.repeat(np.arange(n), rng.choice([0, 1, 2], n, p=[0.01, 0.98, 0.01]))
    base = rng.integers(0, 2**32)
    moves = np.cumsum(rng.random(len(seq)) < 0.005) * rng.integers(0, 20_000)
    channels = {}
    for channel in CHANNELS:
        noise = np.rint(rng.normal(0.0, 50.0, len(seq)))
        spikes = (rng.random(len(seq)) < 0.02) * rng.integers(-(10**6), 10**6, len(seq))
        codes = (moves + noise + spikes).astype(np.int64)
        codes[rng.random(len(seq)) < rng.choice([0.0, 0.1, 0.9, 1.0])] = NO_VALUE
        channels[channel] = codes
    arrived = np.rint(5e9 + seq * 1e7 * (1 + 50e-6) + rng.exponential(2e6, len(seq)))
    arrived = np.maximum.accumulate(arrived)
    return raw(base + seq * PERIOD_US, seq=seq, channels=channels, arrived_ns=arrived)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(
    seed=st.integers(0, 2**16),
    cuts=st.lists(st.integers(0, 600), max_size=30),
    calibrated=st.booleans(),
)
def test_the_cut_of_the_stream_does_not_show(raw, cut_raw, assert_same, seed, cuts, calibrated):
    run = messy(raw, seed, 600)
    another_boot = raw(np.arange(30) * PERIOD_US, boot=2)  # brings out what waited
    results = []
    for pieces in ([run], cut_raw(run, cuts), cut_raw(run, range(len(run)))):
        stage = chain(
            correction() if calibrated else None, ranges={Channel.INCL_Y: (-(10**5), 10**5)}
        )
        out, full, rests = [], [], []
        for piece in [*pieces, another_boot]:
            out += stage.feed(piece)
            full += stage.full_rate
            rests += stage.ended_rests
        rests += [rest for rest in [stage.rest.latest()] if rest]
        marks = [(r.t_ns, r.n, r.values.tobytes(), r.u.tobytes(), r.flags) for r in rests]
        facts = (stage.counters, stage.despiked, stage.cut_windows, stage.clock.bound_ns, marks)
        results.append((out, full, facts))
    for out, full, facts in results[1:]:
        assert_same(results[0][0], out)
        assert_same(results[0][1], full)
        assert results[0][2] == facts


def test_the_first_value_comes_in_a_seventh_of_a_second(raw, cut_raw):
    stage = chain()
    fed = 0
    for piece in cut_raw(steady(raw, 100), range(0, 100, 5)):
        fed += len(piece)
        if stage.feed(piece):
            break
    assert fed <= 15


def test_samples_that_complete_nothing_wait_without_delaying_a_value(raw, cut_raw):
    waiting, at_once = chain(), chain()
    passes = 0
    for piece in cut_raw(steady(raw, 500), range(500)):
        out = waiting.feed(piece)
        passes += bool(waiting.full_rate)
        (timed,) = at_once.clock.feed(at_once._order.feed(piece)[0])
        blocks = [at_once._scale.feed(timed)]
        for stage in [*at_once._before, *at_once._after]:
            blocks = [done for block in blocks for done in stage.feed(block)]
        assert [b.t_ns.tolist() for b in out] == [b.t_ns.tolist() for b in blocks]
    assert passes == 49


def test_the_next_value_is_due_when_the_chain_says(raw, cut_raw):
    stage = chain()
    due_us = 13 * PERIOD_US
    for newest, piece in enumerate(cut_raw(steady(raw, 100), range(100)), start=1):
        came = bool(stage.feed(piece))
        assert came == (newest * PERIOD_US == due_us)
        due_us += came * 10 * PERIOD_US
        assert newest * PERIOD_US + stage.quiet_s * 1e6 == pytest.approx(due_us)


def test_nothing_waits_for_a_slow_low_pass(raw, cut_raw):
    stage = chain(decimate=DecimateSettings(output_hz=0.5))
    seq = np.array([0, 1, *range(3, 23)])
    run = raw(seq * PERIOD_US, seq=seq)
    for piece in cut_raw(run, range(len(run))):
        stage.feed(piece)
    assert stage.counters.lost == 1


def test_the_delay_is_known_and_is_that_of_a_ramp(raw, cut_raw):
    """A value must describe the moment t_ns and leave lag_ns later, sample by sample."""
    code_per_sample = 20
    run = steady(raw, 2000, codes=np.arange(2000) * code_per_sample)
    stage = chain()
    assert stage.lag_ns == 30_000_000 + 45_000_000
    checked = 0
    for piece in cut_raw(run, range(2000)):
        now_ns = int(piece.arrived_ns[-1])
        for out in stage.feed(piece):
            assert out.lag_ns == stage.lag_ns
            (t_ns,) = out.t_ns
            assert t_ns + stage.lag_ns == now_ns
            true_sample = (t_ns - 5_000_000_000) / 1e7
            expected = true_sample * code_per_sample * WIRE_RAD
            assert out.values[X, 0] == pytest.approx(expected, abs=1e-9)
            checked += 1
    assert checked == 199


def test_a_head_without_a_record_is_marked_on_every_value(raw):
    (out,) = chain().feed(steady(raw, 200))
    assert np.all(out.flags & Flag.UNCALIBRATED)
    (out,) = chain(correction()).feed(steady(raw, 200))
    assert not np.any(out.flags & Flag.UNCALIBRATED)


def test_a_loss_costs_the_window_it_falls_in_and_is_marked(raw):
    keep = np.delete(np.arange(200), 95)
    run = raw(keep * PERIOD_US, seq=keep)
    stage = chain()
    before, after = stage.feed(run)
    assert before.after_gap
    assert after.after_gap
    assert (len(before), len(after)) == (9, 10)
    assert stage.cut_windows == 1
    assert stage.counters.lost == 1


def test_a_spike_in_a_byte_stream_of_a_still_head_leaves_no_trace(raw):
    codes = np.full(200, 1234)
    codes[77] = 500_000
    (out,) = chain().feed(steady(raw, 200, codes=codes))
    np.testing.assert_allclose(out.values[X], 1234 * WIRE_RAD, rtol=1e-14)
    assert np.flatnonzero(out.flags & Flag.DESPIKED).tolist() == [7]


def test_a_rest_is_read_after_the_head_came_to_rest(raw):
    swing = 20_000 * np.exp(-np.arange(1000) / 100) * np.cos(np.arange(1000) / 8)
    noise = np.random.default_rng(1).normal(0.0, 100.0, 1000)
    codes = np.rint(5_000 + swing + noise).astype(int)
    stage = chain()
    stage.feed(steady(raw, 1000, codes=codes))
    reading = stage.rest.latest()
    assert reading is not None
    assert reading.n > 20
    assert reading.values[X] == pytest.approx(5_000 * WIRE_RAD, abs=5 * reading.u[X])
    expected_u = 100.0 * WIRE_RAD / math.sqrt(10 * reading.n)
    assert 0.5 < reading.u[X] / expected_u < 2.0
    assert not stage.ended_rests
    stage.feed(steady(raw, 100, start=1000, codes=80_000))
    assert [rest.n for rest in stage.ended_rests] != []


def test_another_calibration_takes_hold_as_after_a_gap(raw):
    stage = chain()
    stage.feed(steady(raw, 205))
    record = correction()
    stage.recalibrate(record)
    assert stage.correction is record
    (out,) = stage.feed(steady(raw, 100, start=205))
    assert out.after_gap
    assert not np.any(out.flags & Flag.UNCALIBRATED)


def test_a_reset_leaves_nothing_behind(raw, assert_same):
    used = chain()
    used.feed(steady(raw, 333, codes=7_000))
    used.feed(steady(raw, 6, start=333, codes=7_000))  # these wait
    used.reset()
    assert used.rest.latest() is None
    assert used.clock.bound_ns is None
    assert_same(used.feed(steady(raw, 200)), chain().feed(steady(raw, 200)))
    assert used.counters.reboots == 0


def test_a_reset_leaves_nothing_in_the_despiking(raw):
    stage = chain(decimate=None)
    stage.feed(steady(raw, 50, codes=7_000))
    stage.reset()
    (out,) = stage.feed(steady(raw, 50, codes=9_000))
    assert out.after_gap
    assert np.unique(out.values[X]).size == 1


def test_a_reboot_starts_anew_and_is_counted(raw):
    stage = chain()
    stage.feed(steady(raw, 93))
    stage.feed(steady(raw, 7, start=93))  # these wait
    again = steady(raw, 100, boot=2, arrived_ns=9 * 10**9 + np.arange(100) * 10**7)
    last, first = stage.feed(again)
    assert not last.after_gap
    assert len(last) == 1  # what the despiking held completes the tenth window
    assert first.after_gap
    assert first.t_ns[0] >= 9 * 10**9
    assert stage.counters.reboots == 1


def test_stages_can_be_left_out(raw):
    stage = chain(despike=None, decimate=None, settle=None)
    codes = np.arange(50)
    codes[20] = 10**6
    (out,) = stage.feed(steady(raw, 50, codes=codes))
    assert len(out) == 50
    assert out.values[X, 20] == pytest.approx(10**6 * WIRE_RAD)
    assert stage.lag_ns == out.lag_ns == 0
    assert (stage.despiked, stage.cut_windows) == (0, 0)


def test_settings_of_a_stage_reach_it(raw):
    stage = chain(decimate=DecimateSettings(output_hz=5.0))
    assert stage.output_hz == 5.0
    (out,) = stage.feed(steady(raw, 203))
    assert len(out) == 10


def test_an_empty_run_gives_nothing(raw):
    assert chain().feed(steady(raw, 0)) == []


def test_refuses_a_head_without_a_rate():
    with pytest.raises(ConfigError, match="rate_hz"):
        chain(rate_hz=0.0)
