"""What a record says of the work: where, for whom, with what, by whom."""

from datetime import date
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from calibration.records.fields import (
    ONE_LINE,
    Decimal,
    HeadId,
    Line,
    MaybeSha256,
    Moment,
    NotNegative,
    Paragraph,
    Positive,
    RecordId,
    Sha256,
    Unit,
    Whole,
    Word,
)
from calibration.records.parts import Part

ITEM_ONLY = "The results relate only to the item described here, as it was when measured."
IN_FULL = "This document is copied as a whole or, with the laboratory's written consent, in part."
NOT_ACCREDITED = "Not issued under accreditation."
STATEMENTS = (ITEM_ONLY, IN_FULL, NOT_ACCREDITED)
"""What a laboratory without accreditation says on every certificate."""


class Head(Part):
    """The item: one measuring head. ``condition``: as received, where it matters."""

    head_id: HeadId
    serial: Line = ""
    model: Line = ""
    firmware: Line = ""
    condition: Line = ""


class Lab(Part):
    """Who calibrates. ``country`` is the two-letter code of ISO 3166-1."""

    name: Line = ""
    address: Line = ""
    country: Annotated[str, Field(pattern=r"^([A-Z]{2})?$")] = ""


class Customer(Part):
    """For whom."""

    name: Line = ""
    address: Line = ""
    contact: Line = ""


class Method(Part):
    """By which procedure, in which edition."""

    name: Line = ""
    version: Line = ""


class Software(Part):
    """What computed the results; the hash is of the settings it was run with."""

    name: Line = ""
    version: Line = ""
    settings_sha256: MaybeSha256 = ""


class Stated(Part):
    """A value with its expanded uncertainty, as printed."""

    value: Decimal
    U: NotNegative
    k: Positive
    unit: Unit


class Environment(Part):
    """Conditions that influence the result."""

    temperature: Stated
    humidity: Stated | None = None


class Occasion(Part):
    """When, where, for whom and by whom: what the sheet and the record say alike."""

    issued: date
    received: date | None = None
    due: date | None = None
    """When the service begins to mark results; printed only when agreed with the customer."""
    due_agreed: bool = False
    lab: Lab = Lab()
    place: Line = ""
    customer: Customer = Customer()
    method: Method = Method()
    performed_by: Line = ""
    authorised_by: Line = ""
    accreditation: Line | None = None
    deviations: Paragraph = ""
    """From the method."""
    environment: Environment | None = None
    simulated: Annotated[bool, Field(exclude_if=lambda told: not told)] = False
    """Nothing was on a bench: the readings come from simulated heads. Absent where they do not,
    so that older records keep their text and hash."""

    @model_validator(mode="after")
    def _check_due(self) -> Self:
        if self.due is not None and self.due <= self.issued:
            raise ValueError("due is not after issued; put one of the two dates right")
        if self.due_agreed and self.due is None:
            raise ValueError("due_agreed without due")
        return self


class AlsoStated(Part):
    """A further value of a reference's certificate, with the reference's own k."""

    what: Line
    value: Decimal
    unit: Unit
    U: NotNegative


class ReferenceUse(Part):
    """A reference as it was when used: what it is worth and what says so."""

    id: Word
    kind: Annotated[str, Field(pattern=r"^[a-z][a-z-]{0,31}$")]
    """Such as ``bar``, ``sine-bar``, ``gauge-block``, ``thermometer``."""
    certificate: Line
    """Its number."""
    certificate_sha256: MaybeSha256
    """Of the certificate's file."""
    issuer: Line
    value: Decimal
    unit: Unit
    U: NotNegative
    k: Positive
    issued: date
    due: date
    also: Annotated[
        tuple[AlsoStated, ...], Field(max_length=200, exclude_if=lambda told: not told)
    ] = ()
    """Whatever else of its certificate a result stands on: an angle, the blocks of a set."""

    @model_validator(mode="after")
    def _check_dates(self) -> Self:
        if self.due <= self.issued:
            raise ValueError("due is not after issued; put one of the two dates right")
        return self


class RawFile(Part):
    """A file of readings that a result was computed from."""

    what: Word
    sha256: Sha256
    bytes: Whole


class RecordLink(Part):
    """Another record, so named that no other can take its place."""

    record_id: RecordId
    sha256: Sha256


class Signature(Part):
    """One signature; ``key_id`` is the start of the SHA-256 of the raw public key."""

    key_id: Annotated[str, Field(pattern=r"^[0-9a-f]{16}$")]
    algorithm: Literal["Ed25519"] = "Ed25519"
    value: Annotated[str, Field(pattern=r"^[A-Za-z0-9+/]{85}[AQgw]==$")]
    """64 bytes in base64, written in the one way there is (the last four bits are zero)."""


class Adjustment(Part):
    """The step between as found and as left: new coefficients put in force, signed on its own.

    ``sha256`` and ``signature`` cover what ``calibration.records.adjustment.content`` returns.
    """

    at: Moment
    by: Annotated[str, Field(min_length=1, max_length=300, pattern=ONE_LINE)]
    sha256: Sha256
    signature: Signature
