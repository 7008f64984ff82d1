"""The present job: requests in, events committed, what it says out.

Every event is in the store before anybody is answered. What the store keeps is the job: at a start
it is taken up where it was, whatever ended the service before.
"""

import math
import re
from collections.abc import Collection, Mapping
from dataclasses import replace
from functools import reduce
from types import MappingProxyType
from typing import Any

from calibration.measured import Measured
from ingest.core.units import NS
from ingest.job.brief.advising import SweptAdvice
from ingest.job.brief.standing import Standing
from ingest.job.course.acts import Facts, Refused, Tape, Upset
from ingest.job.course.deciding import decide
from ingest.job.course.events import Done as DidTask
from ingest.job.course.events import Event, Taped, Turning, What
from ingest.job.course.guidance import guide
from ingest.job.course.job import BAY, Job, Phase, after, opened, replayed
from ingest.job.course.keeping import Answered, Asking, JobStore, JobsUnkept
from ingest.job.course.tasks import Doing
from ingest.job.vehicle.reference import PIN
from ingest.payload.job_cmd import JobCommand, JobEvents, JobOpen, JobTape
from ingest.payload.stamp import rfc3339
from ingest.payload.vehicle_network import is_check
from ingest.service.alerts import Alerts
from ingest.service.announcer import Announcer
from ingest.service.done import Done
from ingest.service.jobacts import act_of
from ingest.service.jobdesk import JobDesk
from ingest.service.jobports import BayView, Brief, JobShop
from ingest.service.verdicts import in_unit
from ingest.service.watching import Watching

LEVEL = re.compile(r"[^a-z0-9]+")
PROVES = 2.0
"""k of the expanded uncertainty that a tape's difference is held against."""
LIVE_S = 0.09
"""Least time between the samples of two values of what is being turned; a head gives ten a second.
By the samples' own time, in which nothing is late: a value that came late would else hold the next
one up until some other head was heard, and that the one after it, on and on."""
LOST_S = 0.25
"""Where no head of the axle gives anything new, that is said again so often."""
SETTLES: Mapping[Doing, str] = MappingProxyType({Doing.TIGHTEN: "adjusted", Doing.SETTLE: "moving"})
"""What is read before these are over is not what is left, and why: to settle adjusts nothing."""
LONGEST = 24
"""Characters of an order number that a job's name takes up."""


class JobWork:
    """Keeps the present job going.

    ``people`` may ask for things, by their names at the broker as the topic of a request has them;
    empty: whoever reaches it.
    """

    def __init__(
        self,
        store: JobStore,
        shop: JobShop,
        view: BayView,
        announcer: Announcer,
        alerts: Alerts,
        people: Collection[str] = (),
    ) -> None:
        self._store = store
        self._shop = shop
        self._view = view
        self._announcer = announcer
        self._alerts = alerts
        self._people = frozenset(people)
        self._desk = JobDesk(announcer)
        self._name = ""
        self._job: Job | None = None
        self._brief: Brief | None = None
        self._live_ns = 0
        self._newest_ns = 0
        self._watching = Watching()

    @property
    def job(self) -> Job | None:
        """The job as it stands; None where none was ever opened."""
        return self._job

    @property
    def name(self) -> str:
        """The job's name; empty where there is none."""
        return self._name

    def take_up(self) -> None:
        """Take the newest job of the store up where it was. Raises ``JobsUnkept``."""
        newest = self._store.newest()
        if newest is not None:
            self._name = newest
            self._job = replayed(self._store.events(newest))
            self._brief = self._shop.brief(self._job.opened)
            if self._job.phase is not Phase.OVER:
                self._view.set_out(self._brief.of, self._job.taped)
        self.tell()

    def carry_out(self, client: str, command: JobCommand, user: str | None = None) -> Done:
        """Do what is asked, if it may be done; a repeat gets the answer of before.

        Args: client: where the answer goes. user: who asks, where the broker vouches for it.
        """
        if self._people and user not in self._people:
            who = f"{user or 'whoever asks without a user in the topic'} may look on only"
            return Done(False, "not-permitted", f"{who}; log in as a technician")
        asking = Asking(client, command.id)
        known = self._store.answer(asking)
        if known is not None:
            return Done(known.ok, known.code, known.text)
        try:
            text = self._do(asking, command)
        except Refused as refused:
            return Done(False, refused.code, refused.text)
        except JobsUnkept as unkept:
            return Done(False, "store", f"{unkept}; nothing was done, the job stands")
        self.tell()
        return Done(True, "ok", text)

    def fields(self, topic: str, measured: Measured) -> dict[str, Any]:
        """Return what a result is held against, as it is published with it."""
        brief = self.brief
        below = topic.removeprefix(f"{self._announcer.topics.root}/")
        if brief is None or not self._is_of(brief, below):
            return {}
        angular = not below.endswith("lateral-offset")
        read = brief.judged(below, Standing(measured, angular, "", "good", "", ()))
        if read.limit is None:
            return {"job": self._name}
        return {
            "job": self._name,
            "lo": in_unit(read.limit.low, angular=angular),
            "hi": in_unit(read.limit.high, angular=angular),
            "rule": read.rule,
            "dec": read.decision,
        }

    def _is_of(self, brief: Brief, topic: str) -> bool:
        """Say whether a topic is of the vehicle: a head may be on a wheel that it has not."""
        parts = topic.split("/")
        return parts[0] == "vehicle" or int(parts[1]) <= len(brief.of.axles)

    def watch(self) -> None:
        """See whether something happened to a head that the present task does not bring with it."""
        job = self._job
        if job is None or job.phase is not Phase.WORK:
            return
        turning = job.task(job.turning) if job.turning else None
        if turning is not None:
            self._view.being_turned(turning.axles)
        beams = () if self._brief is None else self._brief.of.beams
        found = self._watching.look(
            job.current, self._view.seen, turning=turning is not None, beams=beams
        )
        for each in found:
            if each.knocked:
                self._view.knocked(each.axle, each.side)
            act = Upset((), each.reason, each.lacks, each.axle, each.side, each.todo)
            self.upset(act)
        if found:
            self.tell()

    def upset(self, act: Upset) -> None:
        """Take note of what happened that nobody meant."""
        job = self._job
        if job is None or job.phase is not Phase.WORK:
            return
        try:
            whats = decide(
                job, act, Facts() if self._brief is None else Facts(again=self._brief.again)
            )
            if whats:
                self._commit(whats, BAY, None)
        except JobsUnkept as unkept:
            self._alerts.set("job-store", "warning", str(unkept))

    def tell(self) -> None:
        """Say what changed of how the job stands."""
        job, brief = self._job, self._brief
        if job is None or brief is None:
            self._desk.tell("", None, "", None)
            return
        self._desk.tell(self._name, job, brief.vehicle, guide(job, self._facts(brief)))

    def live(self) -> None:
        """Say the value that is being turned, ten times a second."""
        job, brief = self._job, self._brief
        if job is None or brief is None or not job.turning:
            return
        task, now_ns = job.task(job.turning), self._announcer.clock()
        if task is None or not task.topics or not task.is_seen:
            return
        newest_ns = self._view.newest_ns(task.axles[0])
        is_early = newest_ns - self._newest_ns < LIVE_S * NS
        if is_early and now_ns - self._live_ns < LOST_S * NS:
            return
        self._live_ns, self._newest_ns = now_ns, newest_ns
        followed = self._view.follow(task.axles[0])
        self._desk.live(self._name, task, brief, followed)

    def events(self) -> tuple[Event, ...]:
        """Return all that happened in the present job."""
        return self._store.events(self._name)

    def standing(self, topic: str) -> Standing | None:
        """Return a result that stands now."""
        return self._view.standing.get(topic)

    @property
    def brief(self) -> Brief | None:
        """What the present job is held against; None where there is none, or it is over."""
        open_yet = self._job is not None and self._job.phase is not Phase.OVER
        return self._brief if open_yet else None

    def _do(self, asking: Asking, command: JobCommand) -> str:
        if isinstance(command, JobOpen):
            return self._open(asking, command)
        if self._job is None or self._brief is None:
            raise Refused("no-job", "no job is open; open one")
        if command.job not in (None, self._name):
            raise Refused("no-job", f"{command.job} is not the present job; that is {self._name}")
        if isinstance(command, JobEvents):
            events = self._store.events(self._name, command.since)
            self._desk.news(self._name, self._job, events, again=True)
            return f"{len(events)} events told again on evt/job"
        act = Tape(self._taped(command)) if isinstance(command, JobTape) else act_of(command)
        whats = decide(self._job, act, self._facts(self._brief))
        if not whats:
            return "done already"
        return self._commit(whats, command.by or asking.client, asking)

    def _open(self, asking: Asking, ask: JobOpen) -> str:
        if self._job is not None and self._job.phase is not Phase.OVER:
            raise Refused("job-open", f"{self._name} is open; close it, or give it up, first")
        what = replace(self._shop.take(ask), simulated=self._view.simulated)
        brief = self._shop.brief(what)
        name = self._new_name(ask.order)
        event = Event(1, self._now(), ask.by or asking.client, what)
        text = f"{name} is open: {brief.vehicle}"
        self._store.add(name, (event,), asking, Answered(name, True, "ok", text))
        self._view.clear()
        self._name, self._job, self._brief = name, opened(event), brief
        self._view.set_out(brief.of, {})
        self._desk.news(name, self._job, (event,))
        return text

    def _new_name(self, order: str) -> str:
        """Return a name that no job has: the order's, counted on where it is not the first."""
        stem = LEVEL.sub("-", order.lower()).strip("-")[:LONGEST] or "job"
        name, number = stem, 1
        while self._store.taken(name):
            number += 1
            name = f"{stem}-{number}"
        return name

    def _commit(self, whats: tuple[What, ...], by: str, asking: Asking | None) -> str:
        """Keep events and the answer to what was asked; then let them make the job."""
        job, now = self._job, self._now()
        assert job is not None
        events = tuple(Event(job.last + n, now, by[:32], what) for n, what in enumerate(whats, 1))
        changed = reduce(after, events, job)
        text = _answer(job, changed)
        answered = None if asking is None else Answered(self._name, True, "ok", text)
        self._store.add(self._name, events, asking, answered)
        self._job = changed
        self._follow(whats)
        self._desk.news(self._name, changed, events)
        return text

    def _follow(self, whats: tuple[What, ...]) -> None:
        """Have the bay know what follows for it."""
        assert self._job is not None
        assert self._brief is not None
        for what in whats:
            if isinstance(what, Taped):
                self._view.set_out(self._brief.of, self._job.taped)
            elif isinstance(what, Turning):
                task = self._job.task(what.task)
                assert task is not None
                self._view.turned(task.axles)
            elif isinstance(what, DidTask):
                task = self._job.task(what.task)
                assert task is not None
                if task.doing in SETTLES:
                    self._view.anew(task.axles, SETTLES[task.doing])

    def _facts(self, brief: Brief) -> Facts:
        standing = self._view.standing
        job = self._job
        task = None if job is None else job.current
        watched = () if task is None else (*task.topics, *task.also)
        advice: dict[str, tuple[str, ...]] = {}
        swept = SweptAdvice()
        if task is not None and job is not None and task.doing is Doing.ADJUST:
            if task.is_seen:
                there = [topic for topic in watched if topic in standing]
                advice = {t: brief.advice(task, standing[t].measured) for t in there}
            else:
                swept = brief.advice_by_sweep(task, job)
                advice = {task.topics[0]: swept.text}
        return Facts(
            self._view.wheels,
            self._view.compensated,
            {topic: brief.judged(topic, standing[topic]) for topic in watched if topic in standing},
            advice,
            swept.heed,
            swept.fitted_rad,
            brief.stale,
            brief.plan,
            brief.again,
            self._view.level,
            self._watching.hidden,
        )

    def _taped(self, command: JobTape) -> Taped:
        """Return a tape distance; one at a wheel that the vehicle has not is refused."""
        assert self._brief is not None
        for end in command.line.split("-"):
            if end != PIN and not 1 <= int(end[1:]) <= len(self._brief.of.axles):
                raise Refused("bad-field", f"{command.line}: the vehicle has no wheel {end}")
        at, to = command.line.split("-")
        u_m = command.u_mm * 1e-3
        told = self._view.foretold(at, to) if is_check(at, to) else None
        if told is None:
            return Taped(command.line, command.metres, u_m, None, None, None)
        agrees = abs(command.metres - told.value) <= PROVES * math.hypot(u_m, told.u)
        return Taped(command.line, command.metres, u_m, told.value, told.u, agrees)

    def _now(self) -> str:
        return rfc3339(self._announcer.wall())


def _answer(before: Job, now: Job) -> str:
    """Return what is said to whoever brought a job from one state to the next."""
    done = before.current
    if now.closed is not None:
        return "the job is closed" if now.closed.finished else "the job is given up"
    if now.current is None:
        return "all tasks are done" if now.phase is Phase.WORK else "noted"
    following = f"{now.current.title} ({now.current.id})"
    if now.current == done:
        return f"noted; still: {following}"
    return f"next: {following}"
