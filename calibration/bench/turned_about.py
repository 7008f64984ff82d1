"""Reversal: the same place read as marked and turned half round, for the zero of each axis."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.bench.capture import Settled
from calibration.bench.procedure import Need, Progress, Row, Target
from calibration.bench.rows import angle_rad, pooled_spread_deg, reading_columns
from calibration.fits.result import Fit
from calibration.fits.tilt_reversal import fit_reversal, next_facing

F64 = NDArray[np.float64]

AXES = ("x", "y")
CHANNELS = ("incl_x", "incl_y")
FACINGS = ("as-marked", "turned")
CAUTIONS = ("Lift the head clear of the plate to turn it; do not drag it over the marks.",)


@dataclass(frozen=True, slots=True)
class Reversal:
    """Both axes, read in both facings until the zeros are known as well as wanted."""

    u_zero_deg: float = 0.002
    most: int = 16
    heads: tuple[str, ...] = ("A",)
    file: str = "reversal.csv"
    title: str = "Zero by reversal"

    def owns(self, row: Row) -> bool:
        """Every row of the file is of this series."""
        return True

    def progress(self, rows: Sequence[Row]) -> Progress:
        """Say how far the rows go."""
        fits = {axis: _fit(rows, axis) for axis in AXES}
        ranks = [0 if fit is None else fit.rank for fit in fits.values()]
        needs = [
            Need(f"zero {a}", math.degrees(f.u("zero")), self.u_zero_deg, "deg")
            for a, f in fits.items()
            if f is not None
        ]
        open_ = [f"zero {a}" for a, f in fits.items() if f is None or "zero" in f.undetermined]
        return Progress(
            taken=len(rows),
            least=6,
            most=self.most,
            rank=sum(ranks),
            full_rank=4,
            undetermined=tuple(open_),
            never=("scale and cross-axis",),
            needs=tuple(needs),
            spread_deg=pooled_spread_deg(rows),
        )

    def targets(self, rows: Sequence[Row]) -> tuple[Target, ...]:
        """Return axis and facing, best first: the axis that has fewer readings."""
        axes = sorted(AXES, key=lambda axis: len(_of(rows, axis)))
        best = next_facing(_facing(_of(rows, axes[0]))).index
        why = (
            "the slope of the plate changes sign with the facing and the zero does not: "
            "this facing parts them best"
        )
        order = [(axes[0], best), (axes[0], 1 - best), (axes[1], 0), (axes[1], 1)]
        return tuple(_target(axis, FACINGS[f], why) for axis, f in order)

    def needs(self, target: Target) -> tuple[str, ...]:
        """Return the channels that must have a value."""
        return CHANNELS

    def taken(self, target: Target, readings: Mapping[str, Settled]) -> tuple[Row, ...]:
        """Return the row of the reading."""
        (reading,) = readings.values()
        channels = [c for c in (*CHANNELS, "incl_z") if c in reading.mean]
        return ({**target.columns, **reading_columns(reading, channels)},)


def _fit(rows: Sequence[Row], axis: str) -> Fit | None:
    own = _of(rows, axis)
    if not own:
        return None
    raw = np.sin([angle_rad(row, f"incl_{axis}_deg") for row in own])
    return fit_reversal(raw, _facing(own))


def _of(rows: Sequence[Row], axis: str) -> list[Row]:
    return [row for row in rows if row["axis"] == axis]


def _facing(rows: Sequence[Row]) -> F64:
    return np.array([1.0 if row["facing"] == FACINGS[0] else -1.0 for row in rows])


def _target(axis: str, facing: str, why: str) -> Target:
    way = "as it is marked" if facing == FACINGS[0] else "turned half round about the vertical"
    return Target(
        name=f"{axis} {facing}",
        do=(
            f"Head on the marked place of the plate, for axis {axis}, {way}.",
            "Against the same stops as before; let it stand.",
        ),
        cautions=CAUTIONS,
        why=why,
        columns={"axis": axis, "facing": facing},
    )
