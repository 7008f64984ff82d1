"""A result as it stands, for whoever judges it or takes it into a job."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from calibration.measured import Measured
from ingest.job.brief.standing import Standing
from ingest.payload.stamp import rfc3339
from ingest.service.bayhead import BayHead


@dataclass(frozen=True, slots=True)
class Stood:
    """``confirmed_ns``: when what it stands on was read last, UTC, ns since 1970."""

    measured: Measured
    fields: dict[str, Any]
    heads: tuple[tuple[str, str], ...]
    confirmed_ns: int
    angular: bool = True

    def standing(self) -> Standing:
        """Return it as a job takes it."""
        return Standing(
            self.measured,
            self.angular,
            rfc3339(self.confirmed_ns),
            self.fields["q"],
            self.fields["why"],
            self.heads,
        )


def named(heads: Sequence[BayHead]) -> tuple[tuple[str, str], ...]:
    """Return heads by name, with their calibration records ("" where there is none)."""
    return tuple(
        (head.name, "" if (record := head.instrument.record) is None else record.record_id)
        for head in heads
    )
