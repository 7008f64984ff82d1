"""Links that bring whole bodies, as Bluetooth LE does (SPEC.md section 11)."""

import json

import pytest

from ingest.core.channels import Channel
from ingest.core.ids import MonotonicNs
from ingest.core.ports import LinkForm
from ingest.payload.topics import Topics
from ingest.service.inputs import Arrived, LinkIs, Moment, Second
from ingest.service.linkkeeper import LinkChange, LinkState
from ingest.service.player import Told
from ingest.service.workings import Workings, WorkSettings
from ingest.wire.codes import CommandOp, status_byte
from ingest.wire.commands import ClockPing, Command
from ingest.wire.framing import DELIMITER, frame
from ingest.wire.hello import ChannelInfo, Hello
from ingest.wire.messages import encode
from ingest.wire.outgoing import outgoing
from ingest.wire.reports import Ack, ClockPong

BOOT = 5


class Hands:
    """Counts how often a hello was asked for."""

    def __init__(self):
        self.asked = 0
        self.sent = []

    def send(self, link, data, command_id):
        self.sent_id = command_id
        self.sent.append(data)

    def ask_hello(self, link, command):
        self.asked += 1

    def heard(self, link, at_ns): ...

    def rest(self, link, until_ns): ...


class Heard:
    """Keeps what is published."""

    def __init__(self):
        self.said = []

    def publish(self, topic, payload, **_):
        self.said.append(json.loads(payload))

    def reply(self, *_): ...


def at(second):
    return Moment(MonotonicNs(int(second * 1e9)), 1_800_000_000_000_000_000 + int(second * 1e9))


@pytest.fixture(params=LinkForm)
def met(request):
    """A head that introduced itself over a link, and what the workings had done to that link."""
    form, hands, told = request.param, Hands(), Told([])

    def say(second, message):
        body = encode(message)
        sent = body if form is LinkForm.BODIES else DELIMITER + frame(body)
        workings.take(at(second), Arrived("x", sent))

    workings = Workings(
        WorkSettings(pings=True),
        Topics("b"),
        {"x": form},
        Heard(),
        hands,
        names=told,
        records=told,
        boot="b-1",
    )
    workings.take(at(1), LinkIs("x", LinkChange(LinkState.OPEN, None), 0))
    channels = (ChannelInfo.of(Channel.INCL_Y, rate_dhz=1000, low=-900_000, high=900_000),)
    say(1.1, Hello("00112233445566a7", BOOT, "f", rate_dhz=1000, channels=channels))
    (head,) = workings.bay.heads.values()
    return form, workings, hands, head, say


def test_what_is_said_of_a_head_names_its_kind_of_link(met):
    form, workings, _, _, _ = met
    workings.take(at(2), Second({"x": 0}))
    kinds = {fields["link"] for fields in workings._outlet.said if "link" in fields}
    assert kinds == {"ble" if form is LinkForm.BODIES else "serial"}


@pytest.mark.parametrize("op", [CommandOp.RATE, CommandOp.START, CommandOp.STOP])
def test_a_sheet_is_read_again_after_what_changes_it(met, op):
    form, workings, hands, head, say = met
    before = hands.asked
    workings._ask(head, Command(op, 0, 500), lambda answer: None)
    say(1.2, Ack(status_byte(BOOT), hands.sent_id, op, 500))
    # Over a stream of bytes the head itself sends its hello before it answers.
    assert hands.asked - before == (1 if form is LinkForm.BODIES else 0)


def test_no_sheet_is_read_for_an_answer_that_nobody_waits_for(met):
    _, _, hands, _, say = met
    before = hands.asked
    say(1.2, Ack(status_byte(BOOT), 999, CommandOp.RATE, 500))
    assert hands.asked == before


def test_a_head_is_pinged_and_its_round_trip_is_said(met):
    form, workings, hands, _, say = met
    workings.take(at(2), Second({"x": 0}))
    assert hands.sent == [outgoing(ClockPing(1), form)]
    say(2.004, ClockPong(status_byte(BOOT), 1, 700, 1_700))
    workings.take(at(3), Second({"x": 0}))
    assert len(hands.sent) == 1
    trips = [fields["trip_ms"] for fields in workings._outlet.said if "trip_ms" in fields]
    assert trips == [None, 3.0]


def test_a_link_that_opens_anew_knows_no_round_trip(met):
    _, workings, _, _, say = met
    workings.take(at(2), Second({"x": 0}))
    say(2.004, ClockPong(status_byte(BOOT), 1, 0, 0))
    workings.take(at(3), LinkIs("x", LinkChange(LinkState.OPEN, None), 1))
    workings.take(at(4), Second({"x": 0}))
    trips = [fields["trip_ms"] for fields in workings._outlet.said if "trip_ms" in fields]
    assert trips == [None, None]
