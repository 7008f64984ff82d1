"""The bar of a short check: one that somebody knows, and how long it is."""

import math
from collections.abc import Collection
from datetime import UTC, datetime

from calibration.files.references import Kind, Reference, Register, usable
from calibration.records.record import CalibrationRecord
from calibration.records.text import AnyRecord
from ingest.core.errors import InputError

USUAL_MM = 2000.0
SHORTEST_MM, LONGEST_MM = 200.0, 20_000.0
"""Two heads do not hang side by side on less, and nobody turns more end for end."""
AGREE_MM = 1.0
"""Its length only says how far apart the ports look past each other; more is another bar."""


def bar_length_m(
    bar: str,
    told_mm: float | None,
    register: Register | None,
    records: Collection[AnyRecord],
    used: Collection[str],
    at_ms: int,
) -> float:
    """Return the length of a bar that the register, a record or an earlier check names.

    A mistyped id would begin a history of its own, and take off no bar's form or another's.

    Args:
        bar: its id.
        told_mm: the length that was given by hand, if it was.
        register: where one was given, the bar stands in it and may be used on that day.
        records: of the heads; each names the references that it was made with.
        used: bars of earlier checks.
        at_ms: when the check was done, ms since 1970.

    Raises:
        InputError: nobody knows the bar, or the length cannot be its own.
        CalibrationFileError, ReferenceRefused: it is not registered, or may not be used.
    """
    if register is not None:
        known_mm: float | None = float(_registered(bar, register, at_ms).value)
    else:
        known_mm = _bars(records).get(bar)
        if known_mm is None and bar not in used:
            raise InputError("--bar", None, _unknown(bar, records, used))
    if told_mm is None:
        return (known_mm or USUAL_MM) / 1000.0
    if not (math.isfinite(told_mm) and SHORTEST_MM <= told_mm <= LONGEST_MM):
        reason = (
            f"{told_mm:g} is no length of a bar that two heads hang on; give millimetres, "
            f"between {SHORTEST_MM:g} and {LONGEST_MM:g}"
        )
        raise InputError("--bar-mm", None, reason)
    if known_mm is not None and abs(told_mm - known_mm) > AGREE_MM:
        reason = f"{told_mm:g}, but bar {bar} is {known_mm:g} mm long; leave it out"
        raise InputError("--bar-mm", None, reason)
    return told_mm / 1000.0


def _registered(bar: str, register: Register, at_ms: int) -> Reference:
    found = register.get(bar)
    if found.kind is not Kind.BAR:
        raise InputError("--bar", None, f"{bar} is a {found.kind} in {register.where}, no bar")
    usable(found, datetime.fromtimestamp(at_ms / 1000, UTC).date())
    return found


def _bars(records: Collection[AnyRecord]) -> dict[str, float]:
    """Return the length of each bar that the heads' records were made with."""
    return {
        use.id: float(use.value)
        for record in records
        if isinstance(record, CalibrationRecord)
        for use in record.references
        if use.kind == Kind.BAR.value
    }


def _unknown(bar: str, records: Collection[AnyRecord], used: Collection[str]) -> str:
    known = ", ".join(sorted({*_bars(records), *used})) or "none"
    return (
        f"{bar} is in no record of these heads and no earlier check (known: {known}); "
        "mend the id, or give --references with the register of a new bar"
    )
