"""The present job on a bay: requests in, what it comes to kept, what it says out."""

from collections.abc import Collection
from dataclasses import replace

from ingest.job.brief.standing import Standing
from ingest.job.course.acts import Act, Facts, Refused, Tape, Upset
from ingest.job.course.deciding import decide
from ingest.job.course.events import BAY, Event, What
from ingest.job.course.guidance import guide
from ingest.job.course.job import Job
from ingest.job.course.keeping import Asking, JobStore, JobsUnkept
from ingest.job.course.restart import unknown_since
from ingest.payload.job_cmd import JobCommand, JobEvents, JobOpen, JobTape
from ingest.service.alerts import Alerts
from ingest.service.announcer import Announcer
from ingest.service.done import Done
from ingest.service.jobacts import act_of
from ingest.service.jobdesk import JobDesk
from ingest.service.jobfacts import facts_of, taped_of
from ingest.service.jobfollow import follow
from ingest.service.jobkept import KeptJob, Present
from ingest.service.jobports import BayView, JobShop
from ingest.service.jobturned import Turned
from ingest.service.jobverdicts import JobVerdicts
from ingest.service.watching import Watching


class JobWork:
    """Keeps the present job going.

    ``people`` may ask for things, by their names at the broker as the topic of a request has them;
    empty: whoever reaches it. ``verdicts`` judges results by it.
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
        self._alerts = alerts
        self._people = frozenset(people)
        self._kept = KeptJob(store, shop, announcer.wall)
        self._desk = JobDesk(announcer)
        self._turned = Turned(view, announcer, self._desk)
        self._watching = Watching()
        self.verdicts = JobVerdicts(self._kept, announcer.topics.root)

    @property
    def job(self) -> Job | None:
        """The job as it stands; None where none was ever opened."""
        return None if self._kept.present is None else self._kept.present.job

    @property
    def name(self) -> str:
        """The job's name; empty where there is none."""
        return "" if self._kept.present is None else self._kept.present.name

    def lacks_axle(self, number: int) -> str:
        """Return that the open job's vehicle has no such axle; else, or with none open, nothing."""
        present = self._kept.present
        return present.lacks_axle(number) if present is not None and present.is_open else ""

    def events(self) -> tuple[Event, ...]:
        """Return all that happened in the present job."""
        return self._store.events(self.name)

    def standing(self, topic: str) -> Standing | None:
        """Return a result that stands now."""
        return self._view.standing.get(topic)

    def take_up(self) -> None:
        """Take the newest job of the store up where it was. Raises ``JobsUnkept``."""
        self._kept.take_up()
        present = self._kept.present
        if present is not None and present.is_open:
            self._view.set_out(present.brief.of, present.job.taped)
        if present is not None and present.is_begun:
            for act in unknown_since(present.job, self._view.compensated):
                self.upset(act)
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

    def watch(self) -> None:
        """See whether something happened to a head that the present task does not bring with it."""
        present = self._kept.present
        if present is None or not present.is_begun:
            return
        job = present.job
        turning = job.task(job.turning)
        if turning is not None:
            self._view.being_turned(turning.axles)
        found = self._watching.look(
            job.current,
            self._view.seen,
            turning=turning is not None,
            beams=present.brief.of.beams,
        )
        for each in found:
            if each.knocked:
                self._view.knocked(each.axle, each.side)
            self.upset(Upset((), each.reason, each.lacks, each.axle, each.side, each.todo))
        if found:
            self.tell()

    def upset(self, act: Upset) -> None:
        """Take note of what happened that nobody meant."""
        present = self._kept.present
        if present is None or not present.is_begun:
            return
        try:
            whats = decide(present.job, act, Facts(again=present.brief.again))
            if whats:
                self._commit(whats, BAY, None)
        except JobsUnkept as unkept:
            self._alerts.set("job-store", "warning", str(unkept))

    def tell(self) -> None:
        """Say what changed of how the job stands."""
        present = self._kept.present
        if present is None:
            self._desk.tell("", None, "", None)
            return
        guidance = guide(present.job, self._facts(present))
        self._desk.tell(present.name, present.job, present.brief.vehicle, guidance)

    def live(self) -> None:
        """Say the value that is being turned, ten times a second."""
        if self._kept.present is not None:
            self._turned.tell(self._kept.present)

    def _do(self, asking: Asking, command: JobCommand) -> str:
        if isinstance(command, JobOpen):
            return self._open(asking, command)
        present = self._kept.present
        if present is None:
            raise Refused("no-job", "no job is open; open one")
        if command.job not in (None, present.name):
            raise Refused("no-job", f"{command.job} is not the present job; that is {present.name}")
        if isinstance(command, JobEvents):
            events = self._store.events(present.name, command.since)
            self._desk.news(present.name, present.job, events, again=True)
            return f"{len(events)} events told again on evt/job"
        whats = decide(present.job, self._act(present, command), self._facts(present))
        if not whats:
            return "done already"
        return self._commit(whats, command.by or asking.client, asking)

    def _act(self, present: Present, command: JobCommand) -> Act:
        if isinstance(command, JobTape):
            return Tape(taped_of(command, present, self._view))
        return act_of(command)

    def _open(self, asking: Asking, ask: JobOpen) -> str:
        before = self._kept.present
        if before is not None and before.is_open:
            raise Refused("job-open", f"{before.name} is open; close it, or give it up, first")
        what = replace(self._shop.take(ask), simulated=self._view.simulated)
        events, text = self._kept.open(what, ask.by or asking.client, asking)
        present = self._kept.present
        assert present is not None
        self._view.clear()
        self._view.set_out(present.brief.of, {})
        self._desk.news(present.name, present.job, events)
        return text

    def _commit(self, whats: tuple[What, ...], by: str, asking: Asking | None) -> str:
        events, text = self._kept.commit(whats, by, asking)
        present = self._kept.present
        assert present is not None
        for what in whats:
            follow(present, what, self._view)
        self._desk.news(present.name, present.job, events)
        return text

    def _facts(self, present: Present) -> Facts:
        return facts_of(present, self._view, self._watching.hidden)
