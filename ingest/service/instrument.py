"""What is known of one head as an instrument: its calibration in force and its filters."""

import math
from dataclasses import dataclass, field
from datetime import date

from calibration.errors import CalibrationFileError
from calibration.records.parts import ChannelFigures
from calibration.records.text import AnyRecord
from calibration.sensors import Correction
from ingest.core.ids import HeadId
from ingest.payload.base import Quality
from ingest.service.ports import CalibrationRecords


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

    def noise_deg(self, channel: str, averaged: int) -> float:
        """Return what noise and resolution leave of a mean of ``averaged`` readings, deg."""
        own = self.figures.get(channel)
        if own is None:
            return 0.0
        return math.hypot(own.noise_deg / math.sqrt(averaged), own.resolution_deg / math.sqrt(12.0))


def instrument_of(head: HeadId, records: CalibrationRecords) -> Instrument:
    """Look a head's newest record up by the head's own identity; never raises for its faults."""
    nominal = Correction.nominal(head)
    try:
        record = records.newest(head)
    except CalibrationFileError as error:
        return Instrument(head, nominal, refused=str(error))
    if record is None:
        return Instrument(head, nominal)
    if record.head_id != head:
        return Instrument(head, nominal, refused=f"{record.record_id} is of head {record.head_id}")
    figures: dict[str, ChannelFigures] = {str(k): v for k, v in record.channels.items()}
    return Instrument(head, Correction.from_record(record), record, None, figures)
