"""The adjusters of correction and vehicle files: one table for each kind, and the part it tells."""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from calibration.faults import WrongAt
from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.geometry.corrections.arms import Arms
from ingest.geometry.corrections.bar_pin import BarPins, Position
from ingest.geometry.corrections.drag_link import DragLink
from ingest.geometry.corrections.eccentric import Eccentrics
from ingest.geometry.corrections.relay_rod import RelayRod
from ingest.geometry.corrections.shims import EndShims, LateralShims
from ingest.geometry.corrections.steering_stop import SteeringStop
from ingest.geometry.corrections.tie_rod import TieRod
from ingest.geometry.corrections.wedges import Wedges
from ingest.payload.adjuster_parts import (
    MM,
    AtEnds,
    Direction,
    Fitted,
    FittedPacks,
    OnLever,
    PerSide,
    Stock,
    Thickness,
    Threaded,
    shim_kinds,
)
from ingest.payload.base import Part, SideWord

PositionName = Annotated[str, Field(pattern=r"^[A-Za-z0-9 ,.+/-]{1,40}$")]
Wedge = Annotated[float, Field(gt=0, le=10)]
GoodEnough = Annotated[float, Field(ge=0, le=5)]


class ThreadedArms(AtEnds, Threaded):
    """Torque arms or radius arms along the vehicle."""

    kind: Literal["threaded_arms"]
    anchor: Literal["ahead", "behind"]
    """Where the frame ends of the arms lie, seen from the axle."""
    name: Literal["torque arm", "torque rod", "radius arm", "radius rod"] = "torque arm"

    def part(self) -> Arms:
        """Return these arms, metres and radians."""
        return Arms(self.ends(), self.thread(), self.anchor == "ahead", self.name)


class EccentricPivots(AtEnds):
    """Eccentrics that move the ends of an axle."""

    kind: Literal["eccentrics"]
    radius_mm: Annotated[float, Field(ge=0.5, le=50.0)]
    range_deg: Annotated[float, Field(gt=0, le=90)]
    at_deg: PerSide = PerSide()
    forward: Direction | None = None
    turn_step_deg: Annotated[float, Field(gt=0, le=45)] = 1.0

    @model_validator(mode="after")
    def _check_range(self) -> Self:
        for side, at_deg in (("left", self.at_deg.left), ("right", self.at_deg.right)):
            if abs(at_deg) > self.range_deg:
                why = f"lies outside range_deg ({self.range_deg:g}); read the mark again"
                raise WrongAt(f"at_deg.{side}", why)
        return self

    def part(self) -> Eccentrics:
        """Return these eccentrics, metres and radians."""
        return Eccentrics(
            self.ends(),
            self.radius_mm * MM,
            self.range_deg * DEG,
            self.at_deg.rad(),
            None if self.forward is None else self.forward.turning(),
            self.turn_step_deg * DEG,
        )


class ShimPacks(AtEnds):
    """Shim packs that move the ends of an axle."""

    kind: Literal["shims"]
    stock: Stock
    fitted: FittedPacks = FittedPacks()
    thicker_moves: Literal["forward", "rearward"]
    most_mm: Thickness
    good_enough_mm: GoodEnough = 0.0

    def part(self) -> EndShims:
        """Return them, metres and radians."""
        kinds = shim_kinds(self.stock, self.fitted)
        forward = self.thicker_moves == "forward"
        return EndShims(self.ends(), kinds, forward, self.most_mm * MM, self.good_enough_mm * MM)


class PinPosition(Part):
    """One way to fit a bar pin."""

    name: PositionName
    forward_mm: Annotated[float, Field(ge=-100, le=100)]


class PinsAt(Part):
    """Where the pins are fitted now."""

    left: PositionName
    right: PositionName


class BarPinPositions(AtEnds):
    """Bar pins that can be fitted in several positions."""

    kind: Literal["bar_pins"]
    positions: Annotated[tuple[PinPosition, ...], Field(min_length=2, max_length=50)]
    at: PinsAt

    @model_validator(mode="after")
    def _check_names(self) -> Self:
        names = [position.name for position in self.positions]
        if len(set(names)) != len(names):
            raise WrongAt("positions", "two of them have the same name; give each its own")
        for side, name in (("left", self.at.left), ("right", self.at.right)):
            if name not in names:
                raise WrongAt(f"at.{side}", f"is none of the positions: {', '.join(names)}")
        return self

    def part(self) -> BarPins:
        """Return them, metres and radians."""
        positions = {p.name: Position(p.name, p.forward_mm * MM) for p in self.positions}
        at = {Side.LEFT: positions[self.at.left], Side.RIGHT: positions[self.at.right]}
        return BarPins(self.ends(), tuple(positions.values()), at)


class LateralShimPack(Part):
    """The shim pack of a rod across the vehicle."""

    kind: Literal["lateral_shims"]
    stock: Stock
    fitted: Fitted = ()
    thicker_moves: SideWord
    most_mm: Thickness
    good_enough_mm: GoodEnough = 0.0

    def part(self) -> LateralShims:
        """Return them, metres and radians."""
        kinds = shim_kinds(self.stock, FittedPacks(left=self.fitted))
        return LateralShims(
            kinds, self.thicker_moves == "left", self.most_mm * MM, self.good_enough_mm * MM
        )


class TieRodTable(OnLever):
    """The tie rod between the steering arms of an axle."""

    kind: Literal["tie_rod"]
    rod: Literal["ahead", "behind"]
    drag_link_side: SideWord | None = None

    def part(self) -> TieRod:
        """Return this rod, metres and radians."""
        held = None if self.drag_link_side is None else Side(self.drag_link_side)
        return TieRod(self.lever(), self.rod == "ahead", self.thread(), held)


class DragLinkTable(OnLever):
    """The drag link from the drop arm."""

    kind: Literal["drag_link"]
    ratio: Annotated[float, Field(ge=5, le=60)]
    left_steer: Literal["pushes", "pulls"]

    def part(self) -> DragLink:
        """Return this link, metres and radians."""
        pushes = self.left_steer == "pushes"
        return DragLink(self.lever(), self.ratio, pushes, self.thread())


class RelayRodTable(OnLever):
    """The rod to the second steer axle."""

    kind: Literal["relay_rod"]
    left_steer: Literal["pushes", "pulls"]

    def part(self) -> RelayRod:
        """Return this rod, metres and radians."""
        return RelayRod(self.lever(), self.left_steer == "pushes", self.thread())


class SteeringStopTable(Threaded):
    """The stop bolt of one lock."""

    kind: Literal["steering_stop"]
    radius_mm: Annotated[float, Field(ge=30, le=600)]
    most_deg: Annotated[float, Field(gt=0, le=75)]
    """Largest lock angle that the vehicle maker allows."""

    def part(self, side: Side) -> SteeringStop:
        """Return the bolt of the lock to a side, metres and radians."""
        return SteeringStop(self.radius_mm * MM, side, self.thread())


class WedgeStock(Part):
    """Wedges of one angle on the shelf."""

    angle_deg: Wedge
    count: Annotated[int, Field(ge=0, le=50)]


class CasterWedges(Part):
    """Tapered wedges on the spring pads."""

    kind: Literal["wedges"]
    stock: Annotated[tuple[WedgeStock, ...], Field(max_length=20)]
    fitted_deg: PerSide = PerSide()
    """Thick end to the rear positive."""
    most_difference_deg: Annotated[float, Field(ge=0, le=10)]
    most_deg: Wedge
    spring: Literal["above", "below"]
    driven: bool = False
    length_mm: Annotated[float, Field(ge=40, le=500)] | None = None

    def part(self) -> Wedges:
        """Return the wedges, radians and metres."""
        fitted = self.fitted_deg.rad()
        return Wedges(
            tuple(each.angle_deg * DEG for each in self.stock for _ in range(each.count)),
            (fitted[Side.LEFT], fitted[Side.RIGHT]),
            self.most_difference_deg * DEG,
            self.most_deg * DEG,
            self.spring == "above",
            self.driven,
            None if self.length_mm is None else self.length_mm * MM,
        )


class BeamAxle(Part):
    """An axle whose camber is as it was made."""

    kind: Literal["beam_axle"]


HeadingTable = Annotated[
    ThreadedArms | EccentricPivots | ShimPacks | BarPinPositions, Field(discriminator="kind")
]
"""What turns an axle by its ends."""
