"""What the bay knows when something is asked of a job."""

from collections.abc import Collection

from ingest.job.brief.advising import SweptAdvice
from ingest.job.course.acts import Facts, Refused
from ingest.job.course.events import Taped
from ingest.job.course.tasks import SWEEPS, Doing
from ingest.job.vehicle.reference import PIN
from ingest.payload.job_cmd import JobTape
from ingest.payload.vehicle_network import is_check
from ingest.service.jobkept import Present
from ingest.service.jobports import BayView
from ingest.service.tapewords import may_differ_m


def facts_of(present: Present, view: BayView, hidden: Collection[tuple[int, str]]) -> Facts:
    """Return what is known now. ``hidden``: wheels whose head misses a sightline that it had."""
    job, brief, standing = present.job, present.brief, view.standing
    task = job.current
    watched = () if task is None else (*task.topics, *task.also)
    advice: dict[str, tuple[str, ...]] = {}
    swept = SweptAdvice()
    sweeps = task.axles if task is not None and task.doing in SWEEPS else ()
    if task is not None and task.doing is Doing.ADJUST:
        if task.is_seen:
            there = [topic for topic in watched if topic in standing]
            advice = {t: brief.advice(task, standing[t].measured) for t in there}
        else:
            swept = brief.advice_by_sweep(task, job)
            advice = {task.topics[0]: swept.text}
    return Facts(
        view.wheels,
        view.compensated,
        {topic: brief.judged(topic, standing[topic]) for topic in watched if topic in standing},
        advice,
        swept.heed,
        swept.fitted_rad,
        brief.stale,
        brief.plan,
        brief.again,
        view.level,
        frozenset(hidden),
        view.sweep_lacks(sweeps[0]) if sweeps else (),
    )


def taped_of(command: JobTape, present: Present, view: BayView) -> Taped:
    """Return a tape distance beside what heads tell of it.

    Raises ``Refused`` where it ends at a wheel that the vehicle has not.
    """
    at, to = command.line.split("-")
    for end in (at, to):
        if end != PIN and not 1 <= int(end[1:]) <= len(present.brief.of.axles):
            raise Refused("bad-field", f"{command.line}: the vehicle has no wheel {end}")
    u_m = command.u_mm * 1e-3
    told = view.foretold(at, to) if is_check(at, to) else None
    if told is None:
        return Taped(command.line, command.metres, u_m, None, None, None)
    agrees = abs(command.metres - told.value) <= may_differ_m(u_m, told.u)
    return Taped(command.line, command.metres, u_m, told.value, told.u, agrees)
