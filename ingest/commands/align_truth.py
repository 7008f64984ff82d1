"""What a job wrote down beside the simulator's truth, with all correlations of the results."""

import copy
import sqlite3
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from calibration.measured import Measured, covariance
from ingest.job.brief.standing import Standing
from ingest.job.course.events import Done, Event
from ingest.job.course.keeping import Answered, Asking
from ingest.job.course.readings import Reading
from ingest.simulator.motion import Track
from ingest.simulator.practice import Practice
from ingest.simulator.truth_by_topic import truth_by_topic
from ingest.store.jobs import StoredJobs

BAND = 0.999
"""Chance alone fails one state of a vehicle in a thousand."""

NOTHING_NEW = 0.01
"""Of the mean variance: combinations of results that scatter less than a tenth of their U follow
from each other, or are finer than what rounding leaves."""

Truth = Mapping[str, float]
"""Rad, lengths in m, by topic below the bay."""

Mark = tuple[str, str]
"""Topic and time of a reading."""


class Witness(StoredJobs):
    """A store of jobs that also keeps each reading's parts of uncertainty, as it is written down.

    ``standing`` gives a result as it stands at the service at this moment.
    """

    def __init__(self, connection: sqlite3.Connection) -> None:
        super().__init__(connection)
        self.standing: Callable[[str], Standing | None] = lambda topic: None
        self.parts: dict[Mark, Measured] = {}

    def add(
        self, job: str, events: Sequence[Event], asking: Asking | None, answered: Answered | None
    ) -> None:
        """Keep events, and what their readings stand on."""
        super().add(job, events, asking, answered)
        readings = [r for e in events if isinstance(e.what, Done) for r in e.what.readings]
        for reading in readings:
            standing = self.standing(reading.topic)
            if standing is not None:
                self.parts[reading.topic, reading.at] = standing.measured


def true_now(practice: Practice, at_s: float) -> dict[str, float]:
    """Return what is true of wheels that have settled as they do on average.

    How they settled this time is one chance among others: U holds it, and so the error must.
    """
    vehicle, adjusters = copy.deepcopy((practice.vehicle, practice.adjusters))
    for state in vehicle.wheel_state.values():
        state.camber_give = state.toe_give = Track(0.0)
    return truth_by_topic(vehicle, practice.frames, at_s, adjusters)


@dataclass(frozen=True, slots=True)
class Agreement:
    """How far results lie off the truth together: e' C^+ e over all of them.

    ``dof`` is the rank of C: much follows from each other, an axle's heading from its toes.
    ``drawn``: the heads err as their records say. Records of a bench also state what this rig may
    not draw, a drift over temperature that nobody measured: errors may then be smaller than U says,
    and only larger ones tell against it.
    """

    chi2: float
    dof: int
    drawn: bool = True

    @property
    def chance(self) -> float:
        """Probability of a chi-square at least as large."""
        return float(special.chdtrc(self.dof, self.chi2)) if self.dof else 0.0

    @property
    def holds(self) -> bool:
        """Whether results and truth differ by no more, and where all was drawn no less, than
        stated."""
        return self.dof > 0 and self._tail <= self.chance and not (self.drawn and self._is_small)

    @property
    def _tail(self) -> float:
        return (1.0 - BAND) / 2.0

    @property
    def _is_small(self) -> bool:
        return self.chance > 1.0 - self._tail

    @property
    def verdict(self) -> str:
        """In words."""
        how = "agree within" if self.holds else "DISAGREE beyond"
        if self.dof > 0 and self._is_small:
            how = "lie far closer together than" if self.holds else "DISAGREE: closer together than"
        return (
            f"chi-square {self.chi2:.1f} at {self.dof} degrees of freedom, correlations kept "
            f"(probability {self.chance:.3f}): results and truth {how} the stated uncertainties"
        )


def agreement(
    readings: Iterable[Reading], parts: Mapping[Mark, Measured], truth: Truth, *, drawn: bool = True
) -> Agreement:
    """Hold what a job wrote down in one state of the vehicle against the truth of that state.

    Judged are the job's own figures and U; only the correlations are taken from ``parts``. As
    found and as left are held apart: a wheel that was not moved between has settled once, yet its
    two results count that as two chances.
    """
    there = [(r, t) for r, t in _beside(readings, truth) if (r.topic, r.at) in parts]
    if not there:
        return Agreement(0.0, 0, drawn)
    measured = [parts[r.topic, r.at] for r, _ in there]
    u = np.array([r.u for r, _ in there])
    errors = np.array([r.value - true for r, true in there]) / u
    scale = np.array([each.u for each in measured])
    values, vectors = np.linalg.eigh(covariance(measured) / np.outer(scale, scale))
    told = values > NOTHING_NEW
    z = (vectors.T @ errors)[told] / np.sqrt(values[told])
    return Agreement(float(z @ z), int(told.sum()), drawn)


def _beside(readings: Iterable[Reading], truth: Truth) -> Iterable[tuple[Reading, float]]:
    """Pair readings with what is true; what is so by definition has no U and is left out."""
    return ((r, truth[r.topic]) for r in readings if r.topic in truth and r.u > 0.0)
