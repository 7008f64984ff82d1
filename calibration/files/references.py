"""The register of references (``references.toml``): what the bench compares heads with.

A result is worth what its references are worth, so a reference without a certificate, without
the certificate's hash, or out of date stops the work (ISO/IEC 17025:2017, 6.4 and 6.5).
"""

import datetime
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Annotated, Any, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from calibration.errors import CalibrationFileError, ReferenceRefused
from calibration.faults import fault_of
from calibration.records.fields import Line, MaybeSha256, Word
from calibration.records.papers import AlsoStated, ReferenceUse
from calibration.toml import NotToml, parse_toml


class Kind(StrEnum):
    """What kind of thing a reference is."""

    BAR = "bar"
    SINE_BAR = "sine-bar"
    GAUGE_BLOCKS = "gauge-blocks"
    THERMOMETER = "thermometer"
    REFERENCE_ENCODER = "reference-encoder"
    INDEXING_PLATE = "indexing-plate"
    LEVEL = "level"


UNITS = {
    Kind.BAR: "mm",
    Kind.SINE_BAR: "mm",
    Kind.GAUGE_BLOCKS: "mm",
    Kind.THERMOMETER: "Cel",
    Kind.REFERENCE_ENCODER: "deg",
    Kind.INDEXING_PLATE: "deg",
    Kind.LEVEL: "deg",
}
"""The unit that ``value`` and ``U`` have to be in; nothing is converted in silence."""

ANGLED = (Kind.BAR, Kind.SINE_BAR)
ANGLES = {
    Kind.BAR: "second end against the first",
    Kind.SINE_BAR: "face against the plane of the rollers",
}
STEPPED = (Kind.REFERENCE_ENCODER, Kind.LEVEL)
TURNED = (Kind.REFERENCE_ENCODER, Kind.INDEXING_PLATE)
"""What is turned to an angle, and may stop otherwise when it is come to from the other side."""

Number = Annotated[Decimal, Field(allow_inf_nan=False, max_digits=24, decimal_places=12)]
NotNegative = Annotated[Number, Field(ge=0)]
Positive = Annotated[Number, Field(gt=0)]


class _Entry(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Block(_Entry):
    """One block of a set; ``U_mm`` has the set's k."""

    nominal_mm: Positive
    deviation_mm: Number = Decimal(0)
    U_mm: NotNegative


class Reference(_Entry):
    """One reference, with the digits that its certificate gives.

    ``value`` and ``U`` are the length of a bar or sine bar, the correction of a thermometer,
    encoder, plate or level, the deviation of a set of blocks from nominal (with a fixed part U;
    ``U_per_mm`` grows with the height of the stack). ``angle_deg`` is how far a bar's second
    end is turned against its first, or a sine bar's face against its rollers. ``backlash_deg``
    is how far apart an encoder or plate may stop when one angle is come to from both sides.
    """

    id: Word
    kind: Kind
    certificate: Line = ""
    certificate_sha256: MaybeSha256 = ""
    issuer: Line = ""
    value: Number
    unit: str
    U: NotNegative
    k: Positive
    date: datetime.date
    due: datetime.date
    angle_deg: Number | None = None
    U_angle_deg: NotNegative | None = None
    step_deg: Positive | None = None
    backlash_deg: NotNegative | None = None
    U_per_mm: NotNegative | None = None
    blocks: tuple[Block, ...] = ()

    @model_validator(mode="after")
    def _check_kind(self) -> Self:
        if self.unit != UNITS[self.kind]:
            raise ValueError(
                f"unit is {self.unit!r}; a {self.kind} is stated in {UNITS[self.kind]}"
            )
        if self.due <= self.date:
            raise ValueError(f"due {self.due} is not after date {self.date}")
        if self.kind in ANGLED and (self.value <= 0 or self.U_angle_deg is None):
            raise ValueError(f"a {self.kind} needs value (its length) and U_angle_deg")
        # A set of blocks may have all of its uncertainty in U_per_mm, or in its blocks.
        if self.U_angle_deg == 0 or (self.U == 0 and self.kind is not Kind.GAUGE_BLOCKS):
            raise ValueError("U and U_angle_deg are never 0; take them from the certificate")
        self._check_strangers()
        return self

    def _check_strangers(self) -> None:
        angled = self.angle_deg is not None or self.U_angle_deg is not None
        stacked = self.U_per_mm is not None or bool(self.blocks)
        for name, there, kinds in (
            ("angle_deg", angled, ANGLED),
            ("step_deg", self.step_deg is not None, STEPPED),
            ("backlash_deg", self.backlash_deg is not None, TURNED),
            ("blocks or U_per_mm", stacked, (Kind.GAUGE_BLOCKS,)),
        ):
            if there and self.kind not in kinds:
                raise ValueError(f"{name} does not belong to a {self.kind}")

    @property
    def u(self) -> float:
        """Standard uncertainty of ``value``."""
        return float(self.U / self.k)

    @property
    def u_angle_deg(self) -> float:
        """Standard uncertainty of ``angle_deg``."""
        return float((self.U_angle_deg or Decimal(0)) / self.k)

    def stack(self, height_mm: float, blocks_mm: Collection[Decimal]) -> tuple[float, float]:
        """Return a stack's length and its standard uncertainty, mm.

        With blocks named, their deviations and uncertainties add up (calibrated together, they
        err together); without, the formula ``U + U_per_mm * height`` holds for the stack.

        Raises:
            ValueError: a block is not in the set, or only the blocks of the set are known.
        """
        if height_mm == 0:
            return 0.0, 0.0
        if blocks_mm:
            taken = [self._block(size) for size in blocks_mm]
            length = sum((b.nominal_mm + b.deviation_mm for b in taken), Decimal(0))
            return float(length), float(sum((b.U_mm for b in taken), Decimal(0)) / self.k)
        if self.U_per_mm is None:
            raise ValueError(f"say which blocks of {self.id} make {height_mm:g} mm")
        return height_mm + float(self.value), self.u + float(self.U_per_mm / self.k) * height_mm

    def _block(self, size_mm: Decimal) -> Block:
        for block in self.blocks:
            if block.nominal_mm == size_mm:
                return block
        raise ValueError(f"there is no block of {size_mm} mm in {self.id}")


@dataclass(frozen=True, slots=True)
class Register:
    """All references of a workshop; ``where`` names the file in messages."""

    where: str
    references: tuple[Reference, ...]

    def get(self, reference_id: str) -> Reference:
        """Return one reference. Raises ``CalibrationFileError`` where it is not registered."""
        for reference in self.references:
            if reference.id == reference_id:
                return reference
        known = ", ".join(r.id for r in self.references) or "none"
        reason = f"no reference {reference_id}; registered: {known}"
        raise CalibrationFileError(self.where, reason)


def parse_references(text: str, where: str = "references") -> Register:
    """Read a register from TOML text: one ``[[reference]]`` table for each.

    Raises:
        CalibrationFileError: no TOML, an unknown or missing key, a value that cannot be, or an
            id given twice.
    """
    try:
        raw = parse_toml(text, Decimal)
    except NotToml as error:
        raise CalibrationFileError(where, str(error)) from error
    tables = raw.pop("reference", None)
    if raw or not isinstance(tables, list) or not tables:
        reason = f"unknown key {next(iter(raw))}" if raw else "no [[reference]] in it"
        raise CalibrationFileError(where, f"{reason}; write one [[reference]] table for each")
    references = tuple(_entry(where, i, table) for i, table in enumerate(tables, 1))
    ids = [reference.id for reference in references]
    for name in ids:
        if ids.count(name) > 1:
            raise CalibrationFileError(where, f"reference {name} is there twice; keep one")
    return Register(where, references)


def usable(reference: Reference, on: datetime.date) -> None:
    """Stop the work where a result of day ``on`` may not stand on this reference.

    Raises:
        ReferenceRefused: no certificate, no hash of it, not yet calibrated, or out of date.
    """
    name = f"{reference.kind} {reference.id}"
    if not reference.certificate:
        raise ReferenceRefused(name, "has no certificate", "have it calibrated")
    name = f"{name} (certificate {reference.certificate})"
    if not reference.certificate_sha256:
        raise ReferenceRefused(
            name, "has no SHA-256 of its certificate", "register the file's hash"
        )
    if on < reference.date:
        reason = f"is dated {reference.date}, after the work of {on}"
        raise ReferenceRefused(name, reason, "check both dates")
    if on > reference.due:
        reason = f"was due on {reference.due}, before the work of {on}"
        raise ReferenceRefused(name, reason, "have it calibrated, and measure again")


def use_of(reference: Reference) -> ReferenceUse:
    """Return the reference as a record names it."""
    return ReferenceUse(
        id=reference.id,
        kind=reference.kind.value,
        certificate=reference.certificate,
        certificate_sha256=reference.certificate_sha256,
        issuer=reference.issuer,
        value=plain(reference.value),
        unit=reference.unit,
        U=plain(reference.U),
        k=plain(reference.k),
        issued=reference.date,
        due=reference.due,
        also=tuple(_also(reference)),
    )


def _also(reference: Reference) -> Iterator[AlsoStated]:
    """Yield what a reference states beside its value."""

    def stated(what: str, value: Decimal, unit: str, expanded: Decimal) -> AlsoStated:
        told = {"what": what, "value": plain(value), "unit": unit, "U": plain(expanded)}
        return AlsoStated.model_validate(told)

    if reference.U_angle_deg is not None:
        angle = reference.angle_deg or Decimal(0)
        yield stated(ANGLES[reference.kind], angle, "deg", reference.U_angle_deg)
    if reference.U_per_mm is not None:
        # 1 mm/m is 0.001 mm for each mm.
        per_m = reference.U_per_mm * 1000
        yield stated("more of it with the stack's height", Decimal(0), "mm/m", per_m)
    for block in reference.blocks:
        name = f"block {block.nominal_mm:f} mm, deviation"
        yield stated(name, block.deviation_mm, "mm", block.U_mm)


def plain(number: Decimal) -> str:
    """Return a number as decimal text, its zeros kept; a zero has no sign."""
    return f"{abs(number) if number == 0 else number:f}"


def _entry(where: str, position: int, table: Any) -> Reference:
    name = table.get("id", f"number {position}") if isinstance(table, dict) else position
    try:
        return Reference.model_validate(table)
    except ValidationError as error:
        fault = fault_of(error, table, Reference)
        raise CalibrationFileError(where, f"reference {name}: {fault}") from error
