"""Rests: what a head reads while it and its wheel stand still."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ingest.chain.angles import first_number, wrap_rows
from ingest.chain.stage import require
from ingest.core.blocks import F64, I64, U16, Flag, SampleBlock
from ingest.core.channels import CHANNELS
from ingest.core.units import NS


@dataclass(frozen=True, slots=True)
class RestSettings:
    """How much of a rest a reading may stand on."""

    longest_s: float = 30.0
    """A reading is the mean of the last so many seconds of a rest."""

    def __post_init__(self) -> None:
        require(0.1 <= self.longest_s <= 3600.0, "longest_s", self.longest_s, "0.1 to 3600 s")


@dataclass(frozen=True, slots=True, eq=False)
class RestReading:
    """The mean of a rest so far.

    ``t_ns`` is when the first sample averaged was taken, ``span_s`` the time from there to the
    last. ``values`` (8,): means, rad (temperature degC), NaN where the channel has none.
    ``u`` (8,): their standard uncertainty from the samples' own spread, s/sqrt(n), NaN for
    fewer than two; it holds nothing that all samples share. ``counts`` (8,): values averaged
    per channel; ``n`` is how many samples there are. ``flags`` holds every flag of any sample.
    """

    t_ns: int
    values: F64
    u: F64
    n: int
    counts: I64
    span_s: float
    flags: Flag


class Rest:
    """Gathers the still samples of the decimated stream, rest by rest. Memory is bounded."""

    def __init__(self, settings: RestSettings, output_hz: float) -> None:
        self._most = max(1, round(settings.longest_s * output_hz))
        self.reset()

    def reset(self) -> None:
        """Forget the present rest."""
        self._values: F64 = np.empty((len(CHANNELS), 0))
        self._t_ns: I64 = np.empty(0, np.int64)
        self._flags: U16 = np.empty(0, np.uint16)

    def feed(self, block: SampleBlock) -> list[RestReading]:
        """Return the rests that ended, in order: the head moved, or there was a gap."""
        ended: list[RestReading] = []
        if block.after_gap:
            self._end(ended)
        still = (block.flags & np.uint16(Flag.STILL)) != 0
        changes = np.flatnonzero(still[1:] != still[:-1]) + 1
        edges = [0, *changes.tolist(), len(block)]
        for start, end in pairwise(edges):
            if still[start]:
                self._gather(block, slice(start, end))
            else:
                self._end(ended)
        return ended

    def latest(self, since_ns: int = 0) -> RestReading | None:
        """Return the reading of the present rest so far; None while the head moves.

        ``since_ns`` leaves out what was read before: two heads that look at each other must
        be averaged over the same time.
        """
        first = int(self._t_ns.searchsorted(since_ns))
        t_ns = self._t_ns[first:]
        if not len(t_ns):
            return None
        values, u, counts = _mean_and_u(self._values[:, first:])
        return RestReading(
            t_ns=int(t_ns[0]),
            values=values,
            u=u,
            n=len(t_ns),
            counts=counts,
            span_s=float(t_ns[-1] - t_ns[0]) * 1e-9,
            flags=Flag(int(np.bitwise_or.reduce(self._flags[first:]))),
        )

    def keep(self, newest_s: float) -> None:
        """Forget what was read longer ago, before the newest sample of the present rest.

        For a wheel that is turned at by hand: it may move so slowly that it seems to rest.
        """
        if len(self._t_ns):
            first = int(self._t_ns.searchsorted(self._t_ns[-1] - round(newest_s * NS)))
            self._values = np.ascontiguousarray(self._values[:, first:])
            self._t_ns, self._flags = self._t_ns[first:], self._flags[first:]

    def _gather(self, block: SampleBlock, span: slice) -> None:
        values = np.concatenate((self._values, block.values[:, span]), axis=1)
        self._values = np.ascontiguousarray(values[:, -self._most :])
        self._t_ns = np.concatenate((self._t_ns, block.t_ns[span]))[-self._most :]
        self._flags = np.concatenate((self._flags, block.flags[span]))[-self._most :]

    def _end(self, ended: list[RestReading]) -> None:
        reading = self.latest()
        if reading is not None:
            ended.append(reading)
            self.reset()


def _mean_and_u(values: F64) -> tuple[F64, F64, I64]:
    """Mean, standard uncertainty of the mean and count per row, missing values left out."""
    reference = first_number(values)
    relative = values - reference
    wrap_rows(relative)
    present = ~np.isnan(relative)
    counts: I64 = np.count_nonzero(present, axis=1)
    relative[~present] = 0.0
    shift = relative.sum(axis=1) / np.maximum(counts, 1)
    mean = reference[:, 0] + shift
    wrap_rows(mean)
    residuals = np.where(present, relative - shift[:, None], 0.0)
    freedom = np.where(counts > 1, counts - 1, 1)
    u = np.sqrt((residuals * residuals).sum(axis=1) / (freedom * np.maximum(counts, 1)))
    u[counts < 2] = np.nan
    return mean, u, counts
