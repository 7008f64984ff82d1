"""What is known of one head as an instrument: its calibration in force and its filters."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date

from calibration.dates import ahead
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

UNCALIBRATED = "uncalibrated"
FAILED = "record-failed"
AHEAD = "record-date"
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

    def doubts(self, today: date) -> Iterator[tuple[str, str]]:
        """Yield why its readings are not to be trusted, in a word and in words, gravest first."""
        if self.refused is not None:
            yield "record-refused", self.refused
            return
        if self.record is None:
            yield UNCALIBRATED, "has no calibration record; its results are marked uncalibrated"
            return
        name = self.record.record_id
        if isinstance(self.record, CalibrationRecord) and self.record.result == "fail":
            own = f" ({self.record.head_class})" if self.record.head_class else ""
            told = f"{name} says that the head fails its class{own}"
            yield FAILED, f"{told}; its results are marked {FAILED}; adjust and verify it again"
        if self.record.overdue(today):
            yield "overdue", f"{name} was due on {self.record.due}; its results are marked overdue"
        if (told_ahead := ahead(self.record.issued, today)) is not None:
            yield AHEAD, f"{name} {told_ahead}; its results are marked {AHEAD}"

    def trust(self, today: date) -> tuple[Quality, str]:
        """Return ``q`` and ``why`` of what this head's calibration makes of its readings."""
        why = next((word for word, _ in self.doubts(today)), None)
        return ("good", "") if why is None else ("uncertain", why)

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

    def zero_open(self, channel: str) -> bool:
        """Say whether the record leaves the zero of a channel open: it tells no direction then."""
        return self.correction.encoders.zero_open(channel)

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
    found = filed(hello.head, records, simulated=simulated)
    unfit = None if found.record is None else _misfit(found.record, hello)
    if found.record is None or unfit is None:
        return found
    refused = f"{found.record.record_id} does not fit it: {unfit}"
    return Instrument(hello.head, Correction.nominal(hello.head), refused=refused)


def filed(head: HeadId, records: CalibrationRecords, *, simulated: bool) -> Instrument:
    """Return what a head is by its papers alone, before it has said which channels it has."""
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
