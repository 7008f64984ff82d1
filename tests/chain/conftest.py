"""Builders of raw runs and sample blocks, and the ways to cut and join them."""

import dataclasses
from collections.abc import Callable, Sequence
from itertools import pairwise

import numpy as np
import pytest

from ingest.core.blocks import NO_VALUE, RawRun, SampleBlock
from ingest.core.channels import CHANNELS, ROW, Channel
from ingest.core.ids import BootId


def _raw(
    t_us, *, seq=None, boot=1, status=0, channels=None, arrived_ns=None, missing=NO_VALUE
) -> RawRun:
    """A run at device times ``t_us``; channels not given have no value."""
    t_us = np.asarray(t_us, np.int64)
    n = len(t_us)
    codes = np.full((len(CHANNELS), n), missing, np.int32)
    for channel, values in (channels or {Channel.INCL_X: 0}).items():
        codes[ROW[channel]] = values
    return RawRun(
        boot=BootId(boot),
        seq=np.asarray(np.arange(n) if seq is None else seq, np.int64) % 65536,
        t_us=t_us % 2**32,
        status=np.full(n, status, np.uint8),
        codes=codes,
        arrived_ns=np.asarray(
            5_000_000_000 + t_us * 1000 if arrived_ns is None else arrived_ns, np.int64
        ),
    )


def _block(channels, *, rate_hz=100.0, flags=0, after_gap=False, t0_ns=0) -> SampleBlock:
    """A block on an even time base; values in radians."""
    arrays = {ROW[c]: np.asarray(v, np.float64) for c, v in channels.items()}
    n = len(next(iter(arrays.values())))
    values = np.full((len(CHANNELS), n), np.nan)
    for row, array in arrays.items():
        values[row] = array
    t_ns = t0_ns + np.rint(np.arange(n) * 1e9 / rate_hz).astype(np.int64)
    return SampleBlock(t_ns, values, np.full(n, flags, np.uint16), after_gap)


def _spans(n: int, cuts: Sequence[int]) -> list[slice]:
    edges = [0, *sorted({cut % n for cut in cuts} - {0}), n]
    return [slice(a, b) for a, b in pairwise(edges)]


def _cut_raw(run: RawRun, cuts: Sequence[int]) -> list[RawRun]:
    return [
        RawRun(
            run.boot,
            run.seq[s],
            run.t_us[s],
            run.status[s],
            np.ascontiguousarray(run.codes[:, s]),
            run.arrived_ns[s],
        )
        for s in _spans(len(run), cuts)
    ]


def _cut_block(block: SampleBlock, cuts: Sequence[int]) -> list[SampleBlock]:
    return [
        SampleBlock(
            block.t_ns[s],
            np.ascontiguousarray(block.values[:, s]),
            block.flags[s],
            block.after_gap and s.start == 0,
            block.lag_ns,
        )
        for s in _spans(len(block), cuts)
    ]


def _join(blocks: Sequence[SampleBlock]) -> list[SampleBlock]:
    """Join blocks up to each gap, so that only what the cut may not change is left."""
    joined: list[SampleBlock] = []
    for block in blocks:
        assert len(block), "no stage gives an empty block"
        if block.after_gap or not joined:
            joined.append(block)
            continue
        before = joined.pop()
        joined.append(
            dataclasses.replace(
                before,
                t_ns=np.concatenate((before.t_ns, block.t_ns)),
                values=np.concatenate((before.values, block.values), axis=1),
                flags=np.concatenate((before.flags, block.flags)),
            )
        )
    return joined


def _same(left: Sequence[SampleBlock], right: Sequence[SampleBlock]) -> None:
    left, right = _join(left), _join(right)
    assert len(left) == len(right)
    for a, b in zip(left, right, strict=True):
        assert a.t_ns.tobytes() == b.t_ns.tobytes()
        np.testing.assert_array_equal(a.values, b.values, strict=True)
        np.testing.assert_array_equal(a.flags, b.flags, strict=True)
        assert (a.after_gap, a.lag_ns) == (b.after_gap, b.lag_ns)


@pytest.fixture(scope="session")
def raw() -> Callable[..., RawRun]:
    return _raw


@pytest.fixture(scope="session")
def block() -> Callable[..., SampleBlock]:
    return _block


@pytest.fixture(scope="session")
def cut_raw() -> Callable[..., list[RawRun]]:
    return _cut_raw


@pytest.fixture(scope="session")
def cut_block() -> Callable[..., list[SampleBlock]]:
    return _cut_block


@pytest.fixture(scope="session")
def join() -> Callable[..., list[SampleBlock]]:
    return _join


@pytest.fixture(scope="session")
def assert_same() -> Callable[..., None]:
    """Same samples, flags, gaps and delays to the last bit, wherever the blocks were cut."""
    return _same
