"""``study.csv``: settled results of a bay's study, a row each (columns in FILES.md)."""

from collections.abc import Iterator

from calibration.files.table import Row, read_rows
from calibration.study import StudyReading

NEEDED = ("row", "technician", "axle", "side", "mounting", "settling")
VALUES = {"camber_deg": "camber", "total_toe_deg": "total-toe"}
STEMS = {"camber": "camber_deg", "total_toe": "total_toe_deg", "toe": "total_toe_deg"}
SIDES = ("left", "right", "both")
STEEPEST_DEG = 90.0
LONGEST_NAME = 60


def parse_study_rows(text: str, where: str) -> tuple[StudyReading, ...]:
    """Read the results of a study; a row gives one for each of its filled quantities.

    Raises:
        CalibrationFileError: naming the row and what is wrong with it.
    """
    rows = read_rows(text, where, NEEDED, STEMS)
    return tuple(reading for row in rows for reading in _readings(row))


def _readings(row: Row) -> Iterator[StudyReading]:
    side, technician = row.word("side", SIDES), row.text("technician")
    if not technician or len(technician) > LONGEST_NAME:
        raise row.fault(f"technician is needed, a name of up to {LONGEST_NAME} letters")
    axle = f"axle {row.count('axle')}"
    wheel = axle if side == "both" else f"{axle} {side}"
    filled = [column for column in VALUES if row.has(column)]
    if not filled:
        raise row.fault(f"neither {' nor '.join(VALUES)}; give one")
    for column in filled:
        if (column == "camber_deg") == (side == "both"):
            raise row.fault(f"{column} with side {side}; camber is of a side, total toe of both")
        yield StudyReading(
            row.number,
            technician,
            wheel,
            row.count("mounting"),
            row.count("settling"),
            VALUES[column],
            row.angle(column, STEEPEST_DEG),
        )
