"""The inputs of the service as records of a capture: written as they happen.

One topic a kind of input; bytes of links are kept as they came, all else is JSON. What the
service looked up in its store is kept too, since a replay has no store.
"""

import base64
import json
from collections.abc import Mapping
from typing import Any

from pydantic import TypeAdapter

from calibration.errors import CalibrationFileError
from calibration.records.text import AnyRecord, dump_record
from ingest.core.errors import LinkError
from ingest.core.ids import HeadId, HeadName, MonotonicNs
from ingest.core.ports import HeadNames, LinkForm, NameTaken
from ingest.core.recording import BYTES
from ingest.payload.cmd import Request
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
from ingest.service.ports import CalibrationRecords, Recorder
from ingest.service.workings import WorkSettings

VERSION = 1
SETTINGS = TypeAdapter(WorkSettings)

START = "start"
BEGAN = "began"
LINK = "link"
NOT_SENT = "not-sent"
REQUEST = "request"
SECOND = "second"
INTRODUCED = "introduced"
WARNED = "warned"
OFFERED = "offered"
FOUND = "found"


class Transcript:
    """Tells a recorder what happens."""

    def __init__(self, recorder: Recorder) -> None:
        self._recorder = recorder
        self._moment = Moment(MonotonicNs(0), 0)

    def open(
        self,
        moment: Moment,
        bay: str,
        boot: str,
        settings: WorkSettings,
        forms: Mapping[str, LinkForm],
    ) -> None:
        """Note what a replay has to start from, twice: without it all the rest is of no use."""
        self._moment = moment
        start = {
            "version": VERSION,
            "bay": bay,
            "boot": boot,
            "settings": SETTINGS.dump_python(settings, mode="json"),
            "links": {name: form.value for name, form in forms.items()},
        }
        for _ in range(2):
            self._json(START, start)

    def note(self, moment: Moment, what: Input) -> None:
        """Note an input, before it is taken."""
        self._moment = moment
        match what:
            case Arrived(link, data):
                self._recorder.note(BYTES + link, data, moment.at_ns, moment.wall_ns)
            case LinkIs(link, change, reconnects):
                said = {"state": change.state.value, "reconnects": reconnects}
                self._json(f"{LINK}/{link}", said | failure(change.error))
            case Asked(request):
                self._json(REQUEST, asked(request))
            case NotSent(link, command_id, error):
                self._json(f"{NOT_SENT}/{link}", {"command_id": command_id} | failure(error))
            case Second(dropped):
                self._json(SECOND, {"dropped": dict(dropped)})
            case Introduced(state, why):
                self._json(INTRODUCED, {"state": state, "why": why})
            case Warned(code, text, level):
                said = {"code": code, "text": text}
                self._json(WARNED, said if level == "warning" else said | {"level": level})
            case Offered(vehicles, limit_sets):
                self._json(OFFERED, {"vehicles": vehicles, "limit_sets": limit_sets})
            case Began():
                self._json(BEGAN, {})

    def found(self, key: str, answer: Any) -> None:
        """Note what was looked up, and what the store said."""
        self._json(FOUND, {"key": key, "answer": answer})

    def _json(self, topic: str, content: Mapping[str, Any]) -> None:
        data = json.dumps(content, separators=(",", ":")).encode()
        self._recorder.note(topic, data, self._moment.at_ns, self._moment.wall_ns)


def failure(error: LinkError | None) -> dict[str, str]:
    """Return an error of a link as plain text."""
    if error is None:
        return {}
    return {"error": type(error).__name__, "link": error.link, "reason": error.reason}


def asked(request: Request) -> dict[str, Any]:
    """Return a request as plain text."""
    mark = request.correlation
    user = {} if request.user is None else {"user": request.user}
    return {
        "name": request.name,
        "command": request.command.encode().decode(),
        "reply_topic": request.reply_topic,
        "correlation": None if mark is None else base64.b64encode(mark).decode(),
        **user,
    }


class NotingNames:
    """Head names that note what they were asked."""

    def __init__(self, names: HeadNames, transcript: Transcript) -> None:
        self._names = names
        self._transcript = transcript

    def name_of(self, head: HeadId) -> HeadName | None:
        """Return a head's name."""
        found = self._names.name_of(head)
        self._transcript.found(f"name of {head}", found)
        return found

    def head_named(self, name: HeadName) -> HeadId | None:
        """Return who has a name."""
        found = self._names.head_named(name)
        self._transcript.found(f"head named {name}", found)
        return found

    def set_name(self, head: HeadId, name: HeadName) -> None:
        """Name a head; raises ``NameTaken``."""
        try:
            self._names.set_name(head, name)
        except NameTaken as taken:
            self._transcript.found(f"naming {head}", taken.holder)
            raise
        self._transcript.found(f"naming {head}", None)


class NotingRecords:
    """Calibration records that note what they gave."""

    def __init__(self, records: CalibrationRecords, transcript: Transcript) -> None:
        self._records = records
        self._transcript = transcript

    def newest(self, head: HeadId) -> AnyRecord | None:
        """Return the head's newest record. Raises ``CalibrationFileError``."""
        key = f"record of {head}"
        try:
            found = self._records.newest(head)
        except CalibrationFileError as error:
            self._transcript.found(key, {"where": error.where, "reason": error.reason})
            raise
        self._transcript.found(key, None if found is None else dump_record(found))
        return found
