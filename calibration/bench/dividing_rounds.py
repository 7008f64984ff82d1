"""Circle closure: a dividing plate gone round several times, the encoder started elsewhere."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.bench.capture import Settled
from calibration.bench.full_turn import raw_columns
from calibration.bench.procedure import Need, Progress, Row, Target
from calibration.bench.rows import angle_rad, pooled_spread_deg
from calibration.errors import BadBenchData
from calibration.fits.encoder_closure import fit_closure, next_start
from calibration.fits.encoder_turn import ORDERS, harmonic_names

F64 = NDArray[np.float64]

CANDIDATES_DEG = tuple(range(0, 360, 15))
CAUTION = "Hold the head while the coupling is loose; tighten it before you let go."


@dataclass(frozen=True, slots=True)
class DividingRounds:
    """Rounds of one encoder channel over ``positions`` of a plate whose division is unknown."""

    channel: str = "rotation"
    positions: int = 12
    u_harmonic_deg: float = 0.005
    most: int = 96
    heads: tuple[str, ...] = ("A",)
    file: str = "closure.csv"

    @property
    def title(self) -> str:
        """What the series is called on the screen."""
        return f"Encoder by closing the circle: {self.channel}"

    def owns(self, row: Row) -> bool:
        """Rows of other channels are of other series."""
        return row.get("channel") == self.channel

    def progress(self, rows: Sequence[Row]) -> Progress:
        """Say how far the whole rounds go; a round that is not finished does not count yet."""
        names, least = harmonic_names(ORDERS), 3 * self.positions
        raw = self.rounds(rows)
        spread = pooled_spread_deg(rows)
        blank = Progress(len(rows), least, self.most, 0, len(names), names, spread_deg=spread)
        if len(raw) < 2:
            return blank
        try:
            fit = fit_closure(raw)
        except BadBenchData as error:
            return Progress(len(rows), least, self.most, trouble=str(error), spread_deg=spread)
        open_ = tuple(n for n in names if n in fit.undetermined)
        return Progress(
            taken=len(rows),
            least=least,
            most=self.most,
            rank=len(names) - len(open_),
            full_rank=len(names),
            undetermined=open_,
            never=("zero",),
            needs=tuple(Need(n, math.degrees(fit.u(n)), self.u_harmonic_deg, "deg") for n in names),
            distrusted=fit.distrusted(),
            spread_deg=spread,
        )

    def targets(self, rows: Sequence[Row]) -> tuple[Target, ...]:
        """Return the next position of the round, or where to start the next one."""
        start, position = divmod(len(rows), self.positions)
        if position:
            why = "a round counts when the plate has gone through all its positions"
            return (self._target(start, position, f"Plate on to position {position + 1}.", why),)
        raw = self.rounds(rows)
        if not len(raw):
            why = "the first round; the others are compared with it"
            return (self._target(start, 0, "Plate to position 1.", why),)
        best = next_start(raw, [math.radians(c) for c in CANDIDATES_DEG]).index
        at = CANDIDATES_DEG[best]
        do = f"Plate to position 1; loosen the coupling, turn the head's shaft to about {at}°."
        why = "started there, the next round lowers the uncertainty of the harmonics most"
        return (self._target(start, 0, do, why),)

    def needs(self, target: Target) -> tuple[str, ...]:
        """Return the channels that must have a value."""
        return (self.channel,)

    def taken(self, target: Target, readings: Mapping[str, Settled]) -> tuple[Row, ...]:
        """Return the row of the reading."""
        (reading,) = readings.values()
        return ({**target.columns, **raw_columns(reading, self.channel)},)

    def rounds(self, rows: Sequence[Row]) -> F64:
        """Return the whole rounds, unwrapped, shape (rounds, positions)."""
        whole = len(rows) // self.positions * self.positions
        raw = np.array([angle_rad(row, "raw_deg") for row in rows[:whole]])
        unwrapped: F64 = np.unwrap(raw.reshape(-1, self.positions), axis=1)
        return unwrapped

    def _target(self, start: int, position: int, do: str, why: str) -> Target:
        columns = {"channel": self.channel, "start": start + 1, "position": position + 1}
        return Target(
            name=f"round {start + 1}, position {position + 1}",
            do=(do, "Let it stand."),
            cautions=(CAUTION,) if position == 0 and start else (),
            why=why,
            columns={name: str(x) for name, x in columns.items()},
        )
