"""The sheet of a piece of work (``sheet.toml``): who, for whom, which heads, with what.

The keys ``references``, ``head_class``, ``decision_rule`` and ``setup`` are read once more by
``calibration.verification.plan``, which knows what they mean.
"""

from typing import Annotated, Any, Self

from pydantic import Field, ValidationError, model_validator

from calibration.errors import CalibrationFileError
from calibration.faults import fault_of
from calibration.records.fields import HeadId, Line, RecordId, Word
from calibration.records.papers import Occasion
from calibration.records.parts import AzimuthChannel, CircularChannel, Part, Port, Uncertainty
from calibration.toml import NotToml, parse_toml

REFERENCE_DEGC = 20.0
"""Reference temperature of lengths and of coefficients (ISO 1)."""
TURN_DEG = 1.0
"""How far a sensor may be turned in its housing where nobody measured it (our own guess)."""


class Seat(Part):
    """How a head sits on the spindle that its encoder is read on.

    Where the spindle stands at zero the encoder's true angle is ``value_deg``, within ``U_deg``
    (k = 2), for every head that is seated so; ``basis`` says how that is known.
    """

    value_deg: Annotated[float, Field(ge=-180, le=180)] = 0.0
    U_deg: Annotated[float, Field(gt=0, le=90)]
    basis: Annotated[Line, Field(min_length=1, max_length=120)]


class SheetHead(Part):
    """One head on the bench; ``letter`` tells two of them apart."""

    letter: Annotated[str, Field(pattern=r"^[AB]$")] = "A"
    head_id: HeadId
    record_id: RecordId
    serial: Line = ""
    model: Line = ""
    firmware: Line = ""
    condition: Line = ""
    stub_m: Annotated[float, Field(ge=0, le=2)] = 0.0
    u_stub_m: Uncertainty = 0.0
    ports: dict[AzimuthChannel, Port] = Field(default_factory=dict)
    """Where sightlines start, as the head was built; the bar mends what it can see."""


class Sheet(Occasion):
    """What a technician writes down before anything is measured."""

    references: Annotated[tuple[Word, ...], Field(max_length=100)] = ()
    head_class: str | dict[str, Any] = ""
    decision_rule: str = "guard-u-4"
    setup: dict[str, float] = Field(default_factory=dict)
    reference_degc: Annotated[float, Field(ge=-40, le=80)] = REFERENCE_DEGC
    turn_deg: Annotated[float, Field(gt=0, le=10)] = TURN_DEG
    """Standard uncertainty of how a sensor is turned in its housing, where nothing tells."""
    seat: dict[CircularChannel, Seat] = Field(default_factory=dict)
    """Channels that are not here have an open zero, unless the bar tells it."""
    head: Annotated[tuple[SheetHead, ...], Field(min_length=1, max_length=2)]

    @model_validator(mode="after")
    def _check_heads(self) -> Self:
        letters = [h.letter for h in self.head]
        if len(set(letters)) != len(letters):
            raise ValueError("two heads have the same letter; call them A and B")
        for name in ("head_id", "record_id"):
            values = [getattr(h, name) for h in self.head]
            if len(set(values)) != len(values):
                raise ValueError(f"two heads have the same {name}")
        return self

    def lettered(self, letter: str) -> SheetHead:
        """Return the head of that letter; raises ``KeyError``."""
        for entry in self.head:
            if entry.letter == letter:
                return entry
        raise KeyError(letter)


def parse_sheet(text: str, where: str) -> Sheet:
    """Read a sheet. Raises ``CalibrationFileError``, naming the key."""
    try:
        raw = parse_toml(text)
    except NotToml as error:
        raise CalibrationFileError(where, str(error)) from error
    try:
        return Sheet.model_validate(raw)
    except ValidationError as error:
        raise CalibrationFileError(where, str(fault_of(error, raw, Sheet))) from error
