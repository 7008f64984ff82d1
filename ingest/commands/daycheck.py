"""Work that is dated after today was not done yet: its date, or this machine's clock, is wrong."""

from collections.abc import Iterable
from datetime import UTC, date, datetime

from calibration.dates import ahead
from calibration.files.table import Row
from ingest.core.errors import InputError


def see_no_day_ahead(where: str, what: str, day: date) -> None:
    """Raise ``InputError`` where a day that a file states is yet to come."""
    told = ahead(day, datetime.now(UTC).date())
    if told is not None:
        raise InputError(where, None, f"{what} {told}")


def see_no_row_ahead(rows: Iterable[Row]) -> None:
    """Raise the fault of the first row whose ``time`` is yet to come."""
    today = datetime.now(UTC).date()
    for row in rows:
        moment = row.moment("time")
        told = None if moment is None else ahead(moment.astimezone(UTC).date(), today)
        if told is not None:
            raise row.fault(f"time {told}")
