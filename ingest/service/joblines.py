"""A result of the job as found and as left, in the units of the wire."""

from typing import Any

from ingest.job.course.readings import Reading
from ingest.report.figures import Line, in_print, printed
from ingest.service.verdicts import in_unit


def line_of(line: Line) -> dict[str, Any]:
    """Return the fields of ``JobLine`` for a result."""
    shown = line.found or line.last
    assert shown is not None
    _, unit = in_print(shown.angular)
    limit = (line.last or shown).limit
    return {
        "topic": line.topic,
        "unit": unit.value,
        **_fields("found", line.found),
        **_fields("left", line.last),
        "lo": None if limit is None else in_unit(limit.low, angular=shown.angular),
        "hi": None if limit is None else in_unit(limit.high, angular=shown.angular),
        "untouched": line.untouched,
        "stale": line.stale,
    }


def _fields(name: str, reading: Reading | None) -> dict[str, Any]:
    if reading is None:
        return {}
    told = printed(reading)
    return {
        name: told.value,
        f"{name}_U": told.U,
        f"{name}_k": told.k,
        f"{name}_dp": told.dp,
        f"{name}_dec": reading.decision,
    }
