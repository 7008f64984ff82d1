"""The level file: how the standing points of a bay were read, and how long that holds.

It holds the readings and no results: whoever uses it works them out anew, so that nothing derived
can be altered or grow old apart from what it was derived from. Its keys are described in
``ingest/geometry/level/FILES.md``.
"""

import datetime
import math
from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from calibration.errors import CalibrationFileError, ReferenceRefused
from calibration.faults import WrongAt
from calibration.records.canonical import parse
from ingest.geometry.level.heights import BarLaid, Heights, Point, Staff, adjust_heights
from ingest.geometry.level.plane import StandingPlane, plane_through
from ingest.payload.correction_faults import fault_of

FORMAT = "levelhead-level"
MM = 1e-3
FURTHEST_M = 60.0
"""No bay is longer; a larger number is in mm."""
MOST_SET_UPS = 100
SHORTEST_BAR_M = 0.05
"""Nothing shorter bridges two standing points, and its slope would be noise."""
Word = Annotated[str, Field(min_length=1, max_length=80, pattern=r"^[^\x00-\x1f]+$")]
Id = Annotated[str, Field(pattern=r"^[A-Za-z0-9_.-]{1,36}$")]
Finite = Annotated[float, Field(allow_inf_nan=False)]
Metres = Annotated[Finite, Field(ge=-FURTHEST_M, le=FURTHEST_M)]
SmallAngle = Annotated[Finite, Field(gt=-10.0, lt=10.0)]
Positive = Annotated[Finite, Field(gt=0.0)]


class _Model(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class PointEntry(_Model):
    """A standing point; ``plate_mm`` where the floor was read and a plate comes on it."""

    id: Id
    x_m: Metres
    y_m: Metres
    plate_mm: Annotated[Finite, Field(ge=0.0, le=500.0)] | None = None


class StaffEntry(_Model):
    """A staff read through a level that stood at ``set_up``."""

    set_up: Id
    point: Id
    reading_mm: Annotated[Finite, Field(ge=-10000.0, le=10000.0)]
    sigma_mm: Annotated[Positive, Field(le=50.0)]


class BarEntry(_Model):
    """A head on a bar, both ways round. The keys of the model say it; see ``BarLaid``."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)

    start: Id = Field(alias="from")
    end: Id = Field(alias="to")
    reading_deg: SmallAngle
    turned_deg: SmallAngle
    sigma_deg: Annotated[Positive, Field(le=1.0)]


class LevelFile(_Model):
    """A survey of a bay's standing points."""

    format: Literal["levelhead-level"]
    version: Literal[1]
    bay: Annotated[str, Field(pattern=r"^[a-z0-9_-]{1,32}$")]
    measured: datetime.date
    valid_days: Annotated[int, Field(ge=1, le=3660)]
    by: Word
    instrument: Word
    surface: Literal["plates", "floor"]
    points: Annotated[tuple[PointEntry, ...], Field(min_length=3, max_length=200)]
    staff: Annotated[tuple[StaffEntry, ...], Field(max_length=2000)] = ()
    bar: Annotated[tuple[BarEntry, ...], Field(max_length=2000)] = ()

    @model_validator(mode="after")
    def _check(self) -> Self:
        ids = [point.id for point in self.points]
        for one in ids:
            if ids.count(one) > 1:
                raise WrongAt("points", f"point {one} is there twice; give each its own id")
        staffs = [("staff", s.point) for s in self.staff]
        named = staffs + [("bar", p) for b in self.bar for p in (b.start, b.end)]
        for key, one in named:
            if one not in ids:
                raise WrongAt(key, f"names point {one}, which is not among the points")
        if (count := len({s.set_up for s in self.staff})) > MOST_SET_UPS:
            why = f"{count} set-ups of the level, limit {MOST_SET_UPS}"
            raise WrongAt("staff", f"{why}; give readings from one place one name")
        self._check_bars()
        if not named:
            raise WrongAt("staff", "no readings; give staff, bar or both")
        self._check_plates()
        return self

    def _check_bars(self) -> None:
        place = {point.id: (point.x_m, point.y_m) for point in self.points}
        for i, bar in enumerate(self.bar):
            if bar.start == bar.end:
                why = f"the bar lies from {bar.start} to itself; name the other end"
                raise WrongAt(f"bar.{i}", why)
            if math.dist(place[bar.start], place[bar.end]) < SHORTEST_BAR_M:
                ends = f"{bar.start} to {bar.end}, which stand at one place"
                raise WrongAt(f"bar.{i}", f"the bar lies from {ends}; correct x_m, y_m")

    def _check_plates(self) -> None:
        for i, point in enumerate(self.points):
            key = f"points.{i}.plate_mm"
            if self.surface == "floor" and point.plate_mm is None:
                why = f"point {point.id} was read on the floor: say how high its plate stands"
                raise WrongAt(key, f"{why} (0 for none)")
            if self.surface == "plates" and point.plate_mm is not None:
                why = f"point {point.id} was read on its plate, and this would count it twice"
                raise WrongAt(key, f"{why}; leave it out")

    @property
    def name(self) -> str:
        """What results say that they stand on."""
        return f"level of {self.bay} {self.measured.isoformat()}"

    @property
    def due(self) -> datetime.date:
        """The last day on which the survey holds."""
        return self.measured + datetime.timedelta(days=self.valid_days)

    def refuse_overdue(self, today: datetime.date) -> None:
        """Raise ``ReferenceRefused`` where the survey no longer holds, or is yet to come."""
        if today > self.due:
            raise ReferenceRefused(
                self.name,
                f"was due on {self.due.isoformat()}, {(today - self.due).days} days ago",
                "read the empty bay again",
            )
        if today < self.measured:
            why = f"is dated {self.measured.isoformat()}, after {today.isoformat()}"
            remedy = "the file's date is wrong, or this machine's clock: check the date of the file"
            raise ReferenceRefused(self.name, why, f"{remedy} and the clock")

    def heights(self) -> Heights:
        """Return the adjusted heights. Raises ``MeasurementRefused``."""
        points = [Point(p.id, p.x_m, p.y_m, (p.plate_mm or 0.0) * MM) for p in self.points]
        staffs = [Staff(s.set_up, s.point, s.reading_mm * MM, s.sigma_mm * MM) for s in self.staff]
        bars = [
            BarLaid(
                b.start,
                b.end,
                math.radians(b.reading_deg),
                math.radians(b.turned_deg),
                math.radians(b.sigma_deg),
            )
            for b in self.bar
        ]
        return adjust_heights(points, staffs, bars)

    def plane(self) -> StandingPlane:
        """Return the plane through the standing points. Raises ``MeasurementRefused``."""
        return plane_through(self.heights(), self.name)


def load_level(text: str, where: str) -> LevelFile:
    """Read a level file; ``where`` names it in messages.

    Raises:
        CalibrationFileError: it is no JSON object, or none of a level.
        ConfigError: a key is missing, unknown, or has a value that cannot be.
    """
    raw = parse(text, where)
    if raw.get("format") != FORMAT or raw.get("version") != 1:
        raise CalibrationFileError(where, f"not a {FORMAT} file of version 1")
    try:
        return LevelFile.model_validate_json(text.encode(), strict=True)
    except ValidationError as error:
        raise fault_of(where, error, raw, LevelFile) from error
