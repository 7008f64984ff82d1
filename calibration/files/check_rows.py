"""``check.csv``: the short check on the bar before a shift (columns in FILES.md)."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

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


def parse_check_rows(text: str, where: str) -> tuple[CheckReading, ...]:
    """Read a check's raw readings.

    Raises:
        CalibrationFileError: naming the row and what is wrong with it.
    """
    return tuple(_reading(row) for row in read_rows(text, where, NEEDED, STEMS))


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
