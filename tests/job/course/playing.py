"""A small job to play through: two axles, one set-up after the other, invented."""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from ingest.job.course.acts import Act, Begin, Check, Facts, Plan
from ingest.job.course.deciding import decide
from ingest.job.course.events import Event, Opened, What
from ingest.job.course.intake import ITEMS
from ingest.job.course.job import Job
from ingest.job.course.making import after, opened
from ingest.job.course.readings import LimitAt, Reading, RunoutTaken
from ingest.job.course.tasks import Doing, Task

HEADING_4 = "axle/4/both/heading"
TOE_1 = "axle/1/both/total-toe"
OPENED = Opened("W-118", "pellowmere-17", "", "invented", "", "412 300 km", "unladen", 2, "guard-u")


def set_up(number: int, axle: int, topic: str, quantity: str) -> tuple[Task, ...]:
    """Return the tasks of one set-up with one thing to adjust."""
    doings = (Doing.MOUNT, Doing.TURN, Doing.LOWER, Doing.SETTLE, Doing.FIND, Doing.ADJUST)
    doings = (*doings, Doing.TIGHTEN, Doing.SETTLE, Doing.LEAVE)
    measured = (Doing.FIND, Doing.ADJUST, Doing.LEAVE)
    return tuple(
        Task(
            f"s{number}-{place}",
            doing,
            number,
            (axle,),
            (topic,) if doing in measured else (),
            quantity=quantity if doing is Doing.ADJUST else "",
        )
        for place, doing in enumerate(doings, start=1)
    )


TASKS = (*set_up(1, 4, HEADING_4, "axle_heading"), *set_up(2, 1, TOE_1, "total_toe"))
WHEELS = frozenset((axle, side) for axle in (1, 4) for side in ("left", "right"))


def run_out(axle: int, side: str) -> RunoutTaken:
    """Return what a turn of one wheel might find."""
    return RunoutTaken(axle, side, "alder", "cal-1", 0.3, 0.01, "3 stops")


COMPENSATED = {wheel: run_out(*wheel) for wheel in WHEELS}


def reading(topic: str, at: str, decision: str = "inside", value: float = 0.001) -> Reading:
    """Return a result as the bay might state it."""
    return Reading(
        topic,
        True,
        value,
        0.0002,
        0.0004,
        2.0,
        at,
        "good",
        "",
        (("alder", "cal-1"),),
        ("bay study",),
        LimitAt(-0.001, 0.0, 0.001, "0 +- 0.06 deg", "invented"),
        "guard-u",
        decision,
        0.99,
    )


@dataclass
class Played:
    """A job and the events that made it. Time goes on by a second an event."""

    job: Job
    events: list[Event]
    plan: Plan = field(default_factory=lambda: Plan(TASKS, 2))
    wheels: frozenset[tuple[int, str]] = WHEELS

    @property
    def now(self) -> str:
        return stamp(len(self.events))

    def facts(self, **changed: object) -> Facts:
        """Return what a bay knows in which all is as it should be."""
        topics = {t: reading(t, self.now) for t in (HEADING_4, TOE_1)}
        facts = Facts(
            self.wheels,
            {wheel: run_out(*wheel) for wheel in self.wheels},
            topics,
            dict.fromkeys(topics, ("Left arm: 1.5 turns longer.",)),
            plan=lambda job, cannot: replace(
                self.plan, tasks=tuple(t for t in self.plan.tasks if t.id not in job.marks)
            ),
        )
        return replace(facts, **changed)  # type: ignore[arg-type]

    def act(self, act: Act, **facts: object) -> None:
        """Do something, if it may happen; else ``Refused`` comes out, and the job stands."""
        for what in decide(self.job, act, self.facts(**facts)):
            self.tell(what)

    def tell(self, what: What) -> None:
        """Let something have happened."""
        event = Event(len(self.events) + 1, self.now, "ines", what)
        self.events.append(event)
        self.job = after(self.job, event)


def stamp(second: int) -> str:
    """Return a moment as events have it."""
    return f"2026-01-02T08:{second // 60:02d}:{second % 60:02d}.000000000Z"


def begun_with(first: Opened, plan: Plan, wheels: frozenset[tuple[int, str]] = WHEELS) -> Played:
    """Return a job of another vehicle and plan whose work has begun."""
    event = Event(1, stamp(0), "ines", first)
    played = Played(opened(event), [event], plan, wheels)
    for item in ITEMS:
        played.act(Check(item.id, "ok"))
    played.act(Begin())
    return played


def begun(skip: Iterable[str] = ()) -> Played:
    """Return a job whose intake is complete and whose work has begun."""
    first = Event(1, stamp(0), "ines", OPENED)
    played = Played(opened(first), [first])
    for item in ITEMS:
        if item.id not in skip:
            played.act(Check(item.id, "ok"))
    if not list(skip):
        played.act(Begin())
    return played
