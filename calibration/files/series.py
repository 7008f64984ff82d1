"""Files of guided series: tilt, encoders, two heads on a bar, and a still recording.

Which one a file is, its columns tell. All are documented in FILES.md.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from calibration.errors import CalibrationFileError
from calibration.files.table import STILL_DEG, Row, read_rows

F64 = NDArray[np.float64]

KINDS: dict[str, tuple[str, ...]] = {
    "sphere": ("attitude",),
    "steps": ("axis", "height_mm", "sign"),
    "reversal": ("axis", "facing"),
    "oven": ("axis", "true_deg"),
    "turn": ("channel", "raw_deg", "true_deg", "direction"),
    "closure": ("channel", "start", "position", "raw_deg"),
    "counts": ("turns", "counts"),
    "bar": ("turned", "rolled", "exchanged", "head"),
    "still": ("time_s",),
}
"""Columns that each kind has beside ``row`` and its readings; the first that fits is meant."""
TILT_KINDS = ("sphere", "steps", "reversal", "oven")
ENCODER_KINDS = ("turn", "closure")
TILT = ("incl_x", "incl_y", "incl_z")
CHANNELS = (*TILT, "rotation", "azimuth_cross", "azimuth_track", "steer")
ENCODERS = CHANNELS[3:]
AXES = ("x", "y")
FACINGS = ("as-marked", "turned")
DIRECTIONS = ("up", "down")
STEMS = {
    **{channel: f"{channel}_deg" for channel in CHANNELS},
    "raw": "raw_deg",
    "true": "true_deg",
    "azimuth": "azimuth_deg",
    "height": "height_mm",
    "temperature": "temperature_degc",
    "spread": "spread_deg",
}
"""Quantities with the only column that is read; in another unit they are refused."""
LEAST_COSINE = 0.01
"""Straight up a limit on the scatter of an angle would have no end."""
FULL_SCALE_DEG = 89.9999
"""An elevation beyond this hides how much more than gravity the axis read."""
UPRIGHT_DEG = 90.0
MOST_TURNS_DEG = 1e6


@dataclass(frozen=True, slots=True)
class Series:
    """The rows of a file that count, and what kind of file it is."""

    where: str
    kind: str
    rows: tuple[Row, ...]

    @property
    def days(self) -> tuple[date, ...]:
        """The days on which rows were taken, as far as they say so."""
        moments = [row.moment("time") for row in self.rows]
        return tuple(sorted({m.date() for m in moments if m is not None}))

    def column_rad(self, column: str, limit_deg: float = MOST_TURNS_DEG) -> F64:
        """Return a column of angles, rad, shape (n,). Raises ``CalibrationFileError``."""
        return np.radians([row.angle(column, limit_deg) for row in self.rows])

    def temperatures(self) -> F64:
        """Return temperatures, degC, NaN where a row has none, shape (n,)."""
        return np.array([_or_nan(row, "temperature_degc") for row in self.rows])

    @property
    def has_z(self) -> bool:
        """Whether every row has the upright axis."""
        return all(row.has("incl_z_deg") for row in self.rows)

    def sines(self) -> F64:
        """Return the raw shares of gravity of two or three axes, shape (n, k)."""
        axes = TILT if self.has_z else TILT[:2]
        return np.sin(np.stack([self.column_rad(f"{a}_deg", UPRIGHT_DEG) for a in axes], axis=1))

    def at_full_scale(self) -> tuple[int, ...]:
        """Return the numbers of the rows that an axis reads straight up or down."""
        return tuple(row.number for row in self.rows if _steepest(row) >= FULL_SCALE_DEG)


def parse_series(text: str, where: str, head_ids: Sequence[str], *, kinds: Iterable[str]) -> Series:
    """Read a file of one of ``kinds``.

    Args:
        head_ids: the heads that rows may be of; empty: any.

    Raises:
        CalibrationFileError: naming row, column, reason and what to do.
    """
    rows = read_rows(text, where, ("row",), STEMS)
    kind = _kind(rows[0], where, tuple(kinds))
    for row in rows:
        _check(row, head_ids, _steepest(row) if kind == "sphere" else 0.0)
        for column in KINDS[kind]:
            if not row.has(column):
                raise row.fault(f"{column} is empty; a row of a {kind} file needs it")
    return Series(where, kind, rows)


def _kind(first: Row, where: str, kinds: tuple[str, ...]) -> str:
    for kind in kinds:
        if all(column in first.cells for column in KINDS[kind]):
            return kind
    wanted = "; ".join(f"{kind}: {', '.join(KINDS[kind])}" for kind in kinds)
    raise CalibrationFileError(where, f"its columns are those of no file expected here ({wanted})")


def _check(row: Row, head_ids: Sequence[str], steepest_deg: float) -> None:
    head = row.text("head")
    if head and head not in ("A", "B") and head_ids and head not in head_ids:
        told = f"is of head {head}, and expected here is {' or '.join(head_ids)}"
        raise row.fault(f"{told}; give that head's own file, or its own sheet or draft")
    # Near the vertical an angle scatters by more than the share of gravity that was read.
    limit = STILL_DEG / max(math.cos(math.radians(steepest_deg)), LEAST_COSINE)
    row.see_still(limit)


def _steepest(row: Row) -> float:
    return max((abs(row.value(f"{a}_deg")) for a in TILT if row.has(f"{a}_deg")), default=0.0)


def _or_nan(row: Row, column: str) -> float:
    return row.value(column) if row.has(column) else math.nan
