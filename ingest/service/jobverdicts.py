"""What a result is held against while a job is open."""

from typing import Any

from calibration.measured import Measured
from ingest.job.brief.standing import Standing
from ingest.service.jobkept import KeptJob
from ingest.service.jobports import Brief
from ingest.service.verdicts import in_unit


class JobVerdicts:
    """Judges results of the present job. Satisfies ``Verdicts``. ``root``: of the bay's topics."""

    def __init__(self, kept: KeptJob, root: str) -> None:
        self._kept = kept
        self._root = f"{root}/"

    def fields(self, topic: str, measured: Measured) -> dict[str, Any]:
        """Return what a result is held against, as it is published with it."""
        present, below = self._kept.present, topic.removeprefix(self._root)
        if present is None or not present.is_open or not _is_of(present.brief, below):
            return {}
        angular = not below.endswith("lateral-offset")
        read = present.brief.judged(below, Standing(measured, angular, "", "good", "", ()))
        if read.limit is None:
            return {"job": present.name}
        return {
            "job": present.name,
            "lo": in_unit(read.limit.low, angular=angular),
            "hi": in_unit(read.limit.high, angular=angular),
            "rule": read.rule,
            "dec": read.decision,
        }


def _is_of(brief: Brief, topic: str) -> bool:
    """Say whether a topic is of the vehicle: a head may be on a wheel that it has not."""
    parts = topic.split("/")
    return parts[0] == "vehicle" or int(parts[1]) <= len(brief.of.axles)
