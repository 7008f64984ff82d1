"""Publishes the job: state, step and guidance when they change, each event once."""

from collections.abc import Sequence
from typing import Any

from calibration.measured import Measured
from calibration.reporting import report_expanded
from calibration.units import Unit
from ingest.job.brief.standing import Standing
from ingest.job.course.events import Event
from ingest.job.course.guidance import Guidance
from ingest.job.course.job import Job, Phase
from ingest.job.course.tasks import Task, mountings_of
from ingest.payload.base import DISPLAY_LIMIT_BYTES, Message
from ingest.payload.job import (
    JobAdvice,
    JobCaution,
    JobEvent,
    JobGuidance,
    JobLine,
    JobLive,
    JobState,
    JobStep,
)
from ingest.payload.stamp import epoch_ms_of
from ingest.report.figures import lines
from ingest.service.adjusting import Followed
from ingest.service.announcer import Announcer
from ingest.service.joblines import line_of
from ingest.service.jobports import Brief
from ingest.service.jobwords import said
from ingest.service.verdicts import PER_DEG, PER_MM, in_unit

LIVE_TTL_S = 1.0
MARK_BYTES = 8
"""So much longer than its letters a text may be, written as JSON, for the mark of a cut."""


def _live(task: Task, brief: Brief, measured: Measured, followed: Followed) -> dict[str, Any]:
    """Return the figures of a value that is being turned."""
    topic = task.topics[0]
    angular = not topic.endswith("lateral-offset")
    judged = brief.judged(topic, Standing(measured, angular, "", "good", "", ()))
    times, unit = (PER_DEG, Unit.DEGREE) if angular else (PER_MM, Unit.MILLIMETRE)
    shown = report_expanded(measured.value * times, judged.U * times, unit, k=judged.k)
    limit, target = judged.limit, brief.target(task)
    go = None if target is None else round((target - measured.value) * times, shown.dp) + 0.0
    todo = brief.advice(task, measured)
    return {
        "value": shown.value,
        "unit": shown.unit.value,
        "U": shown.U,
        "k": shown.k,
        "dp": shown.dp,
        "lo": None if limit is None else in_unit(limit.low, angular=angular),
        "hi": None if limit is None else in_unit(limit.high, angular=angular),
        "dec": judged.decision,
        "go": go,
        "todo": cut(todo[0], 120) if todo else "",
        "lag_ms": round(followed.lag_ms, 1),
        "q": "uncertain" if followed.moving else "good",
        "why": "moving" if followed.moving else "",
    }


class JobDesk:
    """What displays see of the present job."""

    def __init__(self, announcer: Announcer) -> None:
        self._announcer = announcer
        self._said: dict[str, Message] = {}
        self._lines = 0

    def tell(self, name: str, job: Job | None, vehicle: str, guidance: Guidance | None) -> None:
        """Say what changed of how a job stands."""
        moment = self._announcer.moment()
        if job is None or guidance is None:
            self._say("state", JobState(**moment, job=None, phase="none"))
            self._say("step", JobStep(**moment, job=None, task="", doing="none", title="no job"))
            self._say("caution", JobCaution(**moment, job=None, task=""))
            self._say("advice", JobAdvice(**moment, job=None, task=""))
            self._say(
                "guidance",
                JobGuidance(
                    **moment,
                    job=None,
                    task="",
                    title="no job is open",
                    text="Open one: vehicle, limits, order.",
                    ready=True,
                    asks="job-open",
                ),
            )
            return
        self._say("state", self._state(name, job, vehicle))
        self._say("step", self._step(name, job, guidance))
        text = "\n".join(guidance.cautions)
        self._say("caution", JobCaution(**moment, job=name, task=guidance.task, text=text))
        advice = joined(guidance.advice, 900, "\n")
        self._say("advice", JobAdvice(**moment, job=name, task=guidance.task, text=advice))
        self._say("guidance", self._guidance(name, guidance))
        self._tell_lines(name, job)

    def live(self, name: str, task: Task, brief: Brief, followed: Followed) -> None:
        """Say the value that is being turned, moving or not."""
        (topic, *_) = task.topics
        measured = followed.told.get(topic)
        moment = self._announcer.moment(followed.t_ns or None)
        common = {"job": name, "task": task.id, "topic": topic, "moving": followed.moving}
        if measured is None:
            lost = {"value": None, "unit": "deg", "U": None, "k": None, "dp": 3}
            why = {"q": "bad", "why": "sightline-lost", "lag_ms": round(followed.lag_ms, 1)}
            message = JobLive(**moment, **common, **lost, **why)
        else:
            message = JobLive(**moment, **common, **_live(task, brief, measured, followed))
        self._announcer.live(self._announcer.topics.job("live"), message, LIVE_TTL_S)

    def news(self, name: str, job: Job, events: Sequence[Event], *, again: bool = False) -> None:
        """Say what happened, each task by its title."""
        topic = self._announcer.topics.event("job")
        for event in events:
            task, text = said(event)
            about = job.task(task) if task else None
            text = text if about is None else f"{about.title}: {text}"
            message = JobEvent(
                t=event.at,
                ms=epoch_ms_of(event.at),
                job=name,
                number=event.number,
                by=event.by[:32],
                kind=event.what.kind,
                task=task,
                text=cut(text, 200),
                again=again,
            )
            self._announcer.news(topic, message)

    def _tell_lines(self, name: str, job: Job) -> None:
        """Say every result as found and as left; take back what a job before has left there."""
        told = lines(job)
        for at, line in enumerate(told, start=1):
            self._say(f"line-{at}", JobLine(**self._announcer.moment(), job=name, **line_of(line)))
        for at in range(len(told) + 1, self._lines + 1):
            self._said.pop(f"line-{at}", None)
            self._announcer.clear(self._announcer.topics.job(f"line-{at}"))
        self._lines = len(told)

    def _state(self, name: str, job: Job, vehicle: str) -> JobState:
        current = job.current
        return JobState(
            **self._announcer.moment(),
            job=name,
            phase=job.phase.value,
            order=job.opened.order,
            vehicle=cut(vehicle, 64),
            limits=job.opened.limits_name[:64],
            task="" if current is None else current.id,
            done=len(job.marks),
            of=len(job.tasks),
            mountings=mountings_of(job.tasks),
            stale=len([t for t in job.stale if t in job.found or t in job.left]),
            finished=None if job.closed is None else job.closed.finished,
            event=job.last,
        )

    def _step(self, name: str, job: Job, guidance: Guidance) -> JobStep:
        task = job.current if job.phase is Phase.WORK else None
        moment = self._announcer.moment()
        if task is None:
            title = cut(guidance.title, 80)
            return JobStep(**moment, job=name, task="", doing="none", title=title)
        return JobStep(
            **moment,
            job=name,
            task=task.id,
            doing=task.doing.value,
            title=cut(task.title, 80),
            set_up=task.set_up,
            axles="+".join(map(str, task.axles)),
            off="+".join(map(str, task.off)),
            results=joined(task.topics, 120, "+"),
            why=cut(task.why, 120),
            stops=task.to_stops,
        )

    def _guidance(self, name: str, guidance: Guidance) -> JobGuidance:
        """Return what to do now, with as much of what is lacking as small displays can read."""
        told = JobGuidance(
            **self._announcer.moment(),
            job=name,
            task=guidance.task,
            title=guidance.title[:80],
            text=cut(guidance.text, 200),
            ready=guidance.ready,
            asks=joined(guidance.asks, 80, "+"),
            item=guidance.item or None,
        )
        lists = (("waits", 120, guidance.waits), ("lacks", 200, guidance.lacks))
        for at, (name, most, parts) in enumerate(lists):
            marks = MARK_BYTES * (len(lists) - at)
            room = min(most, DISPLAY_LIMIT_BYTES - len(told.encode()) - marks)
            told = told.model_copy(update={name: joined(parts, room, "; ")})
        return told

    def _say(self, leaf: str, message: Message) -> None:
        """Publish a message where it says something new; a moment alone is not new."""
        before = self._said.get(leaf)
        if before is not None and _timeless(before) == _timeless(message):
            return
        self._said[leaf] = message
        self._announcer.state(self._announcer.topics.job(leaf), message)


def _timeless(message: Message) -> dict[str, object]:
    return message.model_dump(exclude={"t", "ms"})


def cut(text: str, most: int) -> str:
    """Return a text that fits; what is cut off leaves a mark."""
    return text if len(text) <= most else text[: most - 1].rstrip() + "\u2026"


def joined(parts: Sequence[str], most: int, by: str) -> str:
    """Return as many parts as fit whole, joined; a mark where some are left off."""
    kept = list(parts)
    while kept and len(by.join(kept)) + (len(kept) < len(parts)) * (len(by) + 1) > most:
        kept.pop()
    return by.join(kept if len(kept) == len(parts) else [*kept, "\u2026"])
