"""Sine bar and gauge blocks: known slopes of both tilt axes."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.bench.capture import Settled
from calibration.bench.procedure import Need, Progress, Row, Target
from calibration.bench.rows import angle_rad, number, pooled_spread_deg, reading_columns
from calibration.errors import BadBenchData
from calibration.fits.tilt_steps import StepFit, doubted, fit_steps, next_step, sine_of

F64 = NDArray[np.float64]

AXES = ("x", "y")
CHANNELS = ("incl_x", "incl_y")
SIDE = {"x": "forward", "y": "left"}
OTHER = {"x": "backward", "y": "right"}
CAUTIONS = (
    "Clamp the sine plate before you let go of it: a plate that slides takes the head along.",
    "Keep fingers from between plate and blocks; lower it, never drop it.",
)
NEVER = ("the plate's own slope apart from the zero",)
"""Only a reversal tells the two apart."""


@dataclass(frozen=True, slots=True)
class SineSteps:
    """Steps of both axes on a sine bar of ``length_mm`` with the ``heights_mm`` at hand."""

    length_mm: float
    heights_mm: tuple[str, ...]
    u_bias_deg: float = 0.002
    u_matrix: float = 1e-4
    u_askew_rad: float = math.radians(0.05)
    most: int = 28
    heads: tuple[str, ...] = ("A",)
    file: str = "steps.csv"
    title: str = "Tilt by sine bar and gauge blocks"

    def owns(self, row: Row) -> bool:
        """Every row of the file is of this series."""
        return True

    def progress(self, rows: Sequence[Row]) -> Progress:
        """Say how far the rows go."""
        spread = pooled_spread_deg(rows)
        blank = Progress(len(rows), 4, self.most, 0, 3, spread_deg=spread)
        if not rows:
            return blank
        try:
            steps = fit_steps(raw_sines(rows), self.known_sines(rows))
        except BadBenchData as error:
            return Progress(len(rows), 4, self.most, 0, 3, trouble=str(error), spread_deg=spread)
        return Progress(
            taken=len(rows),
            least=4,
            most=self.most,
            rank=steps.axes[0].rank,
            full_rank=3,
            undetermined=tuple(n for fit in steps.axes for n in fit.undetermined),
            never=NEVER,
            needs=self._needs(steps),
            distrusted=doubted(steps, self.known_sines(rows), self.u_askew_rad),
            spread_deg=spread,
        )

    def targets(self, rows: Sequence[Row]) -> tuple[Target, ...]:
        """Return the steps, best first."""
        steps = [(axis, height, sign) for axis in AXES for height, sign in self._stacks()]
        counts = [sum(_same(row, step) for row in rows) for step in steps]
        left = [s for s, n in zip(steps, counts, strict=True) if n == min(counts)]
        sines = [self._sines(axis, float(height), sign) for axis, height, sign in left]
        best = next_step(self.known_sines(rows), sines).index
        ordered = [left.pop(best), *left]
        why = (
            "of all steps left, this one lowers the uncertainty of zero, scale and cross-axis most"
        )
        other = "not the best choice now, but it counts"
        return tuple(self._target(s, why if i == 0 else other) for i, s in enumerate(ordered))

    def needs(self, target: Target) -> tuple[str, ...]:
        """Return the channels that must have a value."""
        return CHANNELS

    def taken(self, target: Target, readings: Mapping[str, Settled]) -> tuple[Row, ...]:
        """Return the row of the reading."""
        (reading,) = readings.values()
        channels = [c for c in (*CHANNELS, "incl_z") if c in reading.mean]
        return ({**target.columns, **reading_columns(reading, channels)},)

    def known_sines(self, rows: Sequence[Row]) -> F64:
        """Return what the plate stood at, shape (n, 2)."""
        sines = [
            self._sines(row["axis"], number(row, "height_mm"), int(float(row["sign"])))
            for row in rows
        ]
        return np.array(sines).reshape(-1, 2)

    def _sines(self, axis: str, height_mm: float, sign: int) -> F64:
        sine = sign * sine_of(height_mm / 1e3, self.length_mm / 1e3)
        return np.array([sine, 0.0] if axis == "x" else [0.0, sine])

    def _stacks(self) -> list[tuple[str, int]]:
        raised = [h for h in self.heights_mm if float(h) > 0]
        return [("0", 1), *((h, sign) for h in raised for sign in (1, -1))]

    def _needs(self, steps: StepFit) -> tuple[Need, ...]:
        needs = []
        for i, axis in enumerate(AXES):
            u_bias = math.degrees(steps.u_bias[i])
            needs.append(Need(f"bias {axis}", u_bias, self.u_bias_deg, "deg"))
            for j, by in enumerate(AXES):
                needs.append(Need(f"m {axis}{by}", steps.u_matrix[i, j], self.u_matrix, "1"))
        return tuple(needs)

    def _target(self, step: tuple[str, str, int], why: str) -> Target:
        axis, height, sign = step
        up = SIDE[axis] if sign > 0 else OTHER[axis]
        angle = math.degrees(math.asin(float(height) / self.length_mm)) * sign
        place = f"Head on the plate, its {SIDE[axis]} axis along the bar."
        stack = f"Blocks of {height} mm under the {up} end: {angle:+.4f}°."
        flat = "Both rollers straight on the surface plate, no blocks: 0°."
        return Target(
            name=f"{axis} {angle:+.2f}°",
            do=(place, stack if float(height) else flat, "Clamp, and let it stand."),
            cautions=CAUTIONS,
            why=why,
            columns={"axis": axis, "height_mm": height, "sign": f"{sign:+d}"},
        )


def raw_sines(rows: Sequence[Row]) -> F64:
    """Return raw readings as sines, shape (n, 2)."""
    angles = [[angle_rad(row, f"{c}_deg") for c in CHANNELS] for row in rows]
    sines: F64 = np.sin(np.array(angles).reshape(-1, 2))
    return sines


def _same(row: Row, step: tuple[str, str, int]) -> bool:
    axis, height, sign = step
    there = (row["axis"], number(row, "height_mm"), int(float(row["sign"])))
    return there == (axis, float(height), sign)
