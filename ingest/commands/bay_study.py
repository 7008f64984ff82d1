"""The study of the bay that a configuration names, made part of how the bay measures."""

from dataclasses import replace
from datetime import date
from pathlib import Path

from calibration.dates import ahead
from calibration.errors import CalibrationFileError
from calibration.study import load_study
from ingest.commands.tables import read_text
from ingest.core.errors import InputError
from ingest.service.bayspread import studied
from ingest.service.service import ServiceSettings

ALERT = "bay-study"


def with_study(
    service: ServiceSettings, path: Path | None, bay: str, today: date
) -> tuple[ServiceSettings, str | None]:
    """Return the settings standing on a bay's study, or as they are with why it was refused.

    One whose date is yet to come is stood on, and that is told: what it found is as it was.
    """
    if path is None:
        return service, None
    try:
        study = load_study(read_text(str(path))[1], str(path), bay)
    except (InputError, CalibrationFileError) as reason:
        assumed = service.bay.wheel.spread.source
        return service, f"{reason}; results stand on the {assumed} until there is one that holds"
    wheel = service.bay.wheel
    spread = replace(wheel.spread, study=studied(study))
    measured = replace(service.bay, wheel=replace(wheel, spread=spread))
    told = ahead(study.performed, today)
    if told is not None:
        told = f"{study.name} ({path}) {told}; results stand on it all the same"
    return replace(service, bay=measured), told
