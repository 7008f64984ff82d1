"""What samples look like before any filter: how their times step, which channels give values."""

from collections import deque
from collections.abc import Iterable

import numpy as np

from ingest.core.blocks import NO_VALUE, RawRun
from ingest.core.channels import CHANNELS, Channel

SEQ_WRAP = 1 << 16
TIME_WRAP = 1 << 32
MAY_BE_SILENT = frozenset({Channel.AZIMUTH_CROSS, Channel.AZIMUTH_TRACK, Channel.STEER})
"""A head without a partner has no sightline, one away from a turn plate no steering angle."""
MUTE_AFTER = 5
"""So many times in a row a channel must have been found silent to be told."""


class SampleLook:
    """Looks at runs of samples; asked once a second, it tells of those since the last time."""

    def __init__(self) -> None:
        self._steps: list[float] = []
        self._valued = np.zeros(len(CHANNELS), bool)
        self._samples = 0
        self._silent: deque[frozenset[Channel]] = deque(maxlen=MUTE_AFTER)

    def take(self, run: RawRun) -> None:
        """Look at a run."""
        self._samples += len(run.seq)
        self._valued |= (run.codes != NO_VALUE).any(axis=1)
        counted = np.diff(run.seq) % SEQ_WRAP
        stepped = np.diff(run.t_us) % TIME_WRAP
        if counted.any():
            self._steps.append(float(np.median(stepped[counted > 0] / counted[counted > 0])))

    def told(self, declared: Iterable[Channel]) -> tuple[float | None, frozenset[Channel]]:
        """Return the step of time a sample, us (None where unknown), and the declared channels that
        have long given no value; begin anew.

        ``declared``: none while the head is not there; what was silent before is then forgotten.
        """
        step_us = float(np.median(self._steps)) if self._steps else None
        self._silent.append(
            frozenset(
                channel
                for channel in declared
                if self._samples
                and channel not in MAY_BE_SILENT
                and not self._valued[CHANNELS.index(channel)]
            )
        )
        self._steps.clear()
        self._valued[:] = False
        self._samples = 0
        if len(self._silent) < MUTE_AFTER:
            return step_us, frozenset()
        return step_us, frozenset.intersection(*self._silent)
