"""Commands: one action and one answer each."""

import json

import pytest

from ingest.core.errors import LinkLost
from ingest.payload.base import PayloadError
from ingest.payload.cmd import Reply, Request, read_command
from ingest.service.requests import Requests
from ingest.store.database import open_database
from ingest.wire.reports import Ack, Refusal
from tests.service.job_rig import JobRig


class Asker:
    """Sends requests to a bay and keeps the answers."""

    def __init__(self, bay, jobs=None):
        self.bay = bay
        self.answers = []
        self.asked = []
        self.head_says = lambda: Ack(0, 1, 1)
        announcer = bay.announcer
        self.requests = Requests(bay.bay, announcer, bay.clock.ns, self.keep, self.ask, jobs)

    def keep(self, request, payload):
        self.answers.append(Reply.decode(payload))

    def ask(self, head, command, then):
        self.asked.append((head.name, command))
        said = self.head_says()
        if isinstance(said, RuntimeError):
            raise said
        then(said)

    def do(self, name, /, **fields):
        """Carry one request out; return its answer, having seen that it is one."""
        before = len(self.answers)
        fields = {"id": f"r{before}", "head": "alder"} | fields
        text = "{" + ",".join(f'"{k}":{v!r}' for k, v in fields.items()).replace("'", '"') + "}"
        request = Request(name, read_command(name, text.encode()), "reply/me", None)
        self.requests.carry_out(request)
        assert len(self.answers) == before + 1
        return self.answers[-1]


@pytest.fixture
def asker(simulated_bay):
    return Asker(simulated_bay(31))


def test_an_unknown_head_is_answered_with_those_there_are(asker):
    reply = asker.do("turn-begin", head="nobody")
    assert (reply.ok, reply.code) == (False, "unknown-head")
    assert "alder, birch, cedar, dogwood" in reply.text


def test_a_head_goes_on_no_axle_that_the_vehicle_of_an_open_job_has_not(simulated_bay):
    rig = JobRig(open_database(":memory:"))
    asker = Asker(simulated_bay(32), rig.work)
    assert asker.do("wheel", axle=9, side="right").ok  # no job is open
    assert asker.do("job-open", vehicle="pellowmere-17", limits="invented", order="W-1").ok
    reply = asker.do("wheel", axle=7, side="left")
    assert (reply.ok, reply.code) == (False, "bad-field")
    assert reply.text.endswith("Pellowmere 17 has axles 1, 2, 3, 4, counted from the front")
    assert asker.bay.head("alder").wheel.axle == 9
    assert asker.do("wheel", axle=4, side="left").ok
    assert rig.ask("job-close", give_up="sold").ok
    assert asker.do("wheel", axle=9, side="left").ok


@pytest.mark.parametrize("odometer", ["-5", " -412 300 km"])
def test_no_odometer_shows_less_than_nothing(odometer):
    asked = {"id": "a", "vehicle": "v", "limits": "l", "order": "W-1"}
    for fine in ("", "0", "412 300 km", "412-300"):
        read_command("job-open", json.dumps({**asked, "odometer": fine}).encode())
    with pytest.raises(PayloadError, match=r"odometer.*not below zero") as refused:
        read_command("job-open", json.dumps({**asked, "odometer": odometer}).encode())
    assert refused.value.code == "bad-field"


def test_a_head_is_put_on_a_wheel_and_taken_off(asker):
    assert asker.do("wheel", axle=2, side="left").ok
    assert asker.bay.head("alder").wheel.axle == 2
    assert asker.do("unmount").ok
    assert asker.bay.head("alder").wheel is None


def test_a_wheel_holds_one_head(asker):
    asker.do("wheel", axle=2, side="left")
    reply = asker.do("wheel", head="birch", axle=2, side="left")
    assert (reply.code, "alder" in reply.text) == ("wheel-taken", True)


def test_a_name_that_is_taken_is_refused_and_a_free_one_given(asker):
    assert asker.do("name", name="birch").code == "name-taken"
    assert asker.do("name", name="front").ok
    assert asker.bay.head("front")


def test_the_same_id_is_answered_again_without_a_second_action(asker):
    asker.do("wheel", axle=1, side="left")
    first = asker.do("turn-begin", id="once")
    again = asker.do("turn-begin", id="once")
    assert first == again
    assert first.ok
    assert asker.do("turn-begin", id="twice").code == "already-turning"


def test_after_a_minute_an_id_may_be_used_anew(asker):
    asker.do("wheel", axle=1, side="left")
    asker.do("turn-begin", id="once")
    asker.bay.clock.now_s += 59.0
    assert asker.do("turn-begin", id="once").ok
    asker.bay.clock.now_s += 2.0
    assert asker.do("turn-begin", id="once").code == "already-turning"


def test_two_clients_may_use_the_same_id(asker):
    asker.do("identify", id="same")
    request = Request(
        "identify", read_command("identify", b'{"id":"same","head":"birch"}'), "b", None
    )
    asker.requests.carry_out(request)
    assert [name for name, _ in asker.asked] == ["alder", "birch"]


@pytest.mark.parametrize(
    ("says", "code"),
    [
        (Ack(0, 1, 1), "ok"),
        (Refusal(0, 1, 1, 3), "head-refused"),
        (LinkLost("alder", "gone"), "head-offline"),
        (None, "head-silent"),
        (RuntimeError("a fault of ours"), "failed"),
    ],
)
def test_identify_is_answered_whatever_the_head_does(asker, says, code):
    asker.head_says = lambda: says
    reply = asker.do("identify")
    assert (reply.code, reply.ok) == (code, code == "ok")


@pytest.mark.parametrize("name", ["identify", "stop-take", "turn-begin", "turn-end"])
def test_an_offline_head_is_not_asked(asker, name):
    asker.bay.bay.slots["alder"].head = None
    assert asker.do(name).code == "head-offline"
    assert not asker.asked


def test_a_moving_head_says_when_to_try_again(asker):
    asker.do("wheel", axle=1, side="left")
    asker.do("turn-begin")
    reply = asker.do("stop-take")
    assert (reply.code, reply.retry_s) == ("head-moving", 2.0)


def test_what_is_remembered_is_bounded(asker, monkeypatch):
    monkeypatch.setattr("ingest.service.requests.MOST_REMEMBERED", 5)
    for _ in range(12):
        asker.do("unmount")
    assert len(asker.requests._remembered) <= 5
