"""The readings of a steering sweep, and what they must reach."""

import math
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from ingest.core.frames import Side

F64 = NDArray[np.float64]
MASK = NDArray[np.bool_]

SAME_POSITION_RAD = math.radians(0.5)
"""Readings whose steering differs by less count as taken at one position."""


@dataclass(frozen=True, slots=True)
class Sweep:
    """One wheel steered to both sides, in order of time. Arrays of shape (n,), rad.

    ``steer_rad`` is the change of the shaft's level heading from straight ahead, left positive;
    where ``by_plate``, it is the turn of the plate under the wheel. ``incl_x_rad`` None: the
    head hangs free on its shaft. ``toe_rad`` is the toe of the shaft straight ahead (that of
    the wheel only where the readings are already corrected for run-out). ``roll_by_rad`` is
    the steering that the axle's roll follows (default: this wheel's own).
    """

    side: Side
    steer_rad: F64
    incl_y_rad: F64
    incl_x_rad: F64 | None = None
    toe_rad: float = 0.0
    by_plate: bool = False
    roll_by_rad: F64 | None = None
    straight_rad: float = field(init=False, repr=False)
    """Heading of the shaft straight ahead, counter-clockwise from where it points left."""

    def __post_init__(self) -> None:
        n = len(self.steer_rad)
        for name, channel in self.channels().items():
            if channel.shape != (n,):
                raise ValueError(f"{name} has shape {channel.shape}, steer has ({n},)")
        object.__setattr__(self, "straight_rad", -self.side.sign * self.toe_rad)

    def channels(self) -> dict[str, F64]:
        """Return the channels that are there, by name."""
        named = {
            "steer": self.steer_rad,
            "incl_y": self.incl_y_rad,
            "incl_x": self.incl_x_rad,
            "roll_by": self.roll_by_rad,
        }
        return {name: channel for name, channel in named.items() if channel is not None}

    def __len__(self) -> int:
        return len(self.steer_rad)

    @property
    def locked(self) -> bool:
        """Whether the head's forward axis is read, too, and turns with the knuckle."""
        return self.incl_x_rad is not None

    @property
    def rolling_rad(self) -> F64:
        """The steering that the axle's roll follows."""
        return self.steer_rad if self.roll_by_rad is None else self.roll_by_rad

    def hanging(self) -> "Sweep":
        """Return the sweep of a head whose forward axis tells nothing."""
        return replace(self, incl_x_rad=None)

    def only(self, rows: MASK) -> "Sweep":
        """Return the sweep of some of its rows."""
        return replace(
            self,
            steer_rad=self.steer_rad[rows],
            incl_y_rad=self.incl_y_rad[rows],
            incl_x_rad=None if self.incl_x_rad is None else self.incl_x_rad[rows],
            roll_by_rad=None if self.roll_by_rad is None else self.roll_by_rad[rows],
        )


@dataclass(frozen=True, slots=True)
class SweepNoise:
    """Standard deviations of one reading: of an inclinometer, and of the steering, rad."""

    tilt_rad: float
    steer_rad: float = 0.0

    def __post_init__(self) -> None:
        if not (self.tilt_rad > 0.0 and self.steer_rad >= 0.0):
            raise ValueError("the noise of a tilt is above 0, that of the steering not below")


@dataclass(frozen=True, slots=True)
class SweepTerms:
    """What is common to all readings of a sweep, as standard uncertainties.

    ``zero_rad``: straight ahead, or the toe there; ``scale``: of the steering, in parts of it.
    """

    zero_rad: float = 0.0
    scale: float = 0.0

    def __post_init__(self) -> None:
        if not (self.zero_rad >= 0.0 and self.scale >= 0.0):
            raise ValueError("a standard uncertainty is not below 0")


@dataclass(frozen=True, slots=True)
class SweepLimits:
    """What a sweep must reach to be taken.

    ``u_rad`` is the largest standard uncertainty of caster and SAI, ``u_rolling_rad`` the same
    where the axle's roll is fitted (by that alone it rises to some 0.05 deg); ``closure_rad``
    how far out and back may differ at the same steering (an offset of each way by half of it
    moves SAI by some 0.1 deg); ``span_rad`` the least steering from end to end.
    """

    u_rad: float = math.radians(0.05)
    u_rolling_rad: float = math.radians(0.15)
    closure_rad: float = math.radians(0.04)
    span_rad: float = math.radians(5.0)
    condition: float = 1e4

    def __post_init__(self) -> None:
        above = (self.u_rad, self.u_rolling_rad, self.closure_rad, self.span_rad)
        if not (min(above) > 0.0 and self.condition > 1.0):
            raise ValueError("the limits of a sweep must be above zero")


def positions(steer_rad: F64) -> int:
    """Return how many different positions of the steering were read.

    Counted from one end, the next where it differs from the last: of a wheel that was read all
    the way, no two neighbours do.
    """
    left = np.sort(steer_rad)
    found = 0
    while len(left):
        found += 1
        left = left[np.searchsorted(left, left[0] + SAME_POSITION_RAD, side="right") :]
    return found
