"""Reading ``found.csv`` and ``left.csv``. Columns are documented in FILES.md."""

import math
from decimal import Decimal, InvalidOperation

from calibration.files.points import (
    CHANNELS,
    DIRECTIONS,
    FACINGS,
    TILT,
    Points,
    Reading,
)
from calibration.files.points_whole import check_whole
from calibration.files.table import STILL_DEG, Row, read_rows

NEEDED = ("row", "channel", "nominal_deg", "direction", "repeat")
AXES = ("incl_x", "incl_y", "incl_z")
STEMS = {
    "nominal": "nominal_deg",
    "height": "height_mm",
    "blocks": "blocks_mm",
    "reference": "reference_deg",
    "raw": "raw_deg",
    "incl_x": "incl_x_deg",
    "incl_y": "incl_y_deg",
    "incl_z": "incl_z_deg",
    "temperature": "temperature_degc",
    "spread": "spread_deg",
}
"""Quantities with the only column that is read; in another unit they are refused."""

RIGHT_ANGLE_DEG = 90.0
MOST_TURNS_DEG = 1e6
MOST_DECIMALS = 9


def parse_points(text: str, where: str, head_id: str, still_deg: float = STILL_DEG) -> Points:
    """Read verification points of one head.

    Raises:
        CalibrationFileError: naming the row, what is wrong with it and what to do: a missing or
            doubled row or point, a reading of another head, one that moved, a unit that is not
            read, a series up that was not repeated down.
    """
    rows = read_rows(text, where, NEEDED, STEMS)
    readings = tuple(_reading(row, head_id, still_deg) for row in rows)
    check_whole(where, readings)
    moments = [moment for row in rows if (moment := row.moment("time")) is not None]
    days = [moment.date() for moment in moments]
    taken = (min(moments), max(moments)) if moments else None
    return Points(where, readings, max(days) if days else None, taken)


def _reading(row: Row, head_id: str, still_deg: float) -> Reading:
    _check_head(row, head_id)
    row.see_still(still_deg)
    channel = row.word("channel", CHANNELS)
    facing = row.word("facing", FACINGS) if row.has("facing") else FACINGS[0]
    height, angle = _known_angle(row)
    return Reading(
        row=row.number,
        channel=channel,
        nominal_deg=_nominal(row, channel),
        direction=row.word("direction", DIRECTIONS),
        repeat=row.count("repeat"),
        facing=facing,
        height_mm=height,
        blocks_mm=_blocks(row, height),
        reference_deg=angle,
        reference_id=row.text("reference_id") or None,
        raw_rad=_raw(row, channel),
        temperature_degc=row.value("temperature_degc") if row.has("temperature_degc") else math.nan,
    )


def _nominal(row: Row, channel: str) -> Decimal:
    """Return the nominal angle with its digits; a zero has no sign."""
    nominal = row.decimal("nominal_deg")
    limit = RIGHT_ANGLE_DEG if channel in TILT else MOST_TURNS_DEG
    if abs(nominal) > limit or nominal != round(nominal, MOST_DECIMALS):
        reason = f"no more than {limit:g} degrees and {MOST_DECIMALS} decimals are read"
        raise row.fault(f"nominal_deg is {row.text('nominal_deg')}; {reason}")
    return abs(nominal) if nominal == 0 else nominal


def _check_head(row: Row, head_id: str) -> None:
    if row.has("head") and row.text("head") != head_id:
        raise row.fault(f"is of head {row.text('head')}, and this record is of head {head_id}")


def _known_angle(row: Row) -> tuple[float | None, float | None]:
    """Return the height of the stack or the angle that the reference says: one of the two."""
    stacked, told = row.has("height_mm"), row.has("reference_deg")
    if stacked == told:
        both = "both" if stacked else "neither"
        raise row.fault(f"has {both} of height_mm and reference_deg; give one")
    if told:
        return None, row.value("reference_deg")
    height = row.value("height_mm")
    if height < 0:
        raise row.fault("height_mm is below 0; the sign belongs to nominal_deg")
    if (height == 0) != (row.decimal("nominal_deg") == 0):
        raise row.fault(f"a stack of {height:g} mm does not make {row.text('nominal_deg')}°")
    return height, None


def _blocks(row: Row, height_mm: float | None) -> tuple[Decimal, ...]:
    """Return the blocks of a stack, such as ``10+7.43``; they must add up to its height."""
    if not row.has("blocks_mm"):
        return ()
    try:
        blocks = tuple(Decimal(part.strip()) for part in row.text("blocks_mm").split("+"))
    except InvalidOperation:
        raise row.fault("blocks_mm is no sum of blocks such as 10+7.43") from None
    if height_mm is None or sum(blocks) != row.decimal("height_mm"):
        raise row.fault(f"blocks_mm do not add up to height_mm {row.text('height_mm')}")
    return blocks


def _raw(row: Row, channel: str) -> dict[str, float]:
    """Return the raw readings in radians: the channel's own, and the other tilt axes'."""
    if channel not in TILT:
        return {channel: math.radians(row.angle("raw_deg", MOST_TURNS_DEG))}
    needed = [f"{axis}_deg" for axis in TILT]
    for column in needed:
        if not row.has(column):
            raise row.fault(f"{column} is empty; an inclinometer's row has {' and '.join(needed)}")
    seen = [axis for axis in AXES if row.has(f"{axis}_deg")]
    return {axis: math.radians(row.angle(f"{axis}_deg", RIGHT_ANGLE_DEG)) for axis in seen}
