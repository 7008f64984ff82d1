"""Faults: none unless asked for, as many as asked for, and the same again from the seed."""

import numpy as np
import pytest

from ingest.core.channels import CHANNELS, ROW, Channel
from ingest.core.units import DEG
from ingest.simulator.faults import MILD, FaultInjector, FaultPlan, no_faults
from ingest.simulator.streams import stream

FRAMES = [bytes([7]) * 26 + bytes([number % 256]) for number in range(20000)]


def injector(**plan: float) -> FaultInjector:
    return FaultInjector(FaultPlan(**plan), stream(5, "faults"))  # type: ignore[arg-type]


def readings(count: int) -> np.ndarray:
    raw = np.zeros((len(CHANNELS), count))
    raw[ROW[Channel.AZIMUTH_TRACK]] = np.nan
    return raw


def test_the_default_plan_leaves_everything_as_it_is() -> None:
    quiet = no_faults()
    assert [quiet.passed(frame) for frame in FRAMES] == FRAMES
    raw = readings(100)
    assert quiet.spiked(raw) is raw
    assert quiet.counts == type(quiet.counts)()


def test_frames_are_lost_damaged_and_doubled_as_often_as_planned_and_counted() -> None:
    rough = injector(lost=0.05, damaged=0.03, duplicated=0.02)
    out = [rough.passed(frame) for frame in FRAMES]
    assert sum(not got for got in out) == rough.counts.lost
    assert sum(got == 2 * sent for got, sent in zip(out, FRAMES, strict=True)) == (
        rough.counts.duplicated
    )
    differing = [
        (got, sent)
        for got, sent in zip(out, FRAMES, strict=True)
        if got not in (b"", sent, 2 * sent)
    ]
    assert len(differing) == rough.counts.damaged
    for got, sent in differing:
        flipped = int.from_bytes(got, "big") ^ int.from_bytes(sent, "big")
        assert len(got) == len(sent)
        assert flipped.bit_count() == 1
    # Binomial, 5 sigma; what is lost is not damaged too, nor doubled.
    assert rough.counts.lost == pytest.approx(1000, abs=155)
    assert rough.counts.damaged == pytest.approx(20000 * 0.95 * 0.03, abs=120)
    assert rough.counts.duplicated == pytest.approx(20000 * 0.95 * 0.97 * 0.02, abs=100)


def test_spikes_hit_one_angle_of_a_sample_and_never_what_has_no_value() -> None:
    spiky, raw = injector(spikes=0.1), readings(5000)
    out = spiky.spiked(raw)
    assert np.array_equal(np.isnan(out), np.isnan(raw))
    moved = np.nan_to_num(out) != 0.0
    assert moved.sum(axis=0).max() == 1
    assert moved.sum() == spiky.counts.spikes
    assert not moved[ROW[Channel.TEMPERATURE]].any()
    sizes = np.abs(out[moved]) / DEG
    assert sizes.min() >= 1.0
    assert sizes.max() <= 20.0
    assert spiky.counts.spikes == pytest.approx(5000 * 0.1 * 6 / 7, abs=105)
    assert not np.nan_to_num(raw).any(), "what came in is left alone"


def test_the_same_seed_does_the_same_harm() -> None:
    one, again = injector(lost=0.1, damaged=0.1), injector(lost=0.1, damaged=0.1)
    assert [one.passed(f) for f in FRAMES] == [again.passed(f) for f in FRAMES]


def test_a_mild_day_is_mild() -> None:
    assert MILD.boot_text
    assert not MILD.reset_on_open
    assert 0.0 < max(MILD.lost, MILD.damaged, MILD.duplicated, MILD.spikes) <= 1e-3


@pytest.mark.parametrize("name", ["lost", "damaged", "duplicated", "spikes"])
@pytest.mark.parametrize("share", [-0.1, 1.1])
def test_refuses_shares_that_are_none(name: str, share: float) -> None:
    with pytest.raises(ValueError, match=f"{name} is a share between 0 and 1"):
        injector(**{name: share})
