"""The brief of a job from the event that opened it: its files, read again as they were kept."""

from ingest.job.brief.brief import JobBrief
from ingest.job.course.events import Opened
from ingest.job.limits.limit import Load
from ingest.payload.limits_file import parse_limits
from ingest.payload.vehicle_file import parse_vehicle


def brief_of(opened: Opened) -> JobBrief:
    """Return what a job is held against. Raises ``ConfigError``, ``InputError``."""
    vehicle = parse_vehicle(opened.vehicle, f"vehicle {opened.vehicle_id}")
    limits = parse_limits(opened.limits, f"limits {opened.limits_name}")
    return JobBrief(vehicle, limits, Load(opened.load_state), opened.head_pairs)
