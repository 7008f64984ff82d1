"""What is known of one head as an instrument: its calibration in force and its filters."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from calibration.errors import CalibrationFileError
from calibration.measured import Measured
from calibration.records.parts import ChannelFigures
from calibration.records.record import CalibrationRecord
from calibration.records.text import AnyRecord
from calibration.sensors import Correction
from calibration.tilt import AXES
from ingest.core.ids import HeadId
from ingest.payload.base import Quality
from ingest.service.ports import CalibrationRecords
from ingest.wire.codes import Mounting
from ingest.wire.hello import Hello

SIMULATED = (
    "is SIMULATED, and no real head is corrected by it; calibrate the head, or, where the heads "
    "are simulated, set simulated = true under [calibration]"
)


@dataclass(frozen=True, slots=True)
class Instrument:
    """A head's record and the correction made of it, or the default with the reason for it.

    ``refused`` says in words why a record there is was not used.
    """

    head: HeadId
    correction: Correction
    record: AnyRecord | None = None
    refused: str | None = None
    figures: dict[str, ChannelFigures] = field(default_factory=dict)

    def overdue(self, today: date) -> bool:
        """Say whether the record's time is over."""
        return self.record is not None and self.record.overdue(today)

    def trust(self, today: date) -> tuple[Quality, str]:
        """Return ``q`` and ``why`` of what this head's calibration makes of its readings."""
        if self.refused is not None:
            return "uncertain", "record-refused"
        if self.record is None:
            return "uncertain", "uncalibrated"
        if self.overdue(today):
            return "uncertain", "overdue"
        return "good", ""

    def left_open(
        self, channel: str, readings_rad: Mapping[str, float], temperature_degc: float = math.nan
    ) -> Measured:
        """Return the error that calibration leaves in a channel: 0 rad, with shared parts.

        Of a channel that the record says nothing of, what a head without one may be off by.
        Raises ``KeyError`` when the channel's own reading is missing.
        """
        try:
            return self.correction.systematic(channel, readings_rad, temperature_degc)
        except KeyError:
            nominal = Correction.nominal(self.head)
            return nominal.systematic(channel, readings_rad, temperature_degc)

    def noise_deg(self, channel: str, averaged: int) -> float:
        """Return what noise and resolution leave of a mean of ``averaged`` readings, deg."""
        own = self.figures.get(channel)
        if own is None:
            return 0.0
        return math.hypot(own.noise_deg / math.sqrt(averaged), own.resolution_deg / math.sqrt(12.0))


def instrument_of(
    hello: Hello, records: CalibrationRecords, *, simulated: bool = False
) -> Instrument:
    """Look a head's newest record up by the head's own identity; never raises for its faults.

    ``simulated``: the head is. A record of simulated readings corrects no other.
    """
    head = hello.head
    nominal = Correction.nominal(head)
    try:
        record = records.newest(head)
    except CalibrationFileError as error:
        return Instrument(head, nominal, refused=str(error))
    if record is None:
        return Instrument(head, nominal)
    if record.head_id != head:
        return Instrument(head, nominal, refused=f"{record.record_id} is of head {record.head_id}")
    if isinstance(record, CalibrationRecord) and record.simulated and not simulated:
        return Instrument(head, nominal, refused=f"{record.record_id} {SIMULATED}")
    unfit = _misfit(record, hello)
    if unfit is not None:
        return Instrument(head, nominal, refused=f"{record.record_id} does not fit it: {unfit}")
    figures: dict[str, ChannelFigures] = {str(k): v for k, v in record.channels.items()}
    return Instrument(head, Correction.from_record(record), record, None, figures)


def fits_as_before(before: Hello, now: Hello) -> bool:
    """Say whether what fitted a head at one hello fits it at another."""
    return (before.channels, before.mounting) == (now.channels, now.mounting)


def _misfit(record: AnyRecord, hello: Hello) -> str | None:
    """Say why a record's channels cannot be those of the head; None where they can."""
    axes = () if record.tilt is None else AXES[: len(record.tilt.bias_deg)]
    corrected = {*axes, *record.encoders}
    has = {info.channel.value for info in hello.channels if info.channel is not None}
    needed = AXES if hello.mounting is Mounting.FIXED else AXES[:2]
    if strange := sorted(corrected - has):
        return f"it corrects {', '.join(strange)}, which the head does not have"
    if left_out := [name for name in needed if name in has - corrected]:
        return f"it says nothing of {', '.join(left_out)}"
    return None
