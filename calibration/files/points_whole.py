"""Whether verification points are whole: every point up and down, as often as the others."""

from collections.abc import Iterator, Sequence
from decimal import Decimal
from itertools import pairwise

from calibration.errors import CalibrationFileError
from calibration.files.points import FACINGS, Reading

FEWEST_REPEATS = 2
"""One reading of each point tells nothing of its scatter."""

Key = tuple[str, Decimal, str, str]


def check_whole(where: str, readings: Sequence[Reading]) -> None:
    """See to it that readings make a verification.

    Raises:
        CalibrationFileError: a point is there twice or not as often as the others, was read
            from one side only or out of order, or a repeat was made on another stack.
    """
    for fault in (*_doubled(readings), *_disordered(readings)):
        raise CalibrationFileError(where, fault)
    points: dict[Key, list[Reading]] = {}
    for reading in readings:
        points.setdefault(reading.point, []).append(reading)
    for fault in (*_one_sided(points), *_unequal(points), *_other_stacks(points)):
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


def _told(point: Key) -> str:
    channel, nominal, direction, facing = point
    return f"{channel} {nominal}° {direction}{'' if facing == FACINGS[0] else f' {facing}'}"
