"""From when to when a head's results are in doubt, by its checks and its calibrations."""

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from calibration.records.record import CalibrationRecord
from calibration.records.text import AnyRecord
from ingest.store.checks import PastCheck

FAILED = ("fail", "conditional-fail")
DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Event:
    """Something that showed a head to be good, or not to be. A calibration lasts whole days."""

    begins_ms: int
    ends_ms: int
    good: bool
    what: str


@dataclass(frozen=True, slots=True)
class Span:
    """A time, its ends included, ms UTC since 1970, with what it begins and ends with."""

    since_ms: int
    until_ms: int
    since: str
    until: str


def span_of_doubt(
    checks: Collection[PastCheck], records: Collection[AnyRecord], now_ms: int
) -> Span:
    """Return the time in which nobody can say that the head was good.

    It begins with the last good check or calibration before the newest bad one, and ends with
    the next good one, or now. Where nothing bad is known it begins with the last good one. A
    check that could not decide counts for neither; a calibration counts as bad where the head
    failed as it was found, and as good as it was left. Days of a calibration are counted in; of
    two bad things on one day a check counts as the newer, and a calibration of its day does not
    end what it began: whether it came after, the day does not say.
    """
    events = sorted((*_checked(checks), *_calibrated(records)), key=lambda e: e.ends_ms)
    good = [event for event in events if event.good]
    bad = max((e for e in events if not e.good), key=lambda e: e.begins_ms, default=None)
    before: list[Event] = good
    after: list[Event] = []
    if bad is not None:
        # What is good on the day of a bad calibration cannot be said to be before it or after.
        before = [event for event in good if event.ends_ms < bad.begins_ms]
        instant = bad.begins_ms == bad.ends_ms
        after = [
            event
            for event in good
            if (event.begins_ms > bad.ends_ms if instant else event.ends_ms >= bad.ends_ms)
        ]
    since = before[-1] if before else Event(0, 0, True, "no good check or calibration is known")
    until = after[0] if after else Event(now_ms, now_ms, True, "now")
    return Span(since.begins_ms, until.ends_ms, since.what, until.what)


def _checked(checks: Collection[PastCheck]) -> Iterator[Event]:
    for check in checks:
        if check.decision in ("inside", "outside"):
            at, good = check.performed_ms, check.decision == "inside"
            yield Event(at, at, good, f"the check on {check.bar}, {check.decision}")


def _calibrated(records: Collection[AnyRecord]) -> Iterator[Event]:
    for record in records:
        found = record.as_found if isinstance(record, CalibrationRecord) else None
        if found is not None and any(v.decision in FAILED for v in found.verdicts):
            what = f"{record.record_id}, out of limits as found"
            yield _days(found.performed, found.performed, good=False, what=what)
        yield _days(record.issued, record.issued, good=True, what=f"{record.record_id}, issued")


def _days(first: date, last: date, *, good: bool, what: str) -> Event:
    begin = datetime(first.year, first.month, first.day, tzinfo=UTC)
    end = datetime(last.year, last.month, last.day, tzinfo=UTC) + DAY
    return Event(_ms(begin), _ms(end) - 1, good, f"{what} on {last}")


def _ms(moment: datetime) -> int:
    return round(moment.timestamp() * 1000)
