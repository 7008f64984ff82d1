"""Rows of tilt files as arrays: attitudes on the sphere, placements at known angles."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.drafting.row_names import row_name
from calibration.errors import BadBenchData
from calibration.files.series import AXES, FACINGS, TILT, Series
from calibration.files.table import Row
from calibration.fits.placed import Placed, Tumbled
from calibration.fits.tilt_steps import sine_of

F64 = NDArray[np.float64]

SINE_BARS_MM = (50.0, 1000.0)
"""Shorter or longer than this no sine bar is made (from memory: 100 to 500 mm are common)."""


@dataclass(frozen=True, slots=True)
class TiltSetup:
    """What the readings stand on beside themselves; uncertainties are standard ones.

    ``sine_bar_mm`` is None where no sine bar was used. ``u_length`` is that of its length over
    the length; ``u_alignment_rad`` how squarely a head stands on it; ``u_turn_rad`` how the
    sensor is turned in its housing where nothing tells.
    """

    reference_degc: float
    u_turn_rad: float
    u_alignment_rad: float
    sine_bar_mm: float | None = None
    u_length: float = 0.0


def tumbled(spheres: Sequence[Series], setup: TiltSetup) -> Tumbled:
    """Return all attitudes of sphere files. Raises ``CalibrationFileError``."""
    raw = np.concatenate([f.sines() for f in spheres])
    return Tumbled(raw, np.concatenate([_above(f, setup) for f in spheres]))


def placements(file: Series, setup: TiltSetup) -> Iterator[Placed]:
    """Yield the rows of each axis of a file: one placement each.

    Raises:
        BadBenchData: the sine bar's length is not known, or cannot be.
        CalibrationFileError: a row that cannot be used.
    """
    angle, facing = _angles(file, setup), _facings(file)
    raw, above = file.sines(), _above(file, setup)
    for axis, own in _axes(file):
        name = f"{file.kind} {AXES[axis]}"
        yield Placed(name, axis, angle[own], facing[own], raw[own], above[own])


def placed_rows(file: Series) -> Iterator[tuple[Row, ...]]:
    """Yield the rows of each placement, as ``placements`` has them."""
    for _, own in _axes(file):
        yield tuple(row for row, mine in zip(file.rows, own, strict=True) if mine)


def labels(spheres: Sequence[Series], others: Sequence[Series], axes: int) -> tuple[str, ...]:
    """Return file and row of each reading of a fit: attitudes, then each axis of placed rows."""
    named = [row_name(file, row) for file in spheres for row in file.rows]
    for file in others:
        for rows in placed_rows(file):
            named += [f"{row_name(file, row)}, {axis}" for row in rows for axis in TILT[:axes]]
    return tuple(named)


def axis_labels(files: Sequence[Series], axis: int) -> tuple[str, ...]:
    """Return file and row of the readings of one axis."""
    pairs = ((file, row) for file in files for row in file.rows)
    return tuple(row_name(file, row) for file, row in pairs if row.text("axis") == AXES[axis])


def _axes(file: Series) -> Iterator[tuple[int, NDArray[np.bool_]]]:
    """Yield each axis that a file has rows of, and which rows they are, shape (n,)."""
    names = [row.word("axis", AXES) for row in file.rows]
    for i, axis in enumerate(AXES):
        own = np.array([name == axis for name in names])
        if own.any():
            yield i, own


def _angles(file: Series, setup: TiltSetup) -> F64:
    if file.kind == "oven":
        return file.column_rad("true_deg", 90.0)
    if file.kind == "reversal":
        return np.zeros(len(file.rows))
    length_mm = setup.sine_bar_mm
    if length_mm is None:
        remedy = "name it in the sheet's references, or give --sine-bar-mm"
        raise BadBenchData(file.where, "the sine bar's length is not known", remedy)
    if not SINE_BARS_MM[0] <= length_mm <= SINE_BARS_MM[1]:
        shortest, longest = SINE_BARS_MM
        why = f"a sine bar of {length_mm:g} mm; they have {shortest:g} to {longest:g} mm"
        raise BadBenchData(file.where, why, "give the distance of its rollers' axes in mm")
    return np.array([_stacked(row, length_mm) for row in file.rows])


def _stacked(row: Row, length_mm: float) -> float:
    """Return the angle that the stack of a row makes, rad."""
    sign = -1.0 if row.word("sign", ("+1", "1", "-1")) == "-1" else 1.0
    height_mm = row.value("height_mm")
    if not 0.0 <= height_mm < length_mm:
        told = f"height_mm is {height_mm:g} on a sine bar of {length_mm:g} mm"
        raise row.fault(f"{told}; both are mm, and the sign stands in its own column")
    return float(np.arcsin(sign * sine_of(height_mm / 1e3, length_mm / 1e3)))


def _facings(file: Series) -> F64:
    if file.kind != "reversal":
        return np.ones(len(file.rows))
    words = [row.word("facing", FACINGS) for row in file.rows]
    return np.array([1.0 if word == FACINGS[0] else -1.0 for word in words])


def _above(file: Series, setup: TiltSetup) -> F64:
    """Return temperatures above the reference; one that is not told counts as none."""
    above: F64 = np.nan_to_num(file.temperatures() - setup.reference_degc)
    return above


def without_upright(p: Placed) -> Placed:
    """Return a placement with the two level axes alone."""
    return Placed(p.name, p.axis, p.angle_rad, p.facing, p.raw[:, :2], p.above_degc)
