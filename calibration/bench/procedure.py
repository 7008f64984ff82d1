"""What every guided series of readings says: where to put the head next, and what is still open.

A procedure is a pure function of the rows on file. So a series that was broken off goes on from
its file, and whoever fits the same file gets the same numbers.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from calibration.bench.capture import Settled
from calibration.fits.result import Fit

Row = Mapping[str, str]
"""One row of a file of the bench, by column."""

WITHDRAWN = "withdrawn"
"""Column that takes a row back without deleting it."""


@dataclass(frozen=True, slots=True)
class Target:
    """Where to put the head next. ``columns`` is what its row says beside the reading.

    ``ask`` names the column of a number that the technician reads off a reference, with what
    is expected as its value.
    """

    name: str
    do: tuple[str, ...]
    cautions: tuple[str, ...]
    why: str
    columns: Mapping[str, str]
    ask: str = ""


@dataclass(frozen=True, slots=True)
class Need:
    """One coefficient: its present standard uncertainty against the wanted one.

    ``u`` is NaN while nothing tells it.
    """

    name: str
    u: float
    wanted: float
    unit: str

    @property
    def met(self) -> bool:
        """Whether the uncertainty is as small as wanted."""
        return self.u <= self.wanted


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a series is.

    ``undetermined``: what the rows leave open, and further rows can settle; ``never``: what no
    reading of this kind settles. ``trouble``: why the rows cannot be fitted, "" where they can.
    """

    taken: int
    least: int
    most: int
    rank: int = 0
    full_rank: int = 0
    undetermined: tuple[str, ...] = ()
    never: tuple[str, ...] = ()
    needs: tuple[Need, ...] = ()
    distrusted: tuple[str, ...] = ()
    spread_deg: float = math.nan
    trouble: str = ""

    @property
    def usable(self) -> bool:
        """Whether the rows determine all that they can: the technician may go on."""
        whole = self.rank >= self.full_rank and not self.undetermined
        return self.taken >= self.least and whole and not self.trouble

    @property
    def enough(self) -> bool:
        """Whether nothing more is to be taken."""
        return self.usable and (self.taken >= self.most or all(n.met for n in self.needs))


class Procedure(Protocol):
    """One guided series of readings of one file."""

    @property
    def file(self) -> str:
        """Name of the file within the folder."""

    @property
    def title(self) -> str:
        """What the series is called on the screen."""

    @property
    def heads(self) -> tuple[str, ...]:
        """The letters of the heads that are read at once."""

    def owns(self, row: Row) -> bool:
        """Say whether a row of the file is of this series; a file may hold several."""

    def progress(self, rows: Sequence[Row]) -> Progress:
        """Say how far the rows go: its own, withdrawn ones left out."""

    def targets(self, rows: Sequence[Row]) -> tuple[Target, ...]:
        """Return what could be taken next, best first."""

    def needs(self, target: Target) -> tuple[str, ...]:
        """Return the channels that must have a value in a reading at the target."""

    def taken(self, target: Target, readings: Mapping[str, Settled]) -> tuple[Row, ...]:
        """Return the rows of a reading of each head, without row number, head id and time."""


def kept(rows: Sequence[Row]) -> tuple[Row, ...]:
    """Return the rows that were not withdrawn."""
    return tuple(row for row in rows if row.get(WITHDRAWN) != "1")


def needs_of(fit: Fit, wanted: Mapping[str, tuple[float, float, str]]) -> tuple[Need, ...]:
    """Return the needs of a fit; ``wanted`` gives size, factor to its unit, and unit by name."""
    return tuple(
        Need(name, fit.u(name) * factor, size, unit)
        for name, (size, factor, unit) in wanted.items()
        if name in fit.names
    )
