"""An adjustment: its signed step, which coefficients a run is judged with, and the run after it."""

from datetime import UTC, datetime

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from calibration.errors import BadBenchData
from calibration.records.adjustment import adjustment_of, holds
from calibration.records.grown import grown
from calibration.records.papers import RawFile
from calibration.records.parts import Coefficients
from calibration.records.record import CalibrationRecord
from calibration.records.results import Point
from calibration.verification.errors_at_points import PointError
from calibration.verification.run import Verification

UNCHANGED = "Nothing was adjusted: as left is as found."
ANEW = "measure the points again, after the adjustment"
Taken = tuple[datetime, datetime] | None
"""When the first and the last reading of a file were taken."""


def adjusted(
    draft: CalibrationRecord, key: Ed25519PrivateKey, at: datetime, by: str
) -> CalibrationRecord:
    """Return the draft with its new coefficients put in force, as a step signed on its own.

    Raises:
        BadBenchData: there is nothing to adjust, it was done already, or nobody says who does it.
    """
    name = f"record {draft.record_id}"
    if draft.signatures:
        raise BadBenchData(name, "is signed and cannot change", "begin a new draft")
    if not draft.adjusted:
        raise BadBenchData(name, "has no new coefficients", "calibrate the head first")
    if draft.coefficients_before is not None and draft.as_found is None:
        why = "was not verified as found, which cannot be made up for later"
        remedy = "verify as found first, or say in deviations why not"
        if draft.deviations.strip().casefold() in ("", "none"):
            raise BadBenchData(name, why, remedy)
    step = draft.adjustment
    if step is not None and holds(draft):
        raise BadBenchData(name, f"was adjusted at {step.at} by {step.by}", "verify as left")
    if not by.strip():
        raise BadBenchData(name, "does not say who adjusts", "name who does")
    moment = moment_text(at)
    lifted = grown(draft, performed=[at.astimezone(UTC).date()])
    return grown(lifted, adjustment=adjustment_of(lifted, key, moment, by))


def coefficients_at(record: CalibrationRecord, when: str) -> Coefficients | None:
    """Return what was in force ``found`` or ``left``; None for a head that had nothing.

    Raises:
        BadBenchData: as left is asked for, and nothing was adjusted, or nobody signed for it.
    """
    if when == "found":
        return record.coefficients_before if record.adjusted else record.coefficients
    if not record.adjusted:
        remedy = "verify as found; calibrate first where the head has to be adjusted"
        raise BadBenchData("as left", "nothing was adjusted, so as found stands", remedy)
    if record.adjustment is None:
        why = "the adjustment is not signed yet, and as left is what comes after it"
        raise BadBenchData("as left", why, "levelhead record adjust signs it")
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


def measured_apart(
    record: CalibrationRecord, when: str, raw: RawFile, where: str, taken: Taken
) -> None:
    """See to it that as found and as left are two measurements (ISO/IEC 17025:2017, 7.8.4.1 d),
    and that neither is the one that the coefficients were fitted to.

    Raises:
        BadBenchData: the readings are those of the record's other run or of a fit, or were taken
            while those of the other run were.
    """
    other = "found" if when == "left" else "left"
    for file in record.raw:
        if file.sha256 == raw.sha256 and file.what != raw.what:
            again = file.what.endswith(f"as {other}")
            why = f"this file is the one of the {file.what}, whatever it is called"
            fitted = f"this file is {file.what}, which the coefficients were fitted to"
            remedy = ANEW if again else "readings verify what they were not fitted to: take others"
            raise BadBenchData(f"{where}: as {when}", why if again else fitted, remedy)
    run = record.as_found if other == "found" else record.as_left
    if run is None or taken is None or run.taken_from is None or run.taken_to is None:
        return
    first, last = map(moment_text, taken)
    # A file may say whole seconds: one run may end in the second in which the next begins.
    if first < run.taken_to and run.taken_from < last:
        why = f"taken from {first} to {last}, and as {other} from {run.taken_from} to "
        raise BadBenchData(f"{where}: as {when}", f"{why}{run.taken_to}", ANEW)


def moment_text(moment: datetime) -> str:
    """Return a moment as a record writes it: UTC, whole seconds."""
    return f"{moment.astimezone(UTC).replace(tzinfo=None).isoformat(timespec='seconds')}Z"


def _place(point: Point) -> str:
    return f"{point.channel} {point.nominal}° {point.direction}, {point.repeats} readings"


def _told(channel: str, point: PointError) -> str:
    return f"{channel} {point.at}, {point.repeats} readings"
