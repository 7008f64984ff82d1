"""The calibration record: all that a head's certificate prints, in one immutable document.

A record without a signature is a draft. Blank fields of a draft are filled in while the work
goes on; ``calibration.records.check`` says which of them a certificate still lacks.
"""

from datetime import date
from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from calibration.decision import Rule
from calibration.records.fields import Conformity, Line, MaybeSha256, Paragraph, RecordId
from calibration.records.papers import (
    STATEMENTS,
    Adjustment,
    Head,
    Occasion,
    RawFile,
    RecordLink,
    ReferenceUse,
    Signature,
    Software,
)
from calibration.records.parts import (
    AnyChannel,
    AzimuthChannel,
    ChannelFigures,
    CircularChannel,
    Coefficients,
    EncoderPart,
    Port,
    TiltPart,
)
from calibration.records.results import Budget, FitSummary, Run, Stability

FORMAT: Literal["levelhead-calibration"] = "levelhead-calibration"
NEWEST: Literal[3] = 3
"""The version that this program writes; drafts of an older one are lifted as they grow."""
TITLE = "Calibration certificate"
WORST_FIRST: tuple[Conformity, ...] = (
    "fail",
    "conditional-fail",
    "conditional-pass",
    "none",
    "pass",
)
"""What could not be decided is no pass."""


class CalibrationRecord(Occasion):
    """One head's calibration. Only ``seal`` and ``load_record`` make one that counts."""

    format: Literal["levelhead-calibration"] = FORMAT
    version: Literal[2, 3] = NEWEST
    """Since 3 an adjustment is a step of its own, with a signature of its own."""
    record_id: RecordId
    """Also the certificate's number."""
    title: Line = TITLE
    head: Head

    performed_from: date
    performed_to: date

    external: Paragraph | None = None
    """Which results came from outside providers."""
    statements: Annotated[tuple[Paragraph, ...], Field(max_length=20)] = STATEMENTS

    references: Annotated[tuple[ReferenceUse, ...], Field(max_length=100)] = ()
    raw: Annotated[tuple[RawFile, ...], Field(max_length=100)] = ()

    coefficients: Coefficients = Coefficients()
    """In force from now on."""
    coefficients_before: Coefficients | None = None
    """Those of the head's previous record; null for a head that had none."""
    adjusted: bool = False
    adjustment: Annotated[Adjustment | None, Field(exclude_if=lambda told: told is None)] = None
    """Absent where nothing was adjusted, or not yet."""
    fits: Annotated[tuple[FitSummary, ...], Field(max_length=100)] = ()
    stability: Annotated[tuple[Stability, ...], Field(max_length=20)] = ()
    as_found: Run | None = None
    as_left: Run | None = None
    """Null where nothing was adjusted: as found is then as left."""
    budgets: Annotated[tuple[Budget, ...], Field(max_length=100)] = ()
    decision_rule: Rule | None = None
    """Fixed before measuring."""
    head_class: Line = ""

    software: Software = Software()
    previous: RecordLink | None = None
    """The head's record before this one."""
    amends: RecordLink | None = None
    """The certificate that this one replaces."""
    sha256: MaybeSha256 = ""
    """Hash of everything but itself and the signatures; empty until sealed."""
    signatures: Annotated[tuple[Signature, ...], Field(max_length=8)] = ()

    @model_validator(mode="after")
    def _check_dates(self) -> Self:
        if self.performed_to < self.performed_from:
            raise ValueError("performed_to is before performed_from")
        if self.issued < self.performed_to:
            raise ValueError("issued is before performed_to")
        if self.received is not None and self.received > self.performed_from:
            raise ValueError("received is after performed_from")
        return self

    @model_validator(mode="after")
    def _check_runs(self) -> Self:
        for name, run in (("as_found", self.as_found), ("as_left", self.as_left)):
            if run is not None and not self.performed_from <= run.performed <= self.performed_to:
                raise ValueError(f"{name} was not performed between performed_from and _to")
        return self

    @model_validator(mode="after")
    def _check_version(self) -> Self:
        if self.version < 3 and self.adjustment is not None:
            raise ValueError("adjustment belongs to version 3")
        return self

    @property
    def head_id(self) -> str:
        """The head's own identity."""
        return self.head.head_id

    @property
    def tilt(self) -> TiltPart | None:
        """The inclinometer's coefficients in force."""
        return self.coefficients.tilt

    @property
    def encoders(self) -> dict[CircularChannel, EncoderPart]:
        """The encoders' coefficients in force."""
        return self.coefficients.encoders

    @property
    def ports(self) -> dict[AzimuthChannel, Port]:
        """Where sightlines start."""
        return self.coefficients.ports

    @property
    def stub_m(self) -> float:
        """Length of the stub shaft."""
        return self.coefficients.stub_m

    @property
    def u_stub_m(self) -> float:
        """Its standard uncertainty."""
        return self.coefficients.u_stub_m

    @property
    def channels(self) -> dict[AnyChannel, ChannelFigures]:
        """Noise and resolution of each channel."""
        return self.coefficients.channels

    @property
    def run_in_force(self) -> Run | None:
        """The verification that the coefficients in force stand on."""
        return self.as_left if self.adjusted else self.as_found

    @property
    def result(self) -> Conformity:
        """The worst decision of the verification that the coefficients in force stand on."""
        decided = {v.decision for v in self.run_in_force.verdicts} if self.run_in_force else set()
        return next((word for word in WORST_FIRST if word in decided), "none")

    @property
    def due_printed(self) -> date | None:
        """The due date where the customer agreed to one (ISO/IEC 17025:2017, 7.8.4.3)."""
        return self.due if self.due_agreed else None

    def revised(self, **changes: Any) -> Self:
        """Return the record with other values: checked, no longer sealed, no longer signed.

        Raises:
            ValueError: the values do not fit the record (pydantic's ``ValidationError``).
        """
        return self.model_validate(dict(self) | {"sha256": "", "signatures": ()} | changes)

    def overdue(self, today: date) -> bool:
        """Say whether the record's time is over on ``today``."""
        return self.due is not None and today > self.due
