"""What camber, caster and SAI are told against: the bay's standing points, or gravity alone."""

from collections.abc import Sequence
from datetime import date

from calibration.errors import ReferenceRefused
from calibration.measured import Measured
from ingest.core.frames import Side
from ingest.geometry.level.plane import Referred, to_plane
from ingest.job.course.events import LevelTaken
from ingest.payload.base import Quality
from ingest.payload.level_file import LevelFile

GRAVITY = "gravity"
OVERDUE = "level-overdue"
ALERT = "level"
UNSURVEYED = "none: camber and caster are told against gravity alone, however the bay stands"


class Ground:
    """The survey of a bay's standing points, or none.

    What the survey leaves open is one error, common to all results of the bay.
    """

    def __init__(self, level: LevelFile | None) -> None:
        """Take a survey. Raises ``MeasurementRefused`` where it determines no plane."""
        self._level = level
        self._plane = None if level is None else level.plane()

    @property
    def name(self) -> str:
        """What results say that they are told against."""
        return GRAVITY if self._level is None else self._level.name

    @property
    def told(self) -> str:
        """The same in words, for the bay's description."""
        if self._level is None:
            return UNSURVEYED
        return f"{self._level.name}, valid to {self._level.due.isoformat()}"

    def objection(self, today: date) -> str | None:
        """Say in words why nothing may stand on the survey today; None where it may."""
        if self._level is None:
            return None
        try:
            self._level.refuse_overdue(today)
        except ReferenceRefused as refused:
            return str(refused)
        return None

    def trust(self, today: date) -> tuple[Quality, str]:
        """Return ``q`` and ``why`` of what the survey's age makes of results."""
        return ("good", "") if self.objection(today) is None else ("uncertain", OVERDUE)

    def taken(self, today: date) -> LevelTaken:
        """Return what a job stands on."""
        if self._level is None:
            return LevelTaken("", None, None, UNSURVEYED)
        age = (today - self._level.measured).days
        return LevelTaken(self._level.name, float(age), None, self.objection(today) or "")

    def camber(self, side: Side, camber: Measured) -> Measured:
        """Return a camber to gravity as the standing points see it, rad."""
        return self.steering(side, Measured.exact(0.0), camber, None).camber

    def steering(
        self, side: Side, caster: Measured, camber: Measured, sai: Measured | None
    ) -> Referred:
        """Return angles to gravity as the standing points see them, rad."""
        if self._plane is None:
            return Referred(caster, camber, sai, None if sai is None else sai + camber)
        return to_plane(side, caster, camber, sai, self._plane)


def worst(trusts: Sequence[tuple[Quality, str]]) -> tuple[Quality, str]:
    """Return the first that says less than good; good where none does."""
    return next((trust for trust in trusts if trust[0] != "good"), ("good", ""))
