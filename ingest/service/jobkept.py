"""The newest job as the store keeps it: opened, taken up, and changed by one event after another.

Every event is in the store before anybody is answered. What the store keeps is the job: at a start
it is taken up where it was, whatever ended the service before.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import reduce

from ingest.core.ports import WallClock
from ingest.job.course.events import Event, Opened, Taped, What
from ingest.job.course.job import Job, Phase
from ingest.job.course.keeping import Answered, Asking, JobStore
from ingest.job.course.making import after, opened, replayed
from ingest.payload.stamp import rfc3339
from ingest.service.jobports import Brief, JobShop
from ingest.service.tapewords import disagreement

LEVEL = re.compile(r"[^a-z0-9]+")
LONGEST = 24
"""Characters of an order number that a job's name takes up."""

Kept = tuple[tuple[Event, ...], str]
"""The events that were kept, and what whoever asked is told."""


@dataclass(frozen=True, slots=True)
class Present:
    """The newest job: its name, how it stands, what it is held against."""

    name: str
    job: Job
    brief: Brief

    @property
    def is_open(self) -> bool:
        """Whether anything may happen in it yet."""
        return self.job.phase is not Phase.OVER

    @property
    def is_begun(self) -> bool:
        """Whether it is open and its intake is over."""
        return self.job.phase is Phase.WORK

    def lacks_axle(self, number: int) -> str:
        """Return that the vehicle has no such axle, in words; empty where it has."""
        numbers = [axle.number for axle in self.brief.of.axles]
        known, name = ", ".join(map(str, numbers)), self.brief.vehicle
        words = f"there is no axle {number}: {name} has axles {known}, counted from the front"
        return "" if number in numbers else words


class KeptJob:
    """Keeps the newest job; ``present`` is None where none was ever opened."""

    def __init__(self, store: JobStore, shop: JobShop, wall: WallClock) -> None:
        self._store = store
        self._shop = shop
        self._wall = wall
        self.present: Present | None = None

    def take_up(self) -> None:
        """Take the newest job of the store up where it was. Raises ``JobsUnkept``."""
        name = self._store.newest()
        if name is not None:
            job = replayed(self._store.events(name))
            self.present = Present(name, job, self._shop.brief(job.opened))

    def open(self, what: Opened, by: str, asking: Asking) -> Kept:
        """Open a job in the place of the one before. Raises ``JobsUnkept``."""
        brief = self._shop.brief(what)
        name = new_name(what.order, self._store.taken)
        event = Event(1, self._now(), by, what)
        text = f"{name} is open: {brief.vehicle}"
        self._store.add(name, (event,), asking, Answered(name, True, "ok", text))
        self.present = Present(name, opened(event), brief)
        return (event,), text

    def commit(self, whats: tuple[What, ...], by: str, asking: Asking | None) -> Kept:
        """Keep events and the answer to what was asked; then let them make the job.

        Raises ``JobsUnkept``; the job stands then.
        """
        assert self.present is not None
        name, job, now = self.present.name, self.present.job, self._now()
        events = tuple(Event(job.last + n, now, by[:32], what) for n, what in enumerate(whats, 1))
        changed = reduce(after, events, job)
        text = warned(whats, _answer(job, changed))
        answered = None if asking is None else Answered(name, True, "ok", text)
        self._store.add(name, events, asking, answered)
        self.present = replace(self.present, job=changed)
        return events, text

    def _now(self) -> str:
        return rfc3339(self._wall())


def new_name(order: str, taken: Callable[[str], bool]) -> str:
    """Return a name that no job has: the order's, counted on where it is not the first."""
    stem = LEVEL.sub("-", order.lower()).strip("-")[:LONGEST] or "job"
    name, number = stem, 1
    while taken(name):
        number += 1
        name = f"{stem}-{number}"
    return name


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


def warned(whats: tuple[What, ...], answer: str) -> str:
    """Return an answer with what has to be said first of what was just entered."""
    against = [disagreement(what) for what in whats if isinstance(what, Taped)]
    said = [f"{each[:1].upper()}{each[1:]}" for each in (*against, answer) if each]
    return ". ".join(said) if any(against) else answer
