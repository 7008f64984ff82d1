"""The schemas of the payloads, checked with jsonschema (an outside validator) on both drafts."""

import json

import jsonschema
import pytest

from ingest.payload.axle import AxleResult
from ingest.payload.base import DISPLAY_LIMIT_BYTES, PayloadError
from ingest.payload.cal import CalLatest
from ingest.payload.cmd import (
    Identify,
    Name,
    PushBegin,
    PushEnd,
    Reply,
    StopTake,
    SweepBegin,
    SweepEnd,
    TurnBegin,
    TurnEnd,
    Unmount,
    Wheel,
    read_command,
)
from ingest.payload.evt import Event
from ingest.payload.head import (
    CalibrationMeta,
    ChannelMeta,
    HeadLink,
    HeadMeta,
    HeadStatus,
    Reading,
)
from ingest.payload.job import (
    JobAdvice,
    JobCaution,
    JobEvent,
    JobGuidance,
    JobLive,
    JobState,
    JobStep,
)
from ingest.payload.job_cmd import (
    JobAdjust,
    JobBack,
    JobBegin,
    JobCheck,
    JobClose,
    JobDone,
    JobEvents,
    JobOpen,
    JobRemark,
    JobReplan,
    JobSkip,
    JobTape,
)
from ingest.payload.runout import Runout
from ingest.payload.schemas import TOPICS, schema, schema_names
from ingest.payload.stamp import epoch_ms, rfc3339
from ingest.payload.svc import (
    Alert,
    DeadbandMeta,
    QuantityMeta,
    ServiceMeta,
    ServiceStatus,
    ServiceWill,
)
from ingest.payload.sweep import Sweep

MOMENT = {"t": "2026-11-25T09:14:03.271508112Z", "ms": 1795598043271}
JUDGED = {**MOMENT, "q": "good", "why": ""}
GOLDEN = {
    "service-status/1": ServiceStatus(
        **JUDGED,
        state="online",
        sw="0.1.0",
        boot="b-7c31",
        seq=1,
        heads=4,
        clock="none",
        clock_u_ms=None,
        meta="levelhead/v1/bay1/svc/meta",
    ),
    "service-will/1": ServiceWill(boot="b-7c31"),
    "head-status/1": HeadStatus(**JUDGED, state="online", hid="0123456789abcdef"),
    "reading/1": Reading(
        **JUDGED,
        boot="b-7c31",
        seq=90211,
        value=-1.284,
        unit="deg",
        U=0.024,
        k=2.0,
        dp=3,
        rate=0.02,
        still=True,
        cal="cal-2026-0042",
        lag_ms=75.0,
        ttl=3.0,
    ),
    "runout/1": Runout(
        **JUDGED,
        id="ro-1",
        boot="b-7c31",
        seq=2,
        state="done",
        n=4,
        arc=270.0,
        camber=-1.291,
        camber_U=0.016,
        k=2.0,
        dp=3,
        ttl=0.0,
    ),
    "axle-result/1": AxleResult(
        **JUDGED,
        id="ax-1",
        boot="b-7c31",
        qty="camber",
        value=-0.423,
        unit="deg",
        U=0.059,
        k=2.0,
        dp=3,
        text="(-0.423 ± 0.059)°",
    ),
    "vehicle-result/1": AxleResult(
        **JUDGED,
        id="nw-1-91",
        boot="b-7c31",
        qty="thrust",
        value=-0.051,
        unit="deg",
        U=0.044,
        k=2.0,
        dp=3,
        cal="cal-2026-0042+cal-2026-0043",
        text="(-0.051 ± 0.044)°",
    ),
    "reply/1": Reply(t=MOMENT["t"], id="c-1", ok=False, code="head-moving", text="hold still"),
    "turn-begin/1": TurnBegin(id="c-1", head="alder"),
    "turn-end/1": TurnEnd(id="c-2", head="alder"),
    "stop-take/1": StopTake(id="c-3", head="alder", by="ramp two"),
    "push-begin/1": PushBegin(id="c-8", by="ramp two"),
    "push-end/1": PushEnd(id="c-9"),
    "sweep-begin/1": SweepBegin(id="c-10", axle=1),
    "sweep-end/1": SweepEnd(id="c-11", axle=1),
    "sweep/1": Sweep(
        **(JUDGED | {"q": "uncertain", "why": "sweeping"}),
        id="st-1000",
        boot="b-7c31",
        seq=4211,
        axle=12,
        side="right",
        state="sweeping",
        steer=-18.43,
        left=20.07,
        right=18.43,
        target=20.0,
        need="back-to-straight-ahead",
        trouble="not-far-enough",
        n=135,
        caster=1.9942,
        caster_U=0.0018,
        k=2.0,
        dp=4,
        figure=-18.43,
        limit=20.0,
        ttl=3.0,
    ),
    "identify/1": Identify(id="c-4", head="alder", reply_to="levelhead/v1/bay1/reply/me"),
    "name/1": Name(id="c-5", head="alder", name="rowan"),
    "wheel/1": Wheel(id="c-6", head="alder", axle=2, side="left"),
    "unmount/1": Unmount(id="c-7", head="alder"),
    "event/1": Event(**MOMENT, boot="b-7c31", seq=3, kind="stop-taken", text="stop 2 taken"),
    "job-open/1": JobOpen(
        id="j-1", vehicle="rigid-8x4", limits="general", order="W-118", by="ines"
    ),
    "job-check/1": JobCheck(id="j-2", item="kingpins", state="fault", note="left, 1 mm"),
    "job-begin/1": JobBegin(id="j-3", job="w-118"),
    "job-done/1": JobDone(id="j-4", task="s1-5"),
    "job-adjust/1": JobAdjust(id="j-5", task="s1-6"),
    "job-skip/1": JobSkip(id="j-6", task="s1-6", reason="arm seized"),
    "job-back/1": JobBack(id="j-7", task="s1-5"),
    "job-replan/1": JobReplan(id="j-8", cannot="adjust 4"),
    "job-tape/1": JobTape(id="j-9", line="L1-L4", metres=6.571),
    "job-remark/1": JobRemark(id="j-10", text="tyres renewed in March"),
    "job-close/1": JobClose(id="j-11"),
    "job-events/1": JobEvents(id="j-12", since=7),
    "job-state/1": JobState(
        **MOMENT, job="w-118", phase="work", order="W-118", task="s1-6", done=5, of=18, event=21
    ),
    "job-step/1": JobStep(
        **MOMENT,
        job="w-118",
        task="s1-6",
        doing="adjust",
        title="adjust axle heading of axle 4",
        set_up=1,
        axles="4",
        results="axle/4/both/heading",
        why="the other drive axle is set to it",
    ),
    "job-guidance/1": JobGuidance(
        **MOMENT,
        job="w-118",
        task="s1-6",
        title="adjust axle heading of axle 4",
        text="Left torque arm: 1.5 turns longer.",
        ready=True,
        asks="job-adjust+job-done",
    ),
    "job-advice/1": JobAdvice(**MOMENT, job="w-118", task="s1-6", text="lengthen the left arm"),
    "job-caution/1": JobCaution(**MOMENT, job="w-118", task="s1-6", text="Chock the wheels."),
    "job-live/1": JobLive(
        **JUDGED,
        job="w-118",
        task="s1-6",
        topic="axle/4/both/heading",
        value=0.12,
        unit="deg",
        U=0.03,
        k=2.0,
        dp=2,
        lo=-0.06,
        hi=0.06,
        dec="outside",
        moving=True,
        go=-0.12,
        todo="left torque arm: 0.75 turns longer",
        lag_ms=75.0,
    ),
    "job-event/1": JobEvent(
        **MOMENT, job="w-118", number=21, by="ines", kind="done", task="s1-5", text="as found"
    ),
    "alert/1": Alert(
        **MOMENT,
        code="clock-off",
        level="warning",
        text="the clock is off",
        figure=80.0,
        limit=50.0,
    ),
    "cal-latest/1": CalLatest(
        **JUDGED, id="cal-2026-0042", sha256="0f" * 32, issued="2026-10-26", due="2027-10-26"
    ),
    "head-link/1": HeadLink(
        **JUDGED,
        boot="b-7c31",
        seq=4211,
        link="serial",
        rate_hz=99.9,
        rx=2**40,
        lost=3,
        dup=0,
        dropped=0,
        reboots=0,
        jumps=0,
        stray=0,
        flood=0,
        reconn=1,
        bad_cobs=0,
        bad_short=0,
        bad_crc=1,
        bad_long=0,
        bad_type=0,
        bad_length=0,
        bad_value=0,
        gap_ms=41.0,
        clk_ppm=-12.4,
        clk_ms=0.412,
        rssi_dbm=None,
        batt_pct=83.0,
        temp=24.6,
    ),
    "head-meta/1": HeadMeta(
        **MOMENT,
        name="alder",
        hid="0123456789abcdef",
        model="pendulum",
        serial="A-17",
        fw="1.0.2",
        proto=1,
        boot=77,
        link="serial",
        channels=(ChannelMeta(channel="incl_y", unit="deg", lo=-60.0, hi=60.0, rate_hz=100.0),),
        cal=CalibrationMeta(id="cal-2026-0042", sha256="0f" * 32, issued="2026-10-26"),
    ),
    "service-meta/1": ServiceMeta(
        **MOMENT,
        sw="0.1.0",
        boot="b-7c31",
        bay="bay1",
        heads=("alder",),
        quantities=(QuantityMeta(qty="camber", unit="deg", sign="top leans outward"),),
        deadbands=(DeadbandMeta(channel="incl_y", change=0.002, min_s=0.1, max_s=1.0),),
        rate_hz=10.0,
        lag_ms=75.0,
        schemas=schema_names(),
    ),
}
DESCRIPTIONS = {"head-meta/1", "service-meta/1"}
"""Read by displays that have room: they may nest and be long."""
BEYOND_DRAFT_07 = ("prefixItems", "unevaluatedProperties", "dependentRequired", "$dynamicRef")


@pytest.mark.parametrize("name", [name for name, _ in TOPICS.values()])
def test_a_schema_is_valid_in_both_drafts_and_keeps_to_what_they_share(name):
    found = schema(name)
    jsonschema.Draft7Validator.check_schema(found)
    jsonschema.Draft202012Validator.check_schema(found)
    assert not any(word in json.dumps(found) for word in BEYOND_DRAFT_07)


@pytest.mark.parametrize("name", GOLDEN)
def test_a_golden_example_validates_and_stays_small(name):
    payload = GOLDEN[name].encode()
    for validator in (jsonschema.Draft7Validator, jsonschema.Draft202012Validator):
        validator(schema(name)).validate(json.loads(payload))
    if name not in DESCRIPTIONS:
        assert len(payload) < DISPLAY_LIMIT_BYTES
        assert not any(isinstance(v, dict | list) for v in json.loads(payload).values())


def test_every_schema_has_a_golden_example_and_a_name_of_its_own():
    names = [name for name, _ in TOPICS.values()]
    assert sorted(names) == sorted(set(names)) == sorted(GOLDEN)
    assert set(schema_names()) == set(TOPICS)


@pytest.mark.parametrize("name", GOLDEN)
def test_a_message_comes_back_as_it_went(name):
    message = GOLDEN[name]
    assert type(message).decode(message.encode()) == message


@pytest.mark.parametrize("name", GOLDEN)
def test_a_schema_refuses_a_message_without_one_of_its_keys(name):
    fields = json.loads(GOLDEN[name].encode())
    needed = schema(name).get("required", [])
    for key in needed:
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate({k: v for k, v in fields.items() if k != key}, schema(name))


def test_a_newer_message_with_a_key_that_we_do_not_know_is_read():
    fields = json.loads(GOLDEN["reading/1"].encode()) | {"humidity": 41}
    jsonschema.validate(fields, schema("reading/1"))
    assert Reading.decode(json.dumps(fields).encode()) == GOLDEN["reading/1"]


def test_a_word_that_we_do_not_know_is_taken_for_the_worst():
    fields = json.loads(GOLDEN["axle-result/1"].encode()) | {"q": "splendid"}
    read = AxleResult.decode(json.dumps(fields).encode())
    assert (read.q, read.dec) == ("bad", "none")


@pytest.mark.parametrize("number", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_what_is_no_number_is_refused(number):
    payload = GOLDEN["reading/1"].encode().replace(b"-1.284", number.encode())
    with pytest.raises(PayloadError):
        Reading.decode(payload)


@pytest.mark.parametrize(("q", "u"), [("bad", 0.059), ("stale", 0.059), ("good", None)])
def test_nothing_is_decided_without_trust_or_uncertainty(q, u):
    fields = json.loads(GOLDEN["axle-result/1"].encode())
    fields |= {"q": q, "why": "x", "U": u, "dec": "inside", "rule": "guard-u", "lo": -1, "hi": 1}
    with pytest.raises(PayloadError):
        AxleResult.decode(json.dumps(fields).encode())


def test_a_time_has_nine_decimals_and_sorts_as_text():
    # RFC 3339, worked by hand: 1795598043 s after 1970 is 2026-11-25T09:14:03Z.
    early, late = 1_795_598_043_271_508_112, 1_795_598_043_999_999_999
    assert rfc3339(early) == "2026-11-25T09:14:03.271508112Z"
    assert rfc3339(early) < rfc3339(late)
    assert epoch_ms(late) == 1_795_598_043_999


@pytest.mark.parametrize(
    ("name", "payload", "code"),
    [
        ("turn-begin", b"{", "bad-json"),
        ("turn-begin", b"[]", "bad-json"),
        ("turn-begin", b"{}", "bad-field"),
        ("turn-begin", b'{"id":"c","head":"A B"}', "bad-field"),
        ("wheel", b'{"id":"c","head":"a","axle":0,"side":"left"}', "bad-field"),
        ("open-sesame", b'{"id":"c","head":"a"}', "unknown-command"),
        ("turn-begin", b'{"id":"c","head":"a","by":"' + b"x" * 2000 + b'"}', "too-large"),
        ("turn-begin", b"[" * 5000, "too-large"),
    ],
)
def test_a_broken_command_is_refused_by_code(name, payload, code):
    with pytest.raises(PayloadError) as refused:
        read_command(name, payload)
    assert refused.value.code == code
