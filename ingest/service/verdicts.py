"""What results are held against while a job is open, and how that is published with them."""

from typing import Any, Protocol

from calibration.measured import Measured
from ingest.payload.base import UNTRUSTED

PER_DEG = 57.29577951308232
PER_MM = 1e3
DECIMALS = 4


class Verdicts(Protocol):
    """Judges results of the present job."""

    def fields(self, topic: str, measured: Measured) -> dict[str, Any]:
        """Return job, limits (deg or mm), rule and decision of a result; nothing without a job."""
        ...


class NoVerdicts:
    """No job is open: nothing is decided."""

    def fields(self, topic: str, measured: Measured) -> dict[str, Any]:
        """Return nothing."""
        return {}


def with_verdict(
    verdicts: Verdicts, topic: str, measured: Measured, fields: dict[str, Any]
) -> dict[str, Any]:
    """Return a result's fields with its verdict; none is passed on what nobody can trust."""
    found = verdicts.fields(topic, measured)
    if fields["q"] in UNTRUSTED or fields["U"] is None:
        found = {key: value for key, value in found.items() if key != "dec"}
    return {**fields, **found}


def in_unit(value: float | None, *, angular: bool) -> float | None:
    """Return a limit in the unit that results are published in."""
    return None if value is None else round(value * (PER_DEG if angular else PER_MM), DECIMALS)
