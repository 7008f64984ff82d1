"""Plays a capture: the inputs that were noted, into the same workings as live.

The bay gets the name of its own with ``-replay``; boot ids, times and all else are those of the
capture, so that playing it twice says the same things, byte for byte, however fast.
"""

import base64
import contextlib
import json
import logging
from collections import defaultdict, deque
from collections.abc import Container, Iterable
from dataclasses import dataclass, replace
from typing import Any

from calibration.errors import CalibrationFileError
from calibration.records.text import AnyRecord, load_record
from ingest.core.errors import (
    InputError,
    LinkBusy,
    LinkDenied,
    LinkError,
    LinkLost,
    LinkNotFound,
    LinkSilent,
    LinkTimeout,
)
from ingest.core.ids import HeadId, HeadName, MonotonicNs
from ingest.core.ports import LinkForm, NameTaken
from ingest.core.recording import BYTES, Record
from ingest.payload.base import PayloadError
from ingest.payload.cmd import Request, read_command
from ingest.payload.topics import Topics
from ingest.service import transcript
from ingest.service.inputs import (
    Arrived,
    Asked,
    Began,
    Input,
    Introduced,
    LinkIs,
    Moment,
    NotSent,
    Offered,
    Second,
    Warned,
)
from ingest.service.jobtranscript import ToldJobs
from ingest.service.linkkeeper import LinkChange, LinkState
from ingest.service.workings import Answering, Jobs, Workings, WorkSettings

log = logging.getLogger(__name__)

SUFFIX = "-replay"
LONGEST_BAY = 32 - len(SUFFIX)
"""A topic level has 32 characters; the end of a longer bay's name gives way to the suffix."""

UNREADABLE = (ValueError, KeyError, TypeError, AttributeError, PayloadError)
"""What reading a record of somebody else's making may raise (pydantic's errors are ValueErrors)."""

ERRORS = {
    kind.__name__: kind
    for kind in (LinkBusy, LinkDenied, LinkLost, LinkNotFound, LinkSilent, LinkTimeout)
}


class Player:
    """Plays the records of one start of a service, in order."""

    def __init__(
        self, where: str, records: Iterable[Record], outlet: Answering, number: int = 1
    ) -> None:
        """Read what the replay starts from.

        ``number``: of the pass, where a capture is played again and again. Each is a start of its
        own, since the numbers of messages begin anew.

        Raises:
            InputError: there is no start, or it is of a version that this program cannot play.
        """
        self._records = tuple(records)
        start = self._start(where)
        self.bay_name, settings = start.bay, start.settings
        self.boot = start.boot if number == 1 else f"{start.boot[:28]}-{number}"
        self.program = settings.desk.version
        """The version of the program that captured."""
        self.topics = Topics(self.bay_name[:LONGEST_BAY] + SUFFIX)
        self._links = frozenset(start.forms)
        told = Told(self._records)
        jobs = ToldJobs(told.answers)
        self.workings = Workings(
            settings,
            self.topics,
            start.forms,
            outlet,
            NoHands(),
            names=told,
            records=told,
            boot=self.boot,
            jobs=Jobs(jobs, jobs) if settings.jobs else None,
        )
        self.skipped = 0
        """Records that could not be read as an input."""
        self.faults = 0
        """Records at which the program itself failed, as it did or would have done live."""

    @property
    def records(self) -> tuple[Record, ...]:
        """All records, for whoever paces the play."""
        return self._records

    def play(self, record: Record) -> None:
        """Take one record; what is none of an input is passed over."""
        try:
            what = read_input(record, self._links)
        except UNREADABLE:
            self.skipped += 1
            return
        if isinstance(what, Asked):
            what = self._of_the_replay(what)
        if what is not None:
            try:
                self.workings.take(moment_of(record), what)
            except Exception:  # a bug that a capture shows must not hide what comes after it
                self.faults += 1
                log.debug("record of %d ns", record.at_ns, exc_info=True)

    def _of_the_replay(self, what: Asked) -> Asked:
        """Return what was asked with its answer under the replay's own name, as all else."""
        topic = what.request.reply_topic
        if topic is None or not Topics(self.bay_name).is_reply(topic):
            return what
        topic = self.topics.reply(topic.rpartition("/")[2])
        return Asked(replace(what.request, reply_topic=topic))

    def _start(self, where: str) -> "Start":
        first = next((r for r in self._records if r.topic == transcript.START), None)
        if first is None:
            raise InputError(where, None, "holds no start of a service; nothing can be replayed")
        try:
            said: dict[str, Any] = json.loads(first.data)
            version = said["version"]
            if version != transcript.VERSION:
                reason = f"capture version {version}; this program plays {transcript.VERSION}"
                raise InputError(where, None, reason)
            forms = {str(name): LinkForm(form) for name, form in said["links"].items()}
            settings = transcript.SETTINGS.validate_python(said["settings"])
            return Start(Topics(said["bay"]).bay, str(said["boot"]), settings, forms)
        except UNREADABLE as error:
            reason = "its start cannot be read; a newer program may have written it"
            raise InputError(where, None, reason) from error


def moment_of(record: Record) -> Moment:
    """Return when a record was made."""
    return Moment(MonotonicNs(record.at_ns), record.wall_ns)


@dataclass(frozen=True, slots=True)
class Start:
    """What a replay starts from."""

    bay: str
    boot: str
    settings: WorkSettings
    forms: dict[str, LinkForm]


def read_input(record: Record, links: Container[str]) -> Input | None:
    """Return a record as an input; None for what is none. Raises for what cannot be read."""
    kind, _, link = record.topic.partition("/")
    if link and link not in links:
        raise ValueError(f"no such link: {link}")
    if record.topic.startswith(BYTES):
        return Arrived(link, record.data)
    said: dict[str, Any] = json.loads(record.data)
    match kind:
        case transcript.BEGAN:
            return Began()
        case transcript.SECOND:
            return Second({str(name): int(count) for name, count in said["dropped"].items()})
        case transcript.REQUEST:
            return Asked(_request(said))
        case transcript.INTRODUCED:
            return Introduced(said["state"], said["why"])
        case transcript.WARNED:
            level = said.get("level", "warning")
            return Warned(said["code"], said["text"], "note" if level == "note" else "warning")
        case transcript.OFFERED:
            return Offered(_pairs(said["vehicles"]), _pairs(said["limit_sets"]))
        case transcript.LINK:
            change = LinkChange(LinkState(said["state"]), _error(said))
            return LinkIs(link, change, int(said["reconnects"]))
        case transcript.NOT_SENT:
            error = _error(said)
            return None if error is None else NotSent(link, int(said["command_id"]), error)
    return None


def _error(said: dict[str, Any]) -> LinkError | None:
    if "error" not in said:
        return None
    return ERRORS.get(said["error"], LinkLost)(said["link"], said["reason"])


def _pairs(said: list[list[str]]) -> tuple[tuple[str, str], ...]:
    return tuple((str(each), str(name)) for each, name in said)


def _request(said: dict[str, Any]) -> Request:
    mark = said["correlation"]
    return Request(
        said["name"],
        read_command(said["name"], said["command"].encode()),
        said["reply_topic"],
        None if mark is None else base64.b64decode(mark),
        said.get("user"),
    )


class Told:
    """Head names and calibration records as the captured service was told them."""

    def __init__(self, records: Iterable[Record]) -> None:
        self.answers: defaultdict[str, deque[Any]] = defaultdict(deque)
        for record in records:
            if record.topic == transcript.FOUND:
                with contextlib.suppress(*UNREADABLE):
                    said = json.loads(record.data)
                    self.answers[said["key"]].append(said["answer"])

    def _next(self, key: str) -> Any:
        """Return the next answer; the last one stands, should a newer program ask more often."""
        waiting = self.answers[key]
        if len(waiting) > 1:
            return waiting.popleft()
        return waiting[0] if waiting else None

    def name_of(self, head: HeadId) -> HeadName | None:
        """Return a head's name."""
        found = self._next(f"name of {head}")
        return None if found is None else HeadName(found)

    def head_named(self, name: HeadName) -> HeadId | None:
        """Return who has a name."""
        found = self._next(f"head named {name}")
        return None if found is None else HeadId(found)

    def set_name(self, head: HeadId, name: HeadName) -> None:
        """Name a head; raises ``NameTaken``."""
        holder = self._next(f"naming {head}")
        if holder is not None:
            raise NameTaken(name, HeadId(holder))

    def newest(self, head: HeadId) -> AnyRecord | None:
        """Return the head's record. Raises ``CalibrationFileError``."""
        found = self._next(f"record of {head}")
        if isinstance(found, dict):
            raise CalibrationFileError(found["where"], found["reason"])
        return None if found is None else load_record(found)


class NoHands:
    """A replay has no links: what heads answered is in the capture."""

    def send(self, link: str, data: bytes, command_id: int) -> None:
        """Send nothing."""

    def ask_hello(self, link: str, command: bytes) -> None:
        """Ask nobody."""

    def heard(self, link: str, at_ns: MonotonicNs) -> None:
        """Tell nobody."""

    def rest(self, link: str, until_ns: MonotonicNs) -> None:
        """Let nothing gather."""
