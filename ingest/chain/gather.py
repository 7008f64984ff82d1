"""Holding samples back until they can complete a value: work is per pass, not per sample."""

import numpy as np

from ingest.core.blocks import RawRun


class Gather:
    """Joins short runs. What is held could not have completed a value of the low-pass anyway,
    so no value leaves later for it; counters lag by what is held.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self.reset()

    def reset(self) -> None:
        """Forget what is held."""
        self._held: list[RawRun] = []
        self._count = 0

    def feed(self, run: RawRun, wanted: int) -> list[RawRun]:
        """Return the runs to work on now: once ``wanted`` samples are there, or ``most``."""
        ready: list[RawRun] = []
        if not len(run):
            return ready
        if self._held and run.boot != self._held[0].boot:
            ready.append(self._release())
        self._held.append(run)
        self._count += len(run)
        if self._count >= min(wanted, self._most):
            ready.append(self._release())
        return ready

    def _release(self) -> RawRun:
        held = self._held
        self.reset()
        if len(held) == 1:
            return held[0]
        return RawRun(
            boot=held[0].boot,
            seq=np.concatenate([run.seq for run in held]),
            t_us=np.concatenate([run.t_us for run in held]),
            status=np.concatenate([run.status for run in held]),
            codes=np.concatenate([run.codes for run in held], axis=1),
            arrived_ns=np.concatenate([run.arrived_ns for run in held]),
        )
