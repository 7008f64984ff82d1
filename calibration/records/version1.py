"""Version 1 of the calibration record: the coefficients alone. Readable for ever."""

from datetime import date
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from calibration.records.parts import (
    AnyChannel,
    AzimuthChannel,
    ChannelFigures,
    CircularChannel,
    EncoderPart,
    Part,
    Port,
    TiltPart,
    Uncertainty,
)

FORMAT: Literal["levelhead-calibration"] = "levelhead-calibration"


class CalibrationRecord1(Part):
    """One head's coefficients. Only ``seal`` and ``load_record`` make one that counts."""

    format: Literal["levelhead-calibration"] = FORMAT
    version: Literal[1] = 1
    record_id: Annotated[str, Field(pattern=r"^cal-\d{4}-\d{4,}$")]
    head_id: Annotated[str, Field(pattern=r"^[0-9a-f]{16}$")]
    issued: date
    due: date | None
    tilt: TiltPart | None
    encoders: dict[CircularChannel, EncoderPart]
    ports: dict[AzimuthChannel, Port]
    stub_m: Annotated[float, Field(ge=0)]
    u_stub_m: Uncertainty
    channels: dict[AnyChannel, ChannelFigures]
    sha256: Annotated[str, Field(pattern=r"^([0-9a-f]{64})?$")] = ""
    """Hash of everything else; empty until sealed."""

    @model_validator(mode="after")
    def _check_dates(self) -> Self:
        if self.due is not None and self.due <= self.issued:
            raise ValueError("due is not after issued")
        return self

    def overdue(self, today: date) -> bool:
        """Say whether the record's time is over on ``today``."""
        return self.due is not None and today > self.due
