"""A job's brief: judges results, says what to turn, what that makes stale, what comes next."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from calibration.decision import Rule
from calibration.measured import Measured
from calibration.reporting import coverage_factor
from ingest.geometry.corrections.wanted import Correction, Quantity, Wanted
from ingest.job.brief.advising import (
    LAST_SWEEP,
    SweptAdvice,
    advice_by_sweep,
    correction_of,
    in_words,
    target_of,
)
from ingest.job.brief.again import measured_again
from ingest.job.brief.expanding import tasks_of
from ingest.job.brief.progress import cannot_of, done_of, turned_of, unswept_of
from ingest.job.brief.standing import Standing
from ingest.job.brief.topics import adjusted, pin_lines, place_of, stale_by
from ingest.job.course.acts import Plan, Refused
from ingest.job.course.job import Job
from ingest.job.course.readings import LimitAt, Reading
from ingest.job.course.tasks import BY_SWEEP, Doing, Task
from ingest.job.limits.judging import judge_match
from ingest.job.limits.limit import Limit, Load
from ingest.job.limits.limitset import LimitSet
from ingest.job.limits.matching import match
from ingest.job.plan.plan import plan
from ingest.job.vehicle.vehicle import Vehicle


@dataclass(frozen=True, slots=True)
class JobBrief:
    """What a job is held against."""

    of: Vehicle
    limits: LimitSet
    load: Load
    pairs: int

    @property
    def vehicle(self) -> str:
        """The vehicle's name, for people."""
        return self.of.name

    @property
    def rule(self) -> Rule:
        """By which decisions are made."""
        return self.limits.rule

    def judged(self, topic: str, standing: Standing) -> Reading:
        """Return a result with its limit and its decision."""
        measured = standing.measured
        k = coverage_factor(measured.dof)
        place = place_of(self.of, topic)
        found = None if place is None else match(self.limits, place, self.load)
        judgement = None
        if found is not None:
            judgement = judge_match(found, measured, self.load, self.rule)
        limit = None if judgement is None else judgement.limit
        holds = limit is not None and found is not None and not found.other_load
        return Reading(
            topic,
            standing.angular,
            measured.value,
            measured.u,
            k * measured.u,
            k,
            standing.at,
            standing.quality,
            standing.why,
            standing.heads,
            tuple(sorted(measured.stands_on)),
            _limit_at(limit) if holds and limit is not None else None,
            self.rule.value,
            "none" if judgement is None else judgement.decision,
            None if judgement is None else judgement.p_conform,
        )

    def correction(self, task: Task, measured: Measured) -> Correction | str | None:
        """Return the correction that a task is about."""
        axle = self.of.axle(task.axles[0])
        limit = self._limit(task.topics[0])
        return correction_of(self.of, axle, Quantity(task.quantity), measured, limit)

    def advice_by_sweep(self, task: Task, job: Job) -> SweptAdvice:
        """Return what to turn after what the last sweep told that the job has taken."""
        axle, quantity = self.of.axle(task.axles[0]), Quantity(task.quantity)
        wanted = {}
        for topic in task.topics:
            read, target = job.known_of(topic), target_of(quantity, self._limit(topic))
            place = place_of(self.of, topic)
            if read is not None and target is not None and place is not None and place.side:
                known = Measured.of(read.value, read.u, source=LAST_SWEEP)
                side = place.side
                wanted[side] = Wanted(quantity, axle.number, known, target, side)
        return advice_by_sweep(axle, quantity, wanted, job.fitted_rad(axle.number))

    def target(self, task: Task) -> float | None:
        """Return where the result of an adjustment should be, rad or m; None where nobody says."""
        return target_of(Quantity(task.quantity), self._limit(task.topics[0]))

    def advice(self, task: Task, measured: Measured) -> tuple[str, ...]:
        """Return what to turn, in words."""
        limit = self._limit(task.topics[0])
        bounded = limit is not None and (limit.low is not None or limit.high is not None)
        return in_words(self.correction(task, measured), to_be_decided=bounded)

    def stale(self, task: Task) -> tuple[str, ...]:
        """Return the topics that hold no longer once a task's adjuster is turned."""
        axle = self.of.axle(task.axles[0])
        return tuple(dict.fromkeys(stale_by(self.of, axle, Quantity(task.quantity))))

    def plan(self, job: Job, cannot: tuple[str, ...]) -> Plan:
        """Lay the order of work down. Raises ``Refused`` where there is none."""
        what, pairs = cannot_of(self.of, cannot, self.pairs)
        so_far = done_of(job, what.seized)
        if len(so_far.mounted) > pairs:  # nobody says which pair is gone: all is mounted anew
            so_far = replace(so_far, mounted=frozenset(), tied=frozenset())
        found = plan(self.of, pairs, so_far, what)
        for unit in found.units:
            if unit.hindrance is not None:
                helps = " or ".join(unit.hindrance.helps)
                help_ = f"; it would help to have {helps}" if helps else ""
                raise Refused("no-plan", f"{unit.hindrance.reason}{help_}")
        set_ups = [task.set_up for task in job.tasks if task.id in job.marks]
        taped = [u.id for u in self.of.units if set(pin_lines(self.of, u)) <= set(job.taped)]
        seen = [axle for task in job.tasks if task.id in job.marks for axle in task.axles]
        without = {*turned_of(job), *self._unaimed(), *unswept_of(job)}
        first = max(set_ups, default=0) + 1
        on, loose = so_far.mounted, sorted(job.loose)
        tasks = tasks_of(self.of, found.steps, first, taped, seen, without, on, loose)
        unswept = {axle for axle, _ in unswept_of(job)}
        tasks = tuple(t for t in tasks if t.doing is not Doing.RESWEEP or t.axles[0] not in unswept)
        return Plan(tasks, found.cost.mountings)

    def again(self, job: Job) -> tuple[Task, ...]:
        """Return the tasks that measure what holds no longer; none where heads cannot tell it."""
        what, pairs = cannot_of(self.of, job.cannot, self.pairs)
        mounted = sorted(done_of(job, what.seized).mounted)
        return measured_again(self.of, job, mounted, pairs, what)

    def _unaimed(self) -> Iterator[tuple[int, Quantity]]:
        """Yield what a sweep tells, and something sets, of which nobody says where it should be."""
        for axle in self.of.axles:
            for quantity in map(Quantity, BY_SWEEP):
                topics = adjusted(self.of, axle, quantity)
                if any(target_of(quantity, self._limit(topic)) is None for topic in topics):
                    yield axle.number, quantity

    def _limit(self, topic: str) -> Limit | None:
        place = place_of(self.of, topic)
        if place is None:
            return None
        found = match(self.limits, place, self.load)
        return None if found.other_load else found.limit


def _limit_at(limit: Limit) -> LimitAt:
    origin = limit.origin
    source = f"{origin.source} ({origin.author}, {origin.date.isoformat()})"
    return LimitAt(limit.low, limit.nominal, limit.high, str(limit.figures), source)
