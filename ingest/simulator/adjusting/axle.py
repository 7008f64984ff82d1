"""All that can be adjusted of one axle, by the name of its part, and how the axle then stands."""

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple, TypeVar

import numpy as np

from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.simulator.adjusting import draw
from ingest.simulator.adjusting.ends import ArmEnd, EccentricEnd, End, PackEnd, PinEnd
from ingest.simulator.adjusting.errors import NotAtHand
from ingest.simulator.adjusting.parts import (
    BarPins,
    DragLink,
    Eccentrics,
    EndArms,
    EndShims,
    Hand,
    LateralShims,
    Part,
    RelayRod,
    SteeringStop,
    TieRod,
    Wedges,
)
from ingest.simulator.adjusting.screw import Screw
from ingest.simulator.adjusting.shelf import Pack, Shelf, Shims
from ingest.simulator.adjusting.steering import AxlePose
from ingest.simulator.vehicle import Vehicle

P = TypeVar("P")

SAME_WEDGE_RAD = 0.006 * DEG
"""What is stamped on a wedge has two decimals."""
STOP_DEG = (40.0, 46.0)
"""Turn of a knuckle at which its stop acts, as found."""


class Place(NamedTuple):
    """Which adjuster: the axle, its part's name as people say it, the side where it has one."""

    axle: int
    part: str
    side: Side | None = None

    def __str__(self) -> str:
        side = "" if self.side is None else f"{self.side} "
        return f"{side}{self.part} of axle {self.axle}"


class WedgeSeat:
    """A spring pad with the wedge in it, 0 for none; thick end to the rear positive."""

    def __init__(self, fitted_rad: float, shelf: Shelf, sign: float, gain: float) -> None:
        self.fitted_rad = self._first_rad = fitted_rad
        self._shelf, self._gain = shelf, sign * gain

    @property
    def tip_rad(self) -> float:
        """How far the steering axis leans rearward against how it was found."""
        return self._gain * (self.fitted_rad - self._first_rad)

    def fit(self, wedge_rad: float) -> None:
        """Put another wedge in, or none. Raises ``NotAtHand``."""
        out = [abs(self.fitted_rad)] if self.fitted_rad else []
        wanted = [abs(wedge_rad)] if wedge_rad else []
        (new,) = self._shelf.exchange(out, wanted) or (0.0,)
        self.fitted_rad = float(np.copysign(new, wedge_rad))


Adjuster = Screw | EccentricEnd | Pack | PinEnd | WedgeSeat


class AdjustableAxle:
    """One axle of a vehicle with its adjusters, each truly measuring what chance made of it."""

    def __init__(
        self, vehicle: Vehicle, number: int, parts: Sequence[Part], random: np.random.Generator
    ) -> None:
        self.number = number
        self.places: dict[Place, Adjuster] = {}
        self.stops: dict[Side, draw.Stop] = {}
        self.eccentric_hand: Hand | None = None
        self._lateral: tuple[Pack, float] | None = None
        self._wedges: Mapping[Side, WedgeSeat] = {}
        axle = vehicle.axles[number]
        ends = _only([p for p in parts if isinstance(p, EndArms | Eccentrics | EndShims | BarPins)])
        self._held = None if ends is None else draw.held_axle(random, axle.heading_rad, ends)
        tie = _only([part for part in parts if isinstance(part, TieRod)])
        holder = _only([part for part in parts if isinstance(part, DragLink | RelayRod)])
        self.linkage = draw.linkage(random, vehicle, axle, tie, holder) if axle.steered else None
        if self._held is not None:
            self.places |= _end_places(number, ends, self._held.ends)
        if isinstance(ends, Eccentrics):
            self.eccentric_hand = ends.forward
        self._add_rods(tie, holder)
        for part in parts:
            self._add(part, random)

    def pose(self) -> AxlePose:
        """Return how the axle stands. Raises ``Stuck`` where nothing holds it so."""
        turned, ahead = (0.0, 0.0) if self._held is None else self._held.held()
        aside = 0.0 if self._lateral is None else self._lateral[1] * self._lateral[0].thicker_m
        tips = {side: 0.0 if not self._wedges else self._wedges[side].tip_rad for side in Side}
        return AxlePose(turned, ahead, aside, tips)

    def adjuster(self, place: Place) -> Adjuster:
        """Return what is there. Raises ``NotAtHand``."""
        if place not in self.places:
            raise NotAtHand(f"there is no {place}")
        return self.places[place]

    def _add_rods(self, tie: TieRod | None, holder: DragLink | RelayRod | None) -> None:
        if self.linkage is None:
            return
        if tie is not None and self.linkage.tie is not None:
            self.places[Place(self.number, "tie rod")] = self.linkage.tie
        if holder is not None and self.linkage.holder is not None:
            name = "drag link" if isinstance(holder, DragLink) else "relay rod"
            self.places[Place(self.number, name)] = self.linkage.holder.screw

    def _add(self, part: Part, random: np.random.Generator) -> None:
        number = self.number
        match part:
            case LateralShims():
                shims = Shims(part.stock_m, part.fitted_m, random)
                pack = Pack(shims, part.fitted_m, part.most_m)
                self._lateral = pack, 1.0 if part.to_left else -1.0
                self.places[Place(number, "shim pack of the lateral rod")] = pack
            case SteeringStop():
                screw = Screw(part.threads, random)
                first = part.side.sign * float(random.uniform(*STOP_DEG)) * DEG
                radius_m = draw.near(random, part.radius_m)
                self.stops[part.side] = draw.Stop(screw, radius_m, abs(first))
                self.places[Place(number, "stop bolt", part.side)] = screw
            case Wedges():
                shelf = Shelf(part.stock_rad, SAME_WEDGE_RAD)
                sign = 1.0 if part.above_axle else -1.0
                self._wedges = {
                    side: WedgeSeat(part.fitted_rad[side], shelf, sign, draw.near(random, 1.0))
                    for side in Side
                }
                for side, seat in self._wedges.items():
                    self.places[Place(number, "spring pad", side)] = seat


def _only(found: Sequence[P]) -> P | None:
    """Return the only one there is, if any. Raises ``ValueError`` where there are two."""
    if len(found) > 1:
        raise ValueError("two parts would adjust the same")
    return found[0] if found else None


def _end_places(
    number: int, part: Part | None, ends: Mapping[Side, End]
) -> Iterator[tuple[Place, Adjuster]]:
    """Yield the adjusters at the ends of an axle."""
    for side, end in ends.items():
        match end:
            case ArmEnd():
                assert isinstance(part, EndArms)
                yield Place(number, part.name, side), end.screw
            case EccentricEnd():
                yield Place(number, "eccentric", side), end
            case PackEnd():
                yield Place(number, "shim pack", side), end.pack
            case PinEnd():
                yield Place(number, "bar pin", side), end
