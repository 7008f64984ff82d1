"""The table of an axle in a vehicle file: what it is, and what adjusts each of its quantities."""

from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field

from ingest.core.frames import Side
from ingest.geometry.corrections.wanted import Quantity
from ingest.job.vehicle.axles import Adjuster, Axle, RideHeight, Role, Tyre
from ingest.payload.adjuster_parts import MM
from ingest.payload.adjusters import (
    CasterWedges,
    DragLinkTable,
    HeadingTable,
    LateralShimPack,
    RelayRodTable,
    SteeringStopTable,
    TieRodTable,
)
from ingest.payload.base import Part

Word = Annotated[str, Field(min_length=1, max_length=80, pattern=r"^[^\x00-\x1f]+$")]
Id = Annotated[str, Field(pattern=r"^[a-z0-9_-]{1,32}$")]
RoleWord = Literal["steer", "second_steer", "drive", "pusher", "tag", "lift", "trailer", "dolly"]
AxleNumber = Annotated[int, Field(ge=1, le=20)]
Behind = Annotated[float, Field(ge=-20.0, le=60.0)]
"""m. No combination on the road is longer."""


class TyreTable(Part):
    """The tyres of an axle."""

    size: Annotated[str, Field(min_length=1, max_length=40, pattern=r"^[^\x00-\x1f]+$")]
    """As it is written on the tyre."""
    diameter_mm: Annotated[float, Field(ge=400, le=1800)]
    """Of the tyre, unladen."""
    width_mm: Annotated[float, Field(ge=120, le=700)]
    """Of one tyre."""


class RideHeightTable(Part):
    """How high the suspension must stand while the axle is measured."""

    height_mm: Annotated[float, Field(ge=10, le=1500)]
    """Between the two points."""
    between: Word
    """Which two points, in the vehicle maker's words."""
    source: Word
    """Who says so: the maker's document, or how it was measured."""


class StopsTable(Part):
    """The steering stops: a bolt for each lock."""

    left: SteeringStopTable | None = None
    """The bolt that ends the lock to the left."""
    right: SteeringStopTable | None = None
    """The bolt that ends the lock to the right."""


class AxleTable(Part):
    """One axle."""

    number: AxleNumber
    """Counted from 1 at the front, in the order of the file."""
    unit: Id
    """The id of its unit."""
    role: RoleWord
    """What it is for."""
    behind_m: Behind
    """How far it stands behind axle 1, the combination straight."""
    track_m: Annotated[float, Field(ge=1.0, le=3.0)]
    """Between the faces that the wheels of both sides are bolted to."""
    rim_mm: Annotated[float, Field(ge=200, le=1000)]
    """Diameter of the rim."""
    tyre: TyreTable
    """Size and diameter of its tyres."""
    toe_at_mm: Annotated[float, Field(ge=200, le=1800)] | None = None
    """Diameter at which toe in mm is told; without it the rim's."""
    dual: bool = False
    """Two tyres on each side."""
    beam: bool = True
    """`false` where each wheel is hung by itself."""
    reference: bool = False
    """The axle that its unit is told against, where the usual choice is not meant."""
    ride_height: RideHeightTable | None = None
    """How high the suspension must stand."""
    lateral_offset: LateralShimPack | None = None
    """What shifts the axle sideways."""
    axle_heading: HeadingTable | None = None
    """What turns the axle by its ends."""
    caster: CasterWedges | None = None
    """What sets the caster of both sides."""
    total_toe: TieRodTable | None = None
    """What sets the total toe."""
    steering_wheel: DragLinkTable | None = None
    """What sets the steering wheel straight."""
    steer_parallelism: RelayRodTable | None = None
    """What sets the second steer axle to the first."""
    lock_angle: StopsTable | None = None
    """What ends the locks."""

    def value(self) -> Axle:
        """Return the axle, metres and radians."""
        height, toe_at_mm = self.ride_height, self.toe_at_mm or self.rim_mm
        return Axle(
            self.number,
            self.unit,
            Role(self.role),
            self.behind_m,
            self.track_m,
            Tyre(self.tyre.size, self.tyre.diameter_mm * MM, self.tyre.width_mm * MM),
            self.rim_mm * MM,
            toe_at_mm * MM,
            self.dual,
            self.beam,
            None
            if height is None
            else RideHeight(height.height_mm * MM, height.between, height.source),
            tuple(self._adjusters()),
            self.reference,
        )

    def _adjusters(self) -> Iterator[Adjuster]:
        """Yield what adjusts it, in the order in which it is worked: what moves others first."""
        for quantity, table in (
            (Quantity.LATERAL_OFFSET, self.lateral_offset),
            (Quantity.AXLE_HEADING, self.axle_heading),
            (Quantity.CASTER, self.caster),
            (Quantity.TOTAL_TOE, self.total_toe),
            (Quantity.STEERING_WHEEL, self.steering_wheel),
            (Quantity.STEER_PARALLELISM, self.steer_parallelism),
        ):
            if table is not None:
                yield Adjuster(quantity, table.part())
        if self.lock_angle is not None:
            for side, stop in (
                (Side.LEFT, self.lock_angle.left),
                (Side.RIGHT, self.lock_angle.right),
            ):
                if stop is not None:
                    yield Adjuster(Quantity.LOCK_ANGLE, stop.part(side), side)
