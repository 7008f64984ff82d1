"""The vehicles and limits that there are, with their names, for a person to choose from."""

import logging
import re
import sqlite3
from collections.abc import Iterable

from ingest.commands.vehicle_source import shipped as shipped_vehicles
from ingest.core.errors import IngestError
from ingest.job.limits.limitset import LimitSet
from ingest.payload.vehicle_file import parse_vehicle
from ingest.service.inputs import Offered
from ingest.store.limits import StoredLimits
from ingest.store.shipped_limits import shipped as shipped_limits
from ingest.store.shipped_limits import shipped_names
from ingest.store.vehicles import StoredVehicles

log = logging.getLogger(__name__)

REQUESTED = re.compile(r"[a-z0-9_-]{1,32}")
"""How a request may name a vehicle or limits: as a level of a topic."""

Key = tuple[tuple[str, int], ...]
VEHICLES = "SELECT vehicle_id, max(version) FROM vehicle_version GROUP BY 1 ORDER BY 1"
LIMITS = "SELECT name, max(number) FROM limit_set GROUP BY 1 ORDER BY 1"


class Offers:
    """Looks into a store, to which any process may add. What is kept goes before what is shipped.

    Texts are read again only where a version has come: looking costs some 20 us.
    """

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection
        self._seen: tuple[Key, Key] | None = None
        self._offered = Offered()

    def now(self) -> Offered:
        """Return what there is; what there was, where the store cannot be read now."""
        try:
            seen = self._key(VEHICLES), self._key(LIMITS)
            if seen != self._seen:
                self._offered = Offered(self._vehicles(seen[0]), self._limits(seen[1]))
                self._seen = seen
        except sqlite3.Error as error:
            log.debug("vehicles and limits cannot be looked up now (%s)", error)
        return self._offered

    def _key(self, query: str) -> Key:
        return tuple(self._connection.execute(query).fetchall())

    def _vehicles(self, kept: Key) -> tuple[tuple[str, str], ...]:
        texts, store = shipped_vehicles(), StoredVehicles(self._connection)
        named = {each: _vehicle_name(text, each) for each, text in texts.items()}
        for each, _ in kept:
            try:
                version = store.version(each)
            except IngestError:  # opening a job with it says what is wrong
                version = None
            named[each] = _vehicle_name(version.text, each) if version is not None else ""
        return _sorted(named.items())

    def _limits(self, kept: Key) -> tuple[tuple[str, str], ...]:
        store = StoredLimits(self._connection)
        named = {each: _note(shipped_limits(each)) for each in shipped_names()}
        for each, _ in kept:
            try:
                named[each] = _note(store.newest(each))
            except IngestError:
                named[each] = ""
        return _sorted(named.items())


def _vehicle_name(text: str, where: str) -> str:
    try:
        return parse_vehicle(text, where).name
    except IngestError:
        return ""


def _note(limits: LimitSet | None) -> str:
    return limits.note if limits is not None else ""


def _sorted(named: Iterable[tuple[str, str]]) -> tuple[tuple[str, str], ...]:
    """Return what a request can name, in the order of the ids."""
    return tuple(sorted((each, name) for each, name in named if REQUESTED.fullmatch(each)))
