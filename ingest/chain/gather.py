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
        self._runs: list[RawRun] = []
        self.held = 0
        """How many samples wait."""

    def feed(self, run: RawRun, wanted: int) -> list[RawRun]:
        """Return the runs to work on now: once ``wanted`` samples are there, or ``most``."""
        ready: list[RawRun] = []
        if not len(run):
            return ready
        if self._runs and run.boot != self._runs[0].boot:
            ready.append(self._release())
        self._runs.append(run)
        self.held += len(run)
        if self.held >= min(wanted, self._most):
            ready.append(self._release())
        return ready

    def _release(self) -> RawRun:
        runs = self._runs
        self.reset()
        if len(runs) == 1:
            return runs[0]
        return RawRun(
            boot=runs[0].boot,
            seq=np.concatenate([run.seq for run in runs]),
            t_us=np.concatenate([run.t_us for run in runs]),
            status=np.concatenate([run.status for run in runs]),
            codes=np.concatenate([run.codes for run in runs], axis=1),
            arrived_ns=np.concatenate([run.arrived_ns for run in runs]),
        )
