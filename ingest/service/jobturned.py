"""The value that is being turned in a job, told as often as heads give a new one."""

from ingest.core.units import NS
from ingest.service.announcer import Announcer
from ingest.service.jobdesk import JobDesk
from ingest.service.jobkept import Present
from ingest.service.jobports import BayView

LIVE_S = 0.09
"""Least time between the samples of two values of what is being turned; a head gives ten a second.
By the samples' own time, in which nothing is late: a value that came late would else hold the next
one up until some other head was heard, and that the one after it, on and on."""
LOST_S = 0.25
"""Where no head of the axle gives anything new, that is said again so often."""


class Turned:
    """Tells one value after the other."""

    def __init__(self, view: BayView, announcer: Announcer, desk: JobDesk) -> None:
        self._view = view
        self._announcer = announcer
        self._desk = desk
        self._said_ns = 0
        self._newest_ns = 0

    def tell(self, present: Present) -> None:
        """Say the value that is being turned, where there is one and it is due."""
        job = present.job
        task, now_ns = job.task(job.turning), self._announcer.clock()
        if task is None or not task.topics or not task.is_seen:
            return
        newest_ns = self._view.newest_ns(task.axles[0])
        is_early = newest_ns - self._newest_ns < LIVE_S * NS
        if is_early and now_ns - self._said_ns < LOST_S * NS:
            return
        self._said_ns, self._newest_ns = now_ns, newest_ns
        followed = self._view.follow(task.axles[0])
        self._desk.live(present.name, task, present.brief, followed)
