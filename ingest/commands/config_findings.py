"""What ``levelhead config check`` finds in all that a configuration names, a line each."""

import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from ingest.commands.bay_opening import Opened
from ingest.commands.network_answer import answer
from ingest.commands.network_notes import unsettled
from ingest.core.errors import IngestError, MeasurementRefused, OutputError
from ingest.outputs.settings import read_password, tls_context
from ingest.payload.network_file import NetworkFile
from ingest.payload.network_read import network_of
from ingest.payload.vehicle_file import parse_vehicle
from ingest.service.ground import Ground
from ingest.service.instrument import filed
from ingest.store.limits import StoredLimits
from ingest.store.vehicles import StoredVehicles


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that was found; ``refused``: the service does not start with it, or use it."""

    text: str
    refused: bool = False


def findings(opened: Opened, connection: sqlite3.Connection, today: date) -> Iterator[Finding]:
    """Yield all findings."""
    yield from _records(opened, today)
    yield from _level(opened, today)
    yield from _networks(opened)
    yield from _store(connection)
    yield from _broker(opened)


def _records(opened: Opened, today: date) -> Iterator[Finding]:
    for text in opened.refused:
        yield Finding(f"record refused: {text}", refused=True)
    simulated = opened.config.service.bay.simulated
    for head in opened.records.heads():
        found = filed(head, opened.records, simulated=simulated)
        if found.record is not None:
            result = getattr(found.record, "result", "none")
            told = "not verified" if result == "none" else f"verified, {result}"
            due = "no due date" if found.record.due is None else f"due {found.record.due}"
            yield Finding(f"head {head}: {found.record.record_id} is used ({told}, {due})")
        for _, words in found.doubts(today):
            yield Finding(f"head {head}: {words}", refused=found.refused is not None)


def _level(opened: Opened, today: date) -> Iterator[Finding]:
    ground = Ground(opened.config.service.bay.level)
    yield Finding(f"level: {ground.told}")
    objection = ground.objection(today)
    if objection is not None:
        yield Finding(f"level: {objection}; cambers and casters are marked uncertain")


def _networks(opened: Opened) -> Iterator[Finding]:
    files = opened.config.service.bay.network.files
    for path, file in zip(opened.config.networks, files, strict=True):
        yield from (Finding(f"network {path.name}: {line}") for line in _network(file))


def _network(file: NetworkFile) -> Iterator[str]:
    """Yield what all its sightlines and tapes would determine, were they read."""
    try:
        found = answer(network_of(file, design=True), design=True)
    except MeasurementRefused as error:
        yield str(error)
        return
    known = sum(result.measured is not None for result in found.results)
    yield f"{known} of {len(found.results)} results are determined once all is read"
    yield from unsettled(found)


def _store(connection: sqlite3.Connection) -> Iterator[Finding]:
    """Yield what a job could not be opened with."""
    limits = StoredLimits(connection)
    for name in limits.names():
        try:
            limits.newest(name)
        except IngestError as error:
            yield Finding(f"limits {name}: {error}; no job can be opened with them", refused=True)
    try:
        for kept in StoredVehicles(connection).newest():
            parse_vehicle(kept.text, kept.name)
    except IngestError as error:
        yield Finding(f"vehicles: {error}; no job can be opened with it", refused=True)


def _broker(opened: Opened) -> Iterator[Finding]:
    settings = opened.config.broker
    if opened.config.embedded is None:
        for read in (read_password, tls_context):
            try:
                read(settings)
            except OutputError as error:
                yield Finding(str(error), refused=True)
