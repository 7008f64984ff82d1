"""What the tables of adjusters in a correction file share: threads, directions, shims, ends."""

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.geometry.corrections.axle_ends import Ends
from ingest.geometry.corrections.lever import Lever
from ingest.geometry.corrections.pack_search import ShimKind
from ingest.geometry.corrections.thread import Thread, Turning
from ingest.payload.base import Part

MM = 1e-3
"""Metres in a millimetre."""

Between = Annotated[float, Field(ge=0.3, le=3.0)]
"""m. Between the adjusters of one axle: no road vehicle is wider."""
Pitch = Annotated[float, Field(ge=0.2, le=10.0)]
"""mm. From fine to the coarsest thread that anybody cuts on a rod."""


def _listed(value: Any) -> Any:
    """A number alone stands for a list of one; what is no list is refused as a number would be."""
    return tuple(value) if isinstance(value, (list, tuple)) else (value,)


_Some = Annotated[tuple[Pitch, ...], Field(min_length=1, max_length=2)]
Pitches = Annotated[_Some, BeforeValidator(_listed, json_schema_input_type=Pitch | _Some)]
Radius = Annotated[float, Field(ge=30.0, le=1000.0)]
"""mm. Of a steering lever."""
Lean = Annotated[float, Field(ge=-75.0, le=75.0)]
"""deg."""
Thickness = Annotated[float, Field(ge=0.05, le=50.0)]
"""mm."""
Move = Annotated[float, Field(ge=0.0, le=500.0)]
"""mm."""
Seen = Literal["front", "rear", "left", "right", "above", "below", "outside", "inside"]
Adjust = Literal["left", "right", "both"]

IN_WORDS = {
    "front": "the front",
    "rear": "the rear",
    "left": "the left",
    "right": "the right",
    "outside": "outside the vehicle",
    "inside": "under the vehicle's middle",
}


class Direction(Part):
    """Which way to turn, and from where that is seen."""

    turn: Literal["clockwise", "counter-clockwise"]
    seen_from: Seen

    def turning(self) -> Turning:
        """Return the direction as the corrections say it."""
        return Turning(self.turn == "clockwise", IN_WORDS.get(self.seen_from, self.seen_from))


class Travel(Part):
    """How much longer and shorter a part may become, as its maker allows."""

    longer: Move
    shorter: Move


class Threaded(Part):
    """Keys of every adjuster with a thread."""

    pitch_mm: Pitches
    """Of the thread at the end that turns; two, of opposite hand, where both ends turn."""
    turn_step_deg: Annotated[float, Field(gt=0, le=360)] = 5.0
    lengthens: Direction | None = None
    travel_mm: Travel | None = None

    def thread(self) -> Thread:
        """Return the thread, metres and radians."""
        travel = self.travel_mm
        return Thread(
            tuple(pitch * MM for pitch in self.pitch_mm),
            self.turn_step_deg * DEG,
            None if self.lengthens is None else self.lengthens.turning(),
            None if travel is None else travel.longer * MM,
            None if travel is None else travel.shorter * MM,
        )


class OnLever(Threaded):
    """Keys of a rod on a steering lever."""

    arm_mm: Radius
    arm_deg: Lean = 0.0

    def lever(self) -> Lever:
        """Return the lever, metres and radians."""
        return Lever(self.arm_mm * MM, self.arm_deg * DEG)


class AtEnds(Part):
    """Keys of adjusters at both ends of an axle."""

    between_m: Between
    adjust: Adjust

    def ends(self) -> Ends:
        """Return the ends that may be moved."""
        both = (Side.LEFT, Side.RIGHT)
        return Ends(self.between_m, both if self.adjust == "both" else (Side(self.adjust),))


class Shims(Part):
    """Shims of one thickness on the shelf."""

    thickness_mm: Thickness
    count: Annotated[int, Field(ge=0, le=50)]


Stock = Annotated[tuple[Shims, ...], Field(max_length=20)]
Fitted = Annotated[tuple[Thickness, ...], Field(max_length=20)]


class FittedPacks(Part):
    """The shims that are in now."""

    left: Fitted = ()
    right: Fitted = ()


def shim_kinds(stock: Stock, fitted: FittedPacks) -> tuple[ShimKind, ...]:
    """Return stock and packs by thickness, thickest first, one entry each."""
    sizes = {shims.thickness_mm for shims in stock} | {*fitted.left, *fitted.right}
    return tuple(
        ShimKind(
            size * MM,
            sum(shims.count for shims in stock if shims.thickness_mm == size),
            fitted.left.count(size),
            fitted.right.count(size),
        )
        for size in sorted(sizes, reverse=True)
    )


class PerSide(Part):
    """An angle on each side, degrees."""

    left: Lean = 0.0
    right: Lean = 0.0

    def rad(self) -> dict[Side, float]:
        """Return the angles in radians."""
        return {Side.LEFT: self.left * DEG, Side.RIGHT: self.right * DEG}
