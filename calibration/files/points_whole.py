"""Whether verification points are whole: every point up and down, as often as the others."""

import math
from collections.abc import Iterator, Sequence
from decimal import Decimal
from itertools import pairwise
from statistics import median

from calibration.errors import CalibrationFileError
from calibration.files.points import FACINGS, TILT, Reading

FEWEST_REPEATS = 2
"""One reading of each point tells nothing of its scatter."""
FAR_DEG = 2.0
FAR_SHARE = 0.25
FAR_TURNED_DEG = 10.0
"""A raw reading is off the others by no more than ``FAR_DEG`` and this share of the angle in an
inclinometer, ``FAR_TURNED_DEG`` in an encoder, where sensors are in working order (our own choice).
"""

Key = tuple[str, Decimal, str, str]


def check_whole(where: str, readings: Sequence[Reading]) -> None:
    """See to it that readings make a verification.

    Raises:
        CalibrationFileError: a point is there twice or not as often as the others, was read
            from one side only or out of order, a repeat was made on another stack, or a reading
            is nowhere near its angle.
    """
    for fault in (*_doubled(readings), *_disordered(readings)):
        raise CalibrationFileError(where, fault)
    points: dict[Key, list[Reading]] = {}
    for reading in readings:
        points.setdefault(reading.point, []).append(reading)
    more = (*_one_sided(points), *_unequal(points), *_other_stacks(points), *_far_off(readings))
    for fault in more:
        raise CalibrationFileError(where, fault)


def _doubled(readings: Sequence[Reading]) -> Iterator[str]:
    seen: dict[tuple[Key, int], int] = {}
    for r in readings:
        first = seen.setdefault((r.point, r.repeat), r.row)
        if first != r.row:
            yield f"row {r.row} doubles row {first}: {_told(r.point)} repeat {r.repeat}; keep one"


def _disordered(readings: Sequence[Reading]) -> Iterator[str]:
    """A series up that goes down in between shows nothing of the hysteresis."""
    series: dict[tuple[str, str, int], list[Reading]] = {}
    for r in readings:
        series.setdefault((r.channel, r.direction, r.repeat), []).append(r)
    for (_, direction, _), rows in series.items():
        for before, after in pairwise(rows):
            rises = after.nominal_deg - before.nominal_deg
            if rises and (rises > 0) != (direction == "up"):
                yield (
                    f"row {after.row} is marked {direction}, and {after.nominal_deg}° comes after "
                    f"{before.nominal_deg}° of row {before.row}; correct the direction"
                )


def _one_sided(points: dict[Key, list[Reading]]) -> Iterator[str]:
    for channel, nominal, direction, facing in points:
        other = "down" if direction == "up" else "up"
        if facing == FACINGS[0] and (channel, nominal, other, facing) not in points:
            told = _told((channel, nominal, direction, facing))
            yield f"{told} has no reading {other}; approach every angle from both sides"
        if facing != FACINGS[0] and (channel, nominal, direction, FACINGS[0]) not in points:
            told = _told((channel, nominal, direction, facing))
            yield f"{told} has no reading {FACINGS[0]}; a reversal needs both"


def _unequal(points: dict[Key, list[Reading]]) -> Iterator[str]:
    most = {key[0]: 0 for key in points}
    for key, rows in points.items():
        most[key[0]] = max(most[key[0]], *(r.repeat for r in rows))
    for key, rows in points.items():
        wanted = max(FEWEST_REPEATS, most[key[0]])
        missing = sorted(set(range(1, wanted + 1)) - {r.repeat for r in rows})
        if missing:
            yield f"{_told(key)} lacks repeat {missing[0]} of {wanted}; read it"


def _other_stacks(points: dict[Key, list[Reading]]) -> Iterator[str]:
    for rows in points.values():
        for r in rows:
            if (r.height_mm, r.blocks_mm) != (rows[0].height_mm, rows[0].blocks_mm):
                yield (
                    f"row {r.row} repeats row {rows[0].row} on another stack; "
                    "use the same blocks for every repeat"
                )


def _far_off(readings: Sequence[Reading]) -> Iterator[str]:
    """What reads nowhere near its angle is in another unit, or of another row."""
    for channel in dict.fromkeys(r.channel for r in readings):
        rows = [r for r in readings if r.channel == channel]
        off = [math.degrees(r.raw_rad[channel]) - float(r.nominal_deg) for r in rows]
        off = [off[0] + math.remainder(each - off[0], 360.0) for each in off]
        middle, tilt = median(off), channel in TILT
        for r, each in zip(rows, off, strict=True):
            nominal = abs(float(r.nominal_deg))
            if abs(each - middle) > (FAR_DEG + FAR_SHARE * nominal if tilt else FAR_TURNED_DEG):
                column = f"{channel}_deg" if tilt else "raw_deg"
                yield (
                    f"row {r.row}: {column} {math.degrees(r.raw_rad[channel]):g} at nominal_deg "
                    f"{r.nominal_deg} is {each - middle:+.1f} deg off the others; look for a wrong "
                    "value or sign in it, or for radians (_deg is degrees)"
                )


def _told(point: Key) -> str:
    channel, nominal, direction, facing = point
    return f"{channel} {nominal}° {direction}{'' if facing == FACINGS[0] else f' {facing}'}"
