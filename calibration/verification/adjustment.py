"""An adjustment: which coefficients a run is judged with, and what is asked of the run after it."""

from calibration.errors import BadBenchData
from calibration.records.parts import Coefficients
from calibration.records.record import CalibrationRecord
from calibration.records.results import Point
from calibration.verification.errors_at_points import PointError
from calibration.verification.run import Verification

UNCHANGED = "Nothing was adjusted: as left is as found."


def coefficients_at(record: CalibrationRecord, when: str) -> Coefficients | None:
    """Return what was in force ``found`` or ``left``; None for a head that had nothing.

    Raises:
        BadBenchData: as left is asked for, and nothing was adjusted.
    """
    if when == "found":
        return record.coefficients_before if record.adjusted else record.coefficients
    if not record.adjusted:
        remedy = "verify as found; calibrate first where the head has to be adjusted"
        raise BadBenchData("as left", "nothing was adjusted, so as found stands", remedy)
    return record.coefficients


def same_points(record: CalibrationRecord, left: Verification) -> None:
    """See to it that a run as left repeats the points as found, in their order.

    Raises:
        BadBenchData: it does not; the first point that differs is named.
    """
    if record.as_found is None:
        return
    found = [_place(p) for p in record.as_found.points]
    now = [_told(c.channel, p) for c in left.channels for p in c.points]
    for position, (one, other) in enumerate(zip(found, now, strict=False), 1):
        if one != other:
            why = f"point {position} is {other}, and as found it is {one}"
            raise BadBenchData("as left", why, "repeat the points as found, in their order")
    if len(found) != len(now):
        extra = "lacks" if len(found) > len(now) else "adds"
        first = (found if len(found) > len(now) else now)[min(len(found), len(now))]
        raise BadBenchData("as left", f"it {extra} {first}", "repeat the points as found")


def _place(point: Point) -> str:
    return f"{point.channel} {point.nominal}° {point.direction}, {point.repeats} readings"


def _told(channel: str, point: PointError) -> str:
    return f"{channel} {point.at}, {point.repeats} readings"
