"""The bay with simulated heads: who is heard, under what name, and what is said of each."""

from dataclasses import replace
from datetime import timedelta

import pytest

from calibration.errors import CalibrationFileError
from calibration.records.text import dump_record, load_record, seal
from ingest.core.channels import Channel
from ingest.core.ids import HeadId, HeadName
from ingest.core.ports import LinkForm, NameTaken
from ingest.service.linkkeeper import LinkChange, LinkState
from ingest.wire.framing import frame
from ingest.wire.messages import encode

LOST = LinkChange(LinkState.ABSENT, None)
OPEN = LinkChange(LinkState.OPEN, None)


@pytest.fixture
def bay(simulated_bay):
    return simulated_bay(11)


def hello_of(bay, name):
    return bay.demo.ptys[name].firmware.hello()


def say(bay, link, message):
    bay.give(link, b"\0" + frame(encode(message)))


def status(bay, name):
    return bay.outlet.retained[bay.topics.head_status(name)]


def test_every_head_is_online_under_its_name(bay):
    assert {h.name for h in bay.bay.heads.values()} == set(bay.demo.heads)
    for name, head in bay.demo.heads.items():
        said = status(bay, name)
        assert (said["state"], said["q"], said["hid"]) == ("online", "good", head.design.head)


def test_a_head_without_a_name_gets_one_of_its_own(simulated_bay, monkeypatch):
    bay = simulated_bay(11)
    bay.names.by_id.clear()
    fresh = type(bay.bay)(
        bay.bay.settings,
        dict.fromkeys(bay.demo.ptys, LinkForm.STREAM),
        bay.announcer,
        bay.names,
        bay.records,
    )
    for link in bay.demo.ptys:
        fresh.link_changed(link, OPEN)
    bay.bay = fresh
    for name in bay.demo.ptys:
        say(bay, name, hello_of(bay, name))
    names = [head.name for head in fresh.heads.values()]
    assert sorted(names) == sorted({f"head-{h.design.head[-4:]}" for h in bay.demo.heads.values()})


def test_default_names_stay_apart_where_identities_end_alike(bay):
    head = bay.head("alder")
    taken = HeadId("0" * 12 + head.id[-4:])
    bay.names.by_id = {taken: HeadName(f"head-{head.id[-4:]}")}
    assert bay.bay._roster.free_name(head.id) == f"head-{head.id[-8:]}"


def test_an_unknown_protocol_version_is_refused_by_name_and_the_rest_goes_on(bay):
    heard = len(bay.bay.heads)
    bay.silent.add("alder")
    say(bay, "alder", replace(hello_of(bay, "alder"), major=9))
    alerts = bay.bay.alerts.active
    assert any(
        "alder" in text and "version 9" in text and "update the older" in text
        for text in alerts.values()
    )
    assert status(bay, "alder")["state"] == "offline"
    assert len(bay.bay.heads) == heard
    before = len(bay.outlet.of(bay.topics.reading("birch", Channel.INCL_X)))
    bay.advance(1.5)
    assert len(bay.outlet.of(bay.topics.reading("birch", Channel.INCL_X))) > before


def test_two_links_that_answer_as_one_head_are_refused_by_name(bay):
    bay.silent.add("birch")
    say(bay, "birch", hello_of(bay, "alder"))
    text = bay.bay.alerts.active["head-2"]
    assert hello_of(bay, "alder").head in text
    assert "alder" in text
    assert bay.head("alder").online
    assert bay.head("alder").slot.name == "alder"
    assert status(bay, "birch")["state"] == "offline"


def test_a_refused_twin_is_heard_as_soon_as_the_other_is_gone(bay):
    bay.silent |= {"alder", "birch"}
    say(bay, "birch", hello_of(bay, "alder"))
    assert bay.head("alder").slot.name == "alder"
    bay.bay.link_changed("alder", LOST)
    assert bay.head("alder").slot.name == "birch"
    assert "head-2" not in bay.bay.alerts.active
    assert status(bay, "alder")["state"] == "online"


def test_a_head_moved_to_another_port_is_no_longer_touched_by_its_old_one(bay):
    bay.silent |= {"alder", "birch"}
    bay.bay.link_changed("alder", LOST)
    say(bay, "birch", hello_of(bay, "alder"))
    bay.bay.link_changed("alder", LinkChange(LinkState.OPENING, None))
    bay.bay.link_changed("alder", LOST)
    assert bay.head("alder").online
    assert status(bay, "alder")["state"] == "online"


def test_a_swapped_head_gets_a_chain_and_a_record_of_its_own(bay):
    bay.silent |= {"alder", "birch"}
    slot = bay.bay.slots["alder"]
    chain = slot.feed.chain
    bay.bay.link_changed("birch", LOST)
    say(bay, "alder", hello_of(bay, "birch"))
    assert slot.feed.chain is not chain
    assert bay.head("birch").slot is slot
    assert bay.head("birch").instrument.record.head_id == bay.head("birch").id
    assert not bay.head("alder").online
    assert status(bay, "alder")["why"] == "link-absent"
    assert status(bay, "birch")["state"] == "online"


def test_a_name_that_is_taken_is_refused(bay):
    with pytest.raises(NameTaken):
        bay.bay.name(bay.head("alder"), HeadName("birch"))
    assert bay.head("alder").name == "alder"


def test_renaming_clears_the_old_topics_and_says_all_under_the_new(bay):
    bay.bay.tick(1.0)
    old = {t.rsplit("/", 1)[1] for t in bay.outlet.retained if "/head/alder/" in t}
    bay.bay.name(bay.head("alder"), HeadName("front-left"))
    bay.advance(1.5)
    bay.bay.tick(1.0)
    topics = set(bay.outlet.retained)
    assert not [t for t in topics if "/head/alder/" in t or t.endswith("/cal/alder/latest")]
    assert {t.rsplit("/", 1)[1] for t in topics if "/head/front-left/" in t} == old
    assert bay.topics.cal("front-left") in topics


def test_alerts_about_a_record_follow_the_name(simulated_bay):
    bay = simulated_bay(11, with_records=False)
    bay.bay.name(bay.head("alder"), HeadName("front-left"))
    texts = bay.bay.alerts.active.values()
    assert any("front-left" in text for text in texts)
    assert not any("alder" in text for text in texts)


def test_an_alert_is_said_once_and_taken_back(bay):
    topic = bay.topics.alert("link-1")
    for _ in range(3):
        bay.bay.link_changed("alder", LOST)
    assert len(bay.outlet.of(topic)) == 1
    assert topic in bay.outlet.retained
    bay.bay.link_changed("alder", OPEN)
    assert topic not in bay.outlet.retained


class Records:
    """Calibration records in memory, by the head that asks."""

    def __init__(self, answer):
        self.answer = answer

    def newest(self, head):
        return self.answer(head)


def with_records(simulated_bay, monkeypatch, change):
    """Return a bay whose alder has what ``change`` makes of its record."""

    def build(*words):
        demo = original(*words)
        records = {r.head_id: r for r in (load_record(t, "made here") for t in demo.records)}
        alder = demo.heads["alder"].design.head
        monkeypatch.setitem(
            simulated_bay.__init__.__globals__,
            "StoredRecords",
            lambda _: Added(records, alder, change),
        )
        return demo

    original = simulated_bay.__init__.__globals__["build"]
    monkeypatch.setitem(simulated_bay.__init__.__globals__, "build", build)
    return simulated_bay(12)


class Added:
    def __init__(self, records, changed, change):
        self.records, self.changed, self.change = records, changed, change

    def add(self, text, where):
        pass

    def newest(self, head):
        record = self.records[head]
        return self.change(record) if head == self.changed else record


def altered(record):
    text = dump_record(record).replace(record.issued.isoformat(), "2001-01-01")
    return load_record(text, "altered.json")


def foreign(record):
    return seal(record.model_copy(update={"head_id": "00000000000000aa", "sha256": ""}))


def missing(record):
    return None


@pytest.mark.parametrize(
    ("change", "why", "says"),
    [
        (altered, "record-refused", "altered.json"),
        (foreign, "record-refused", "00000000000000aa"),
        (missing, "uncalibrated", "no calibration record"),
    ],
)
def test_a_record_that_cannot_be_used_is_said(simulated_bay, monkeypatch, change, why, says):
    bay = with_records(simulated_bay, monkeypatch, change)
    bay.advance(1.5)
    said = status(bay, "alder")
    assert (said["state"], said["q"], said["why"]) == ("degraded", "uncertain", why)
    reading = bay.outlet.retained[bay.topics.reading("alder", Channel.INCL_Y)]
    assert (reading["q"], reading["why"], reading["cal"]) == ("uncertain", why, None)
    assert says in bay.bay.alerts.active[f"record-{bay.head('alder').id}"]
    assert status(bay, "birch")["state"] == "online"


def test_an_overdue_record_is_applied_and_said(simulated_bay, monkeypatch):
    def overdue(record):
        due = record.issued + timedelta(days=10)
        return seal(record.model_copy(update={"due": due, "sha256": ""}))

    bay = with_records(simulated_bay, monkeypatch, overdue)
    bay.advance(1.5)
    said = status(bay, "alder")
    assert (said["state"], said["q"], said["why"]) == ("degraded", "uncertain", "overdue")
    reading = bay.outlet.retained[bay.topics.reading("alder", Channel.INCL_Y)]
    assert (reading["q"], reading["why"]) == ("uncertain", "overdue")
    assert reading["cal"] == bay.head("alder").instrument.record.record_id
    assert "was due on" in bay.bay.alerts.active[f"record-{bay.head('alder').id}"]
    assert bay.outlet.retained[bay.topics.cal("alder")]["why"] == "overdue"


def test_an_altered_record_is_an_error_of_its_own(bay):
    with pytest.raises(CalibrationFileError):
        altered(bay.head("alder").instrument.record)


def test_live_readings_keep_their_pace_and_carry_no_nan(bay):
    bay.outlet.messages.clear()
    bay.advance(10.0)
    for channel in (Channel.INCL_X, Channel.ROTATION, Channel.TEMPERATURE):
        said = bay.outlet.of(bay.topics.reading("alder", channel))
        times = [m["ms"] for m in said]
        assert 9 <= len(said) <= 101
        assert all(m["value"] is not None and m["ttl"] == 3.0 and m["lag_ms"] > 0 for m in said)
        assert times
        seqs = [m["seq"] for m in said]
        assert seqs == list(range(seqs[0], seqs[0] + len(seqs)))
    assert not any(b"NaN" in p or b"Infinity" in p for _, p, _, _ in bay.outlet.messages)
    retained = [
        m for m in bay.outlet.messages if m[0] == bay.topics.reading("alder", Channel.INCL_X)
    ]
    assert all(retain and qos == 0 for _, _, retain, qos in retained)
