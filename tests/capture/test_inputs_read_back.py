"""Every input that can happen is read back from its record as what it was."""

import typing

import pytest

from ingest.core.errors import LinkBusy, LinkError, LinkLost, LinkSilent
from ingest.core.ids import MonotonicNs
from ingest.core.recording import Record
from ingest.payload.cmd import Request, read_command
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
from ingest.service.linkkeeper import LinkChange, LinkState
from ingest.service.player import moment_of, read_input
from ingest.service.transcript import Transcript

LINK = "usb:0403:6001:A/B"
"""Names of links have slashes and colons in them."""
NAMED = read_command("name", b'{"id":"r1","head":"alder","name":"front","by":"me"}')
INPUTS = [
    Began(),
    Arrived(LINK, b"\x00\xff/"),
    LinkIs(LINK, LinkChange(LinkState.OPEN, None), 3),
    LinkIs(LINK, LinkChange(LinkState.BUSY, LinkBusy(LINK, "held")), 0),
    LinkIs(LINK, LinkChange(LinkState.SILENT, LinkSilent(LINK, "quiet")), 1),
    Asked(Request("name", NAMED, "levelhead/v1/b/reply/me", b"\x00\xfe")),
    Asked(Request("name", NAMED, None, None)),
    Asked(Request("name", NAMED, "levelhead/v1/b/reply/ines", None, "ines")),
    NotSent(LINK, 65535, LinkLost(LINK, "gone")),
    Second({LINK: 7, "other": 0}),
    Introduced("offline", "stopped"),
    Offered((("rigid-8x4", "a tipper"), ("odd", "")), (("general", ""),)),
    Warned("records-1", "a record was refused"),
    Warned("records-keys", "no keys are named", "note"),
]
MOMENT = Moment(MonotonicNs(123_456_789_012), 1_800_000_000_123_456_789)


class Kept:
    def __init__(self):
        self.records = []

    def note(self, topic, data, at_ns, wall_ns):
        self.records.append(Record(topic, data, at_ns, wall_ns))


def comparable(value):
    """Errors have no equality of their own: their kind and words are what counts."""
    if isinstance(value, LinkError):
        return type(value), value.link, value.reason
    if hasattr(value, "__dataclass_fields__"):
        fields = value.__dataclass_fields__
        return type(value), [comparable(getattr(value, name)) for name in fields]
    return value


def test_there_is_an_example_of_every_input():
    assert {type(each) for each in INPUTS} == set(typing.get_args(Input))


@pytest.mark.parametrize("what", INPUTS, ids=lambda each: type(each).__name__)
def test_an_input_comes_back_as_it_was(what):
    kept = Kept()
    Transcript(kept).note(MOMENT, what)
    (record,) = kept.records
    assert moment_of(record) == MOMENT
    assert comparable(read_input(record, {LINK})) == comparable(what)
