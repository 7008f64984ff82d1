"""An encoder against known positions: once round rising, once round falling."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.bench.capture import Settled
from calibration.bench.procedure import Need, Progress, Row, Target
from calibration.bench.rows import angle_rad, number, pooled_spread_deg, reading_columns
from calibration.errors import CalibrationError
from calibration.fits.backlash import fit_backlash, next_backlash
from calibration.fits.encoder_turn import fit_turn, next_position
from calibration.fits.result import Fit

F64 = NDArray[np.float64]

LEAST = 8
"""Zero and three harmonics are seven unknowns."""
EVENLY = "evenly spaced positions part the harmonics from each other and from the zero best"
BACK = "the same position from the other side shows the backlash"
BETWEEN = "of the positions between, this one lowers the uncertainty of the harmonics most"
BOTH = "of the positions between, both ways at this one lower the backlash's uncertainty most"
CAUTION = "Keep hands and sleeves clear of the turning shaft."


@dataclass(frozen=True, slots=True)
class FullTurn:
    """Positions of one encoder channel until its harmonics are known as well as wanted.

    ``seat``: how the sheet says that the head sits on the spindle; "" leaves its zero open.
    """

    channel: str = "rotation"
    positions: int = 12
    u_harmonic_deg: float = 0.005
    u_zero_deg: float = 0.005
    most: int = 72
    heads: tuple[str, ...] = ("A",)
    file: str = "turn.csv"
    seat: str = ""

    @property
    def title(self) -> str:
        """What the series is called on the screen."""
        return f"Encoder over a full turn: {self.channel}"

    def owns(self, row: Row) -> bool:
        """Rows of other channels are of other series."""
        return row.get("channel") == self.channel

    def progress(self, rows: Sequence[Row]) -> Progress:
        """Say how far the rows go."""
        least, spread = 2 * self.positions, pooled_spread_deg(rows)
        if len(rows) < LEAST:
            return Progress(len(rows), least, self.most, 0, 8, spread_deg=spread)
        try:
            turn, gap = _turn(rows), _backlash(rows)
        except CalibrationError as error:
            return Progress(len(rows), least, self.most, 0, 8, trouble=str(error))
        known = gap is not None and "backlash" not in gap.undetermined
        return Progress(
            taken=len(rows),
            least=least,
            most=self.most,
            rank=turn.rank + known,
            full_rank=len(turn.names) + 1,
            undetermined=turn.undetermined + (() if known else ("backlash",)),
            needs=self._needs(turn, gap if known else None),
            distrusted=turn.distrusted(),
            spread_deg=spread,
        )

    def targets(self, rows: Sequence[Row]) -> tuple[Target, ...]:
        """Return the positions: round rising, round falling, then where they tell most."""
        even = [360.0 * i / self.positions for i in range(self.positions)]
        rising = _left(even, rows, "up")
        if rising:
            return tuple(self._target(at, "up", EVENLY) for at in rising)
        falling = _left(even[::-1], rows, "down")
        if falling:
            return tuple(self._target(at, "down", BACK) for at in falling)
        between = [360.0 * (i + 0.5) / self.positions for i in range(self.positions)]
        if self._lacks_backlash_alone(rows):
            return self._both_ways(between, rows)
        between = _left(between, rows, "up") or even
        best = next_position(_turn(rows), [math.radians(at) for at in between]).index
        return tuple(self._target(at, "up", BETWEEN) for at in (between.pop(best), *between))

    def _lacks_backlash_alone(self, rows: Sequence[Row]) -> bool:
        needs = self._needs(_turn(rows), _backlash(rows))
        return [need.name for need in needs if not need.met] == ["backlash"]

    def _both_ways(self, between_deg: Sequence[float], rows: Sequence[Row]) -> tuple[Target, ...]:
        """Return the positions between, those read rising already first, then best first."""
        half = [at for at in _left(between_deg, rows, "down") if at not in _left([at], rows, "up")]
        if half:
            return tuple(self._target(at, "down", BACK) for at in half)
        left = _left(between_deg, rows, "up") or list(between_deg)
        read = np.radians([number(row, "true_deg") for row in rows if row["direction"] == "down"])
        best = next_backlash(read, [math.radians(at) for at in left]).index
        return tuple(self._target(at, "up", BOTH) for at in (left.pop(best), *left))

    def needs(self, target: Target) -> tuple[str, ...]:
        """Return the channels that must have a value."""
        return (self.channel,)

    def taken(self, target: Target, readings: Mapping[str, Settled]) -> tuple[Row, ...]:
        """Return the row of the reading."""
        (reading,) = readings.values()
        return ({**target.columns, **raw_columns(reading, self.channel)},)

    def _needs(self, turn: Fit, gap: Fit | None) -> tuple[Need, ...]:
        wanted = {n: self.u_zero_deg if n == "zero" else self.u_harmonic_deg for n in turn.names}
        needs = [Need(n, math.degrees(turn.u(n)), size, "deg") for n, size in wanted.items()]
        if gap is not None:
            u_deg = math.degrees(gap.u("backlash"))
            needs.append(Need("backlash", u_deg, self.u_zero_deg, "deg"))
        return tuple(needs)

    def _target(self, at_deg: float, direction: str, why: str) -> Target:
        way = "rising" if direction == "up" else "falling"
        return Target(
            name=f"{at_deg:g}° {way}",
            do=(
                *((f"The head sits as the sheet says: {self.seat}.",) if self.seat else ()),
                f"Turn on, {way}, until the reference reads {at_deg:.3f}°; not past and back.",
                "Let it stand, and type what the reference reads (Enter alone: just that).",
            ),
            cautions=(CAUTION,),
            why=why,
            columns={
                "channel": self.channel,
                "true_deg": f"{at_deg:.6f}",
                "direction": direction,
            },
            ask="true_deg",
        )


def raw_columns(reading: Settled, channel: str) -> dict[str, str]:
    """Return a reading's columns with one channel's angle as ``raw_deg``."""
    columns = reading_columns(reading, (channel,))
    return {("raw_deg" if name == f"{channel}_deg" else name): x for name, x in columns.items()}


def _turn(rows: Sequence[Row]) -> Fit:
    raw = np.array([angle_rad(row, "raw_deg") for row in rows])
    return fit_turn(raw, np.array([angle_rad(row, "true_deg") for row in rows]))


def _backlash(rows: Sequence[Row]) -> Fit | None:
    """Fit the positions that were read from both sides; a row belongs to its whole degree."""
    ways: dict[str, dict[float, float]] = {"up": {}, "down": {}}
    for row in rows:
        gap = angle_rad(row, "raw_deg") - angle_rad(row, "true_deg")
        ways[row["direction"]][round(number(row, "true_deg"))] = gap
    both = [at for at in ways["up"] if at in ways["down"]]
    if not both:
        return None
    up, down = (np.array([ways[way][at] for at in both]) for way in ("up", "down"))
    return fit_backlash(np.radians(both), up, down)


def _left(positions_deg: Sequence[float], rows: Sequence[Row], direction: str) -> list[float]:
    """Return the positions that no row is near to."""
    taken = [number(row, "true_deg") for row in rows if row["direction"] == direction]
    return [at for at in positions_deg if all(_apart_deg(at, t) > 1.0 for t in taken)]


def _apart_deg(one: float, other: float) -> float:
    return abs((one - other + 180.0) % 360.0 - 180.0)
