"""The adjusters of a vehicle as its maker draws them. Metres, radians.

These are the simulator's own values; what a part truly measures is drawn from them (``draw``).
"""

from collections.abc import Mapping
from dataclasses import dataclass

from ingest.core.frames import Side


@dataclass(frozen=True, slots=True)
class Hand:
    """Which turning makes a part longer, as seen from there, such as ``the front``."""

    clockwise: bool
    seen_from: str


@dataclass(frozen=True, slots=True)
class Threads:
    """Threads that turn together: a turn changes the length by the sum of the pitches.

    ``longer_m`` and ``shorter_m``: the travel that the maker allows, None where nobody says.
    """

    pitches_m: tuple[float, ...]
    lengthens: Hand | None = None
    longer_m: float | None = None
    shorter_m: float | None = None


@dataclass(frozen=True, slots=True)
class EndArms:
    """Threaded arms along the vehicle, ``between_m`` apart; ``name`` is what people call one."""

    between_m: float
    threads: Threads
    anchor_ahead: bool
    name: str = "torque arm"


@dataclass(frozen=True, slots=True)
class Eccentrics:
    """Eccentric pivots; ``at_rad`` from the middle of their range towards the front."""

    between_m: float
    radius_m: float
    range_rad: float
    at_rad: Mapping[Side, float]
    forward: Hand | None = None


@dataclass(frozen=True, slots=True)
class EndShims:
    """Shim packs at both ends of an axle; ``forward`` where a thicker one moves its end forward."""

    between_m: float
    forward: bool
    most_m: float
    fitted_m: Mapping[Side, tuple[float, ...]]
    stock_m: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class BarPins:
    """Pins with a few positions, by name how far forward each holds the axle's end."""

    between_m: float
    forward_m: Mapping[str, float]
    at: Mapping[Side, str]


@dataclass(frozen=True, slots=True)
class LateralShims:
    """The pack of a rod across the vehicle; ``to_left`` where a thicker one moves the axle left."""

    to_left: bool
    most_m: float
    fitted_m: tuple[float, ...]
    stock_m: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Arm:
    """A steering lever: from its axis to the ball joint, and how far it stands from square."""

    radius_m: float
    at_rad: float = 0.0


@dataclass(frozen=True, slots=True)
class TieRod:
    """The rod between both knuckles. The arms' angle is their lean from lengthwise, inward."""

    threads: Threads
    arm: Arm
    ahead: bool


@dataclass(frozen=True, slots=True)
class DragLink:
    """The link from the drop arm to the knuckle on side ``held``.

    The arm is the drop arm. ``ratio``: turns of the steering wheel for one of the drop arm.
    """

    threads: Threads
    arm: Arm
    ratio: float
    left_pushes: bool
    held: Side = Side.LEFT


@dataclass(frozen=True, slots=True)
class RelayRod:
    """The rod from the relay lever to a knuckle of the second steer axle; the arm is that one's."""

    threads: Threads
    arm: Arm
    left_pushes: bool
    held: Side = Side.LEFT


@dataclass(frozen=True, slots=True)
class SteeringStop:
    """The bolt that ends the lock to ``side``, ``radius_m`` from the steering axis."""

    threads: Threads
    radius_m: float
    side: Side


@dataclass(frozen=True, slots=True)
class Wedges:
    """Caster wedges on both spring pads; thick end to the rear positive, 0 for none."""

    fitted_rad: Mapping[Side, float]
    stock_rad: tuple[float, ...]
    above_axle: bool


EndParts = EndArms | Eccentrics | EndShims | BarPins
Part = EndParts | LateralShims | TieRod | DragLink | RelayRod | SteeringStop | Wedges
