"""One soak of the oven: level and raised readings of both axes at one temperature.

Several soaks tell how zero and scale drift. The fit takes each head's own temperature, so that the
oven need not be exact; it has to be soaked through.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from calibration.bench.capture import Settled
from calibration.bench.procedure import Progress, Row, Target
from calibration.bench.rows import number, pooled_spread_deg, reading_columns
from calibration.bench.sine_steps import AXES, CAUTIONS, CHANNELS, SIDE

SOAK = "soak_degc"
"""Column that says which soak a row is of; ``levelhead calibrate`` does not ask for it."""
NEAR_DEGC = 5.0
"""A head farther from the oven's temperature was not soaked through, or the oven is off."""
HOT = "Gloves: bar, blocks and head are as hot or as cold as the oven."


@dataclass(frozen=True, slots=True)
class OvenRound:
    """Readings of one head at ``degc``, raised by a stack of ``height_mm``; "" leaves it level."""

    degc: float
    length_mm: float = math.nan
    height_mm: str = ""
    heads: tuple[str, ...] = ("A",)
    file: str = "oven.csv"

    @property
    def title(self) -> str:
        """What the series is called on the screen."""
        return f"In the oven at {self.degc:g} °C"

    def owns(self, row: Row) -> bool:
        """Rows of other soaks are of other series."""
        return row.get(SOAK) == f"{self.degc:g}"

    def progress(self, rows: Sequence[Row]) -> Progress:
        """Say how many of the planned readings are taken."""
        n, spread = len(self._plan()), pooled_spread_deg(rows)
        return Progress(len(rows), n, n, spread_deg=spread, trouble=self._trouble(rows))

    def targets(self, rows: Sequence[Row]) -> tuple[Target, ...]:
        """Return what is left of the plan, in its order: the head is moved least so."""
        taken = [(row["axis"], number(row, "true_deg")) for row in rows]
        plan = self._plan()
        left = [t for t in plan if (t.columns["axis"], float(t.columns["true_deg"])) not in taken]
        return tuple(left or plan)

    def needs(self, target: Target) -> tuple[str, ...]:
        """Return the channels that must have a value."""
        return CHANNELS

    def taken(self, target: Target, readings: Mapping[str, Settled]) -> tuple[Row, ...]:
        """Return the row of the reading."""
        (reading,) = readings.values()
        channels = [c for c in (*CHANNELS, "incl_z") if c in reading.mean]
        return ({**target.columns, **reading_columns(reading, channels)},)

    def _plan(self) -> tuple[Target, ...]:
        raised = (self.height_mm,) if self.height_mm else ()
        return tuple(self._target(axis, height) for axis in AXES for height in ("", *raised))

    def _trouble(self, rows: Sequence[Row]) -> str:
        for row in rows:
            degc = number(row, "temperature_degc")
            if not abs(degc - self.degc) <= NEAR_DEGC:
                what = "no temperature" if math.isnan(degc) else f"{degc:.1f} °C"
                why = f"row {row.get('row', '?')} says {what}, and the oven is at {self.degc:g} °C"
                return f"{why}; soak the head through, take the row back (u) and read it again"
        return ""

    def _target(self, axis: str, height: str) -> Target:
        sine = float(height) / self.length_mm if height else 0.0
        angle = math.degrees(math.asin(sine))
        stack = f"Blocks of {height} mm under the {SIDE[axis]} end: {angle:+.4f}°, and door shut."
        return Target(
            name=f"{axis} {angle:+.2f}° at {self.degc:g} °C",
            do=(
                f"Head on the bar in the oven, its {SIDE[axis]} axis along it, bar on its marks.",
                stack if height else "Both rollers down, no blocks: 0°, and door shut.",
                "Wait until its temperature rests again.",
            ),
            cautions=(HOT, *CAUTIONS) if height else (HOT,),
            why=(
                "raised, it tells the drift of the scale"
                if height
                else "level, it tells the drift of the zeros"
            ),
            columns={"axis": axis, "true_deg": f"{angle:.6f}", SOAK: f"{self.degc:g}"},
        )
