"""What a configuration names, opened as the service stands on it: serve and ``config check``."""

import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from ingest.commands.bay_study import ALERT as STUDY_ALERT
from ingest.commands.bay_study import with_study
from ingest.commands.keyfiles import load_public
from ingest.commands.record_folder import take_up
from ingest.config import NO_KEYS, Config
from ingest.service.alerts import Level
from ingest.service.service import ServiceSettings
from ingest.store.records import StoredRecords

SIMULATED = (
    "the heads of this bay are simulated ([calibration] simulated): nothing is measured here"
)


@dataclass(frozen=True, slots=True)
class Opened:
    """A bay's inputs. ``refused`` are the files of records that are not used, and why."""

    config: Config
    keys: tuple[Ed25519PublicKey, ...]
    records: StoredRecords
    refused: tuple[str, ...]
    service: ServiceSettings
    study: str | None
    """What is to be said of the study: why it was refused, or is to be doubted."""

    @property
    def study_refused(self) -> bool:
        """Whether a study is named and nothing stands on it."""
        return self.config.study is not None and self.service.bay.wheel.spread.study is None

    def remarks(self) -> Iterator[tuple[str, str, Level]]:
        """Yield what somebody should know who starts the service: code, words and level."""
        for at, text in enumerate(self.refused, start=1):
            yield f"records-{at}", text, "warning"
        if not self.keys and self.records.heads():
            yield "records-keys", f"calibration records: {NO_KEYS}", "note"
        if self.config.service.bay.simulated:
            yield "simulated", SIMULATED, "note"
        if self.study is not None:
            yield STUDY_ALERT, self.study, "warning"


def open_bay(config: Config, connection: sqlite3.Connection, today: date) -> Opened:
    """Take up all that a configuration names.

    Raises ``InputError`` and ``CalibrationFileError`` for a key that cannot be used.
    """
    keys = tuple(load_public(config.keys).values())
    records = StoredRecords(connection, keys)
    refused = tuple(take_up(records, config.records_dir))
    service, study = with_study(config.service, config.study, config.bay, today)
    return Opened(config, keys, records, refused, service, study)
