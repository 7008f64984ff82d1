"""Publishes the job: state, step and guidance when they change, each event once."""

from collections.abc import Sequence

from ingest.job.course.events import Event
from ingest.job.course.guidance import Guidance
from ingest.job.course.job import Job, Phase
from ingest.payload.base import Message
from ingest.payload.job import JobAdvice, JobCaution, JobEvent, JobGuidance, JobState, JobStep
from ingest.payload.stamp import epoch_ms_of
from ingest.service.announcer import Announcer
from ingest.service.jobwords import said


class JobDesk:
    """What displays see of the present job."""

    def __init__(self, announcer: Announcer) -> None:
        self._announcer = announcer
        self._said: dict[str, Message] = {}

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
        self._say(
            "guidance",
            JobGuidance(
                **moment,
                job=name,
                task=guidance.task,
                title=guidance.title[:80],
                text=cut(guidance.text, 200),
                ready=guidance.ready,
                lacks=joined(guidance.lacks, 80, "; "),
                asks=joined(guidance.asks, 80, "+"),
            ),
        )

    def news(self, name: str, events: Sequence[Event], *, again: bool = False) -> None:
        """Say what happened."""
        topic = self._announcer.topics.event("job")
        for event in events:
            task, text = said(event)
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
            mountings=max((task.set_up for task in job.tasks), default=0),
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
        )

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
