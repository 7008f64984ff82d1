"""``check.csv``: the short check on the bar before a shift (columns in FILES.md)."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from calibration.files.table import STILL_DEG, Row, read_rows

NEEDED = ("row", "turned", "head", "incl_y_deg", "incl_x_deg", "azimuth_deg")
STEMS = {
    "incl_x": "incl_x_deg",
    "incl_y": "incl_y_deg",
    "incl_z": "incl_z_deg",
    "azimuth": "azimuth_deg",
    "temperature": "temperature_degc",
}
RAW = {
    "incl_y": "incl_y_deg",
    "incl_x": "incl_x_deg",
    "incl_z": "incl_z_deg",
    "azimuth_cross": "azimuth_deg",
}


@dataclass(frozen=True, slots=True)
class CheckReading:
    """One head's raw readings in one attitude, rad; channels by name, temperature in degC.

    ``head``: ``A`` on the bar's end 1, ``B`` on end 2. ``turned``: the bar end for end.
    """

    row: int
    head: str
    turned: bool
    raw_rad: Mapping[str, float]
    temperature_degc: float = math.nan


@dataclass(frozen=True, slots=True)
class CheckRows:
    """All readings of one file; ``taken``: when the first and the last were, where it tells."""

    where: str
    readings: tuple[CheckReading, ...]
    taken: tuple[datetime, datetime] | None = None


def parse_check_rows(text: str, where: str) -> CheckRows:
    """Read raw readings on the bar.

    Raises:
        CalibrationFileError: naming the row and what is wrong with it.
    """
    rows = read_rows(text, where, NEEDED, STEMS)
    moments = [moment for row in rows if (moment := row.moment("time")) is not None]
    taken = (min(moments), max(moments)) if moments else None
    return CheckRows(where, tuple(map(_reading, rows)), taken)


def _reading(row: Row) -> CheckReading:
    row.see_still(STILL_DEG)
    degc = row.value("temperature_degc") if row.has("temperature_degc") else math.nan
    raw = {
        channel: math.radians(row.value(column))
        for channel, column in RAW.items()
        if column in NEEDED or row.has(column)
    }
    head, turned = row.word("head", ("A", "B")), row.word("turned", ("0", "1")) == "1"
    return CheckReading(row.number, head, turned, raw, degc)
