"""The file of ``levelhead correct``: a measured value, its target, and an adjuster.

One model for each quantity; ``quantity`` tells which. The forms stand in
``ingest/geometry/corrections/FILES.md``.
"""

from typing import Annotated, Any, Literal, Self, get_args

from pydantic import Field, TypeAdapter, ValidationError, model_validator

from calibration.faults import WrongAt
from calibration.measured import Measured
from calibration.records.canonical import parse
from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.geometry.corrections.camber import refer_camber
from ingest.geometry.corrections.parts import correct_by
from ingest.geometry.corrections.wanted import Correction, Quantity, Wanted
from ingest.payload.adjuster_parts import MM
from ingest.payload.adjusters import (
    BeamAxle,
    CasterWedges,
    DragLinkTable,
    HeadingTable,
    LateralShimPack,
    RelayRodTable,
    SteeringStopTable,
    TieRodTable,
)
from ingest.payload.base import Part, SideWord
from ingest.payload.correction_faults import fault_of

SOURCE = "correction file"

Small = Annotated[float, Field(ge=-10, le=10)]
"""deg. Headings, toe, camber: more is no alignment matter."""
Caster = Annotated[float, Field(ge=-20, le=20)]
Lock = Annotated[float, Field(gt=0, le=75)]
Offset = Annotated[float, Field(ge=-200, le=200)]
"""mm."""
UDeg = Annotated[float, Field(ge=1e-4, le=10)]
"""deg, standard uncertainty; nobody measures better, and nothing is known exactly."""


class CorrectionFile(Part):
    """Keys of every file."""

    quantity: str
    axle: Annotated[int, Field(ge=1, le=20)]
    """Counted from the front."""


class AngleFile(CorrectionFile):
    """A file about one angle."""

    u_deg: UDeg
    measured_deg: Small
    target_deg: Small

    def wanted(self, side: Side | None = None) -> Wanted:
        """Return what is wanted, radians."""
        measured = Measured.of(self.measured_deg * DEG, self.u_deg * DEG, source=SOURCE)
        return Wanted(Quantity(self.quantity), self.axle, measured, self.target_deg * DEG, side)


class HeadingFile(AngleFile):
    """``axle_heading``: positive where the axle steers the vehicle to the left."""

    quantity: Literal["axle_heading"]
    adjuster: HeadingTable

    def correct(self) -> Correction:
        """Return the correction."""
        return correct_by(self.adjuster.part(), self.wanted())


class TotalToeFile(AngleFile):
    """``total_toe``: toe-in positive."""

    quantity: Literal["total_toe"]
    adjuster: TieRodTable

    def correct(self) -> Correction:
        """Return the correction."""
        return correct_by(self.adjuster.part(), self.wanted())


class SteeringWheelFile(AngleFile):
    """``steering_wheel``: its angle while the road wheels are straight, left positive."""

    quantity: Literal["steering_wheel"]
    measured_deg: Annotated[float, Field(ge=-180, le=180)]
    target_deg: Annotated[float, Field(ge=-180, le=180)]
    adjuster: DragLinkTable

    def correct(self) -> Correction:
        """Return the correction."""
        return correct_by(self.adjuster.part(), self.wanted())


class ParallelismFile(AngleFile):
    """``steer_parallelism``: heading of the second steer axle less that of the first."""

    quantity: Literal["steer_parallelism"]
    adjuster: RelayRodTable

    def correct(self) -> Correction:
        """Return the correction."""
        return correct_by(self.adjuster.part(), self.wanted())


class LockAngleFile(AngleFile):
    """``lock_angle``: of the inner wheel, steered to ``side`` as far as it goes."""

    quantity: Literal["lock_angle"]
    side: SideWord
    measured_deg: Lock
    target_deg: Lock
    adjuster: SteeringStopTable

    @model_validator(mode="after")
    def _check_target(self) -> Self:
        if self.target_deg > self.adjuster.most_deg:
            why = f"is above adjuster.most_deg ({self.adjuster.most_deg:g}), the maker's most"
            raise WrongAt("target_deg", f"{why}; correct either")
        return self

    def correct(self) -> Correction:
        """Return the correction."""
        side = Side(self.side)
        return correct_by(self.adjuster.part(side), self.wanted(side))


class CamberFile(AngleFile):
    """``camber`` of one wheel of a beam axle."""

    quantity: Literal["camber"]
    side: SideWord
    adjuster: BeamAxle

    def correct(self) -> Correction:
        """Return the correction."""
        return refer_camber(self.wanted(Side(self.side)))


class BothCasters(Part):
    """Caster on both sides, degrees."""

    left: Caster
    right: Caster


class CasterFile(CorrectionFile):
    """``caster`` of both sides of an axle."""

    quantity: Literal["caster"]
    measured_deg: BothCasters
    u_deg: UDeg
    target_deg: BothCasters
    adjuster: CasterWedges

    def correct(self) -> Correction:
        """Return the correction."""
        return correct_by(self.adjuster.part(), self._wanted(Side.LEFT), self._wanted(Side.RIGHT))

    def _wanted(self, side: Side) -> Wanted:
        value_deg = getattr(self.measured_deg, side.value)
        measured = Measured.of(value_deg * DEG, self.u_deg * DEG, source=f"{SOURCE}, {side}")
        target = getattr(self.target_deg, side.value) * DEG
        return Wanted(Quantity(self.quantity), self.axle, measured, target, side)


class LateralOffsetFile(CorrectionFile):
    """``lateral_offset``: axle mid-point left of the centre line positive."""

    quantity: Literal["lateral_offset"]
    measured_mm: Offset
    u_mm: Annotated[float, Field(ge=1e-3, le=200)]
    target_mm: Offset
    adjuster: LateralShimPack

    def correct(self) -> Correction:
        """Return the correction."""
        measured = Measured.of(self.measured_mm * MM, self.u_mm * MM, source=SOURCE)
        wanted = Wanted(Quantity(self.quantity), self.axle, measured, self.target_mm * MM)
        return correct_by(self.adjuster.part(), wanted)


AnyFile = (
    HeadingFile
    | LateralOffsetFile
    | TotalToeFile
    | SteeringWheelFile
    | ParallelismFile
    | LockAngleFile
    | CasterFile
    | CamberFile
)
READER: TypeAdapter[AnyFile] = TypeAdapter(Annotated[AnyFile, Field(discriminator="quantity")])


def parse_correction(text: str, where: str) -> AnyFile:
    """Read a correction file; ``where`` names it in messages.

    Raises:
        CalibrationFileError: it is no JSON object, or a number in it is none.
        ConfigError: a key is missing, unknown, or has a value that cannot be.
    """
    raw: dict[str, Any] = parse(text, where)
    try:
        return READER.validate_json(text, strict=True)
    except ValidationError as error:
        raise fault_of(where, error, raw, _model_of(raw)) from error


def _model_of(raw: dict[str, Any]) -> type[CorrectionFile]:
    """Return the model of a file's quantity, so that a misspelt key is told the right one."""
    models: tuple[type[CorrectionFile], ...] = get_args(AnyFile)
    told = {get_args(model.model_fields["quantity"].annotation)[0]: model for model in models}
    quantity = raw.get("quantity")
    return told.get(quantity, CorrectionFile) if isinstance(quantity, str) else CorrectionFile
