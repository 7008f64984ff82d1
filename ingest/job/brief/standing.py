"""A result as it stands at this moment, before a job holds it against anything."""

from dataclasses import dataclass

from calibration.measured import Measured


@dataclass(frozen=True, slots=True)
class Standing:
    """A result that stands now: unrounded, and as it was published.

    ``at`` is when what it stands on was read last (UTC, RFC 3339); ``heads`` pairs names with
    calibration records.
    """

    measured: Measured
    angular: bool
    at: str
    quality: str
    why: str
    heads: tuple[tuple[str, str], ...]
