"""Results as they are printed: rounded once, with the decisions that were made before."""

import math
from dataclasses import dataclass

from calibration.document.plain import factor
from calibration.reporting import Reported, report_expanded
from calibration.units import Unit
from ingest.job.course.job import Job
from ingest.job.course.readings import LimitAt, Reading

DEG = 180.0 / math.pi
MM = 1000.0


def in_print(angular: bool) -> tuple[float, Unit]:
    """Return the factor and the unit in which a result is printed."""
    return (DEG, Unit.DEGREE) if angular else (MM, Unit.MILLIMETRE)


def printed(reading: Reading) -> Reported:
    """Return a result rounded for print; a digit more where rounding would change its side."""
    times, unit = in_print(reading.angular)
    limit = reading.limit
    low = None if limit is None or limit.low is None else limit.low * times
    high = None if limit is None or limit.high is None else limit.high * times
    return report_expanded(
        reading.value * times, reading.U * times, unit, k=reading.k, low=low, high=high
    )


def bounds(limit: LimitAt | None, *, angular: bool) -> str:
    """Return the limit in the unit of the result, and as it was entered where that is another."""
    if limit is None:
        return "\u2013"
    times, unit = in_print(angular)

    def told(value: float) -> str:
        shown = f"{value * times:.2f}" if angular else f"{value * times:.1f}"
        return f"{shown}{unit.symbol}".replace("-", "\u2212")

    if limit.low is not None and limit.high is not None:
        text = f"{told(limit.low)} to {told(limit.high)}"
    elif limit.low is not None:
        text = f"at least {told(limit.low)}"
    elif limit.high is not None:
        text = f"at most {told(limit.high)}"
    else:
        return "\u2013"
    return text


@dataclass(frozen=True, slots=True)
class Line:
    """One result of the job: as found, as left, or left as found."""

    topic: str
    found: Reading | None
    left: Reading | None
    untouched: bool
    """What is left is what was found."""
    stale: bool
    unread: str = ""
    """Where it holds no longer, the reason why it was not measured again; empty without one."""

    @property
    def last(self) -> Reading | None:
        """What holds now."""
        return self.left if self.left is not None else self.found


def lines(job: Job) -> tuple[Line, ...]:
    """Return every result of a job, axle by axle, those of the whole vehicle last."""
    topics = sorted({*job.found, *job.left}, key=_order)
    return tuple(
        Line(
            topic,
            job.found.get(topic),
            job.left_of(topic),
            topic not in job.left and topic not in job.stale,
            topic in job.stale,
            job.unread.get(topic, ""),
        )
        for topic in topics
    )


def _order(topic: str) -> tuple[int, str, str]:
    parts = topic.split("/")
    if parts[0] == "vehicle":
        return (1000, "", parts[-1])
    return (int(parts[1]), parts[-1], parts[2])


def k_of(reading: Reading) -> str:
    """Return a result's coverage factor."""
    return factor(f"{reading.k:.4f}")
