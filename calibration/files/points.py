"""Verification points (``found.csv``, ``left.csv``): readings at known angles, up and down."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

TILT = ("incl_x", "incl_y")
CIRCULAR = ("rotation", "azimuth_cross", "azimuth_track", "steer")
CHANNELS = (*TILT, *CIRCULAR)
DIRECTIONS = ("up", "down")
FACINGS = ("as-marked", "turned")


@dataclass(frozen=True, slots=True)
class Reading:
    """One settled reading at a known angle; ``row`` counts from 1 as the file does.

    The known angle is a stack of ``height_mm`` under a sine bar (its sign is that of the
    nominal angle), or ``reference_deg`` as another instrument says it. ``raw_rad`` holds the
    channel's own raw reading and, for an inclinometer, those of the other axes. ``facing``
    ``turned``: bar and head turned end for end on the plate.
    """

    row: int
    channel: str
    nominal_deg: Decimal
    direction: str
    repeat: int
    facing: str
    height_mm: float | None
    blocks_mm: tuple[Decimal, ...]
    reference_deg: float | None
    reference_id: str | None
    raw_rad: Mapping[str, float]
    temperature_degc: float

    @property
    def point(self) -> tuple[str, Decimal, str, str]:
        """What repeats of one point have in common."""
        return self.channel, self.nominal_deg, self.direction, self.facing


@dataclass(frozen=True, slots=True)
class Points:
    """All readings of one file, in the order taken; ``performed`` where the file tells.

    ``taken``: when the first and the last of them were.
    """

    where: str
    readings: tuple[Reading, ...]
    performed: date | None = None
    taken: tuple[datetime, datetime] | None = None

    @property
    def channels(self) -> tuple[str, ...]:
        """The channels in the order of their first reading."""
        return tuple(dict.fromkeys(r.channel for r in self.readings))

    def of(self, channel: str) -> tuple[Reading, ...]:
        """Return one channel's readings."""
        return tuple(r for r in self.readings if r.channel == channel)
