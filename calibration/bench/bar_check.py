"""The zero of toe on the bar, as found and as left: the bar as it lies and turned end for end."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from calibration.bench.bar_pair import CAUTIONS, HEADS, bar_columns
from calibration.bench.capture import Settled
from calibration.bench.procedure import Progress, Row, Target
from calibration.bench.rows import pooled_spread_deg

ORDER = ("0", "1", "0", "1")
"""Each attitude twice, so that its readings tell how they scatter."""
LIES = {"0": "as marked on the stand", "1": "turned end for end on the stand, with both heads"}


@dataclass(frozen=True, slots=True)
class BarCheck:
    """One run on the bar; head A on end 1, head B on end 2, the marked side of the bar up."""

    file: str
    title: str
    heads: tuple[str, ...] = HEADS

    def owns(self, row: Row) -> bool:
        """Every row of the file is of this series."""
        return True

    def progress(self, rows: Sequence[Row]) -> Progress:
        """Say how many attitudes are taken, both heads together."""
        n = len(ORDER)
        return Progress(len(rows) // len(HEADS), n, n, spread_deg=pooled_spread_deg(rows))

    def targets(self, rows: Sequence[Row]) -> tuple[Target, ...]:
        """Return the next attitude; there is no choice."""
        at = min(len(rows) // len(HEADS), len(ORDER) - 1)
        turned = ORDER[at]
        return (
            Target(
                name=f"{'turned' if turned == '1' else 'as marked'}, {at // 2 + 1}",
                do=(
                    f"Bar {LIES[turned]}, its marked side up;",
                    "head A on end 1, head B on end 2, both upright and tightened.",
                ),
                cautions=CAUTIONS,
                why="readings that nothing was fitted to show how true the zero of toe is",
                columns={"turned": turned},
            ),
        )

    def needs(self, target: Target) -> tuple[str, ...]:
        """Return the channels that must have a value."""
        return ("incl_y", "incl_x", "azimuth_cross")

    def taken(self, target: Target, readings: Mapping[str, Settled]) -> tuple[Row, ...]:
        """Return the rows of both heads."""
        channels = {"incl_y": "incl_y", "incl_x": "incl_x", "azimuth": "azimuth_cross"}
        return tuple(
            {**target.columns, "head": letter, **bar_columns(readings[letter], channels)}
            for letter in HEADS
        )
