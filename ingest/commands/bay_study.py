"""The study of the bay that a configuration names, made part of how the bay measures."""

from dataclasses import replace
from pathlib import Path

from calibration.errors import CalibrationFileError
from calibration.study import load_study
from ingest.commands.tables import read_text
from ingest.core.errors import InputError
from ingest.service.bayspread import studied
from ingest.service.service import ServiceSettings

ALERT = "bay-study"


def with_study(
    service: ServiceSettings, path: Path | None, bay: str
) -> tuple[ServiceSettings, str | None]:
    """Return the settings standing on a bay's study, or as they are with why it was refused."""
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
    return replace(service, bay=measured), None
