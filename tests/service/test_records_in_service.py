"""What the service makes of calibration records that lie in files."""

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from calibration.records.chain import coefficients_of
from calibration.records.keys import key_id
from calibration.records.papers import Head
from calibration.records.signatures import sign
from calibration.records.text import dump_record, load_record, seal
from ingest.commands.record_folder import take_up
from ingest.core.channels import Channel
from ingest.core.frames import Side
from ingest.core.ids import BootId
from ingest.service.bayhead import Wheel
from ingest.service.baysettings import BaySettings
from ingest.simulator.vehicle import WheelAt
from ingest.store.database import open_database
from ingest.store.records import StoredRecords
from ingest.wire.framing import frame
from ingest.wire.messages import encode

KEPT = Path(__file__).parents[1] / "calibration" / "records" / "version-2.json"
WHOLE = load_record(KEPT.read_text(encoding="utf-8"))
KEY = Ed25519PrivateKey.from_private_bytes(bytes(32))
OTHER = Ed25519PrivateKey.from_private_bytes(bytes(31) + b"\1")


def certified(first, **changes):
    """Return a complete draft with the coefficients of a record of version 1."""
    on = date.today() - timedelta(days=30)
    valid = {"issued": on - timedelta(days=100), "due": on + timedelta(days=300)}
    return WHOLE.revised(
        record_id=first.record_id,
        head=Head(**WHOLE.head.model_dump() | {"head_id": first.head_id}),
        **dict.fromkeys(("issued", "performed_from", "performed_to"), on),
        received=None,
        due=on + timedelta(days=365),
        previous=None,
        coefficients=coefficients_of(first),
        coefficients_before=None,
        adjusted=False,
        as_found=WHOLE.as_left.model_copy(update={"performed": on}),
        as_left=None,
        references=tuple(each.model_copy(update=valid) for each in WHOLE.references),
        **changes,
    )


def signed(first):
    return dump_record(sign(certified(first), KEY)).encode()


@pytest.fixture
def bay_of(simulated_bay, monkeypatch, tmp_path):
    """Return a maker of bays whose records lie in a folder; alder's file is made by ``write``."""

    names = simulated_bay.__init__.__globals__
    build = names["build"]

    def make(write, keys=(), seed=12, settings=None):
        def with_files(*words):
            demo = build(*words)
            for name, text in zip(demo.heads, demo.records, strict=True):
                content = (write if name == "alder" else signed)(load_record(text))
                (tmp_path / f"{name}.json").write_bytes(content)
            demo.records = []
            return demo

        def stored(connection):
            records = StoredRecords(open_database(":memory:"), keys)
            make.refused = take_up(records, tmp_path)
            return records

        monkeypatch.setitem(names, "build", with_files)
        monkeypatch.setitem(names, "StoredRecords", stored)
        bay = simulated_bay(seed, settings=settings)
        bay.advance(1.5)
        return bay

    return make


def said_of(bay, name):
    """Return state, quality, reason and the record named, in status and reading alike."""
    status = bay.outlet.retained[bay.topics.head_status(name)]
    reading = bay.outlet.retained[bay.topics.reading(name, Channel.INCL_Y)]
    assert (status["q"], status["why"]) == (reading["q"], reading["why"])
    return status["state"], status["q"], status["why"], reading["cal"]


def test_a_signed_record_is_applied_and_named(bay_of):
    bay = bay_of(signed, keys=[KEY.public_key()])
    record = bay.head("alder").instrument.record
    assert said_of(bay, "alder") == ("online", "good", "", record.record_id)
    latest = bay.outlet.retained[bay.topics.cal("alder")]
    assert (latest["id"], latest["sha256"]) == (record.record_id, record.sha256)
    assert latest["result"] == "pass"
    assert bay_of.refused == []


def simulated(first):
    return dump_record(sign(certified(first, simulated=True), KEY)).encode()


def test_a_record_of_simulated_readings_corrects_no_real_head(bay_of):
    bay = bay_of(simulated)
    assert said_of(bay, "alder") == ("degraded", "uncertain", "record-refused", None)
    assert said_of(bay, "birch")[1:3] == ("good", "")
    (alert,) = (each for t, each in bay.outlet.retained.items() if "/alert/record-" in t)
    assert "cal-" in alert["text"]
    assert "is SIMULATED, and no real head is corrected by it; calibrate" in alert["text"]
    assert alert["text"].endswith("set simulated = true under [calibration]")


def test_a_bay_of_simulated_heads_uses_it(bay_of):
    bay = bay_of(simulated, settings=BaySettings(simulated=True))
    assert said_of(bay, "alder")[1:3] == ("good", "")


def failing(first):
    """Return a record whose own verification says ``fail``: measured beyond its class by U."""
    whole = certified(first)
    verdicts = (whole.as_found.verdicts[0].model_copy(update={"decision": "fail"}),)
    run = whole.as_found.model_copy(update={"verdicts": verdicts})
    return dump_record(sign(whole.revised(as_found=run), KEY)).encode()


def next_year(first):
    """Return a record that is dated a year from now; the clock of the bay is today's."""
    on = date.today() + timedelta(days=365)
    whole = certified(first)
    run = whole.as_found.model_copy(update={"performed": on})
    days = dict.fromkeys(("issued", "performed_from", "performed_to"), on)
    later = whole.revised(**days, due=on + timedelta(days=365), as_found=run)
    valid = {"issued": date.today(), "due": on + timedelta(days=300)}
    uses = tuple(each.model_copy(update=valid) for each in later.references)
    return dump_record(sign(later.revised(references=uses), KEY)).encode()


@pytest.mark.parametrize(
    ("write", "why", "says"),
    [
        (
            failing,
            "record-failed",
            ["the head fails its class (workshop head, 0.02 deg)", "adjust and verify it again"],
        ),
        (next_year, "record-date", ["is dated 2", "this machine's clock", "one of the two"]),
    ],
)
def test_a_record_that_failed_or_is_yet_to_come_is_used_and_nothing_on_it_is_good(
    bay_of, write, why, says
):
    bay = bay_of(write, keys=[KEY.public_key()])
    record = bay.head("alder").instrument.record
    assert said_of(bay, "alder") == ("degraded", "uncertain", why, record.record_id)
    alert = bay.bay.alerts.active[f"record-{bay.head('alder').id}"]
    for word in (record.record_id, *says):
        assert word in alert
    assert said_of(bay, "birch")[:2] == ("online", "good")
    assert bay.outlet.retained[bay.topics.cal("alder")]["why"] == why
    assert bay_of.refused == []


def test_both_versions_correct_alike(bay_of):
    second = bay_of(signed)
    first = bay_of(lambda record: dump_record(record).encode())
    topic = first.topics.reading("alder", Channel.INCL_Y)
    assert first.outlet.retained[topic]["value"] == second.outlet.retained[topic]["value"]
    assert first.outlet.retained[first.topics.cal("alder")]["result"] == "none"


@pytest.mark.parametrize("share", [0.0, 0.01, 0.2, 0.4, 0.6, 0.8, 0.95, 0.99])
def test_a_changed_byte_is_refused_by_name_and_results_are_marked(bay_of, share, tmp_path):
    def changed(first):
        content = signed(first)
        at = int(share * len(content))
        while not content[at : at + 1].isalnum():
            at += 1
        return content[:at] + bytes([content[at] ^ 1]) + content[at + 1 :]

    bay = bay_of(changed, keys=[KEY.public_key()])
    assert said_of(bay, "alder") == ("degraded", "uncertain", "record-refused", None)
    alert = bay.bay.alerts.active[f"record-{bay.head('alder').id}"]
    assert f"head alder: {tmp_path / 'alder.json'}: " in alert
    assert bay_of.refused[0].startswith(f"{tmp_path / 'alder.json'}: ")
    assert bay.topics.cal("alder") not in bay.outlet.retained
    assert said_of(bay, "birch")[:2] == ("online", "good")


@pytest.mark.parametrize(
    ("write", "reason"),
    [
        (lambda first: dump_record(first).encode(), "is of version 1"),
        (lambda first: dump_record(seal(certified(first))).encode(), "is not signed"),
        (
            lambda first: dump_record(sign(certified(first), OTHER)).encode(),
            f"is signed by {key_id(OTHER.public_key())}, which is none",
        ),
    ],
)
def test_who_is_not_trusted_is_refused_by_name(bay_of, write, reason):
    bay = bay_of(write, keys=[KEY.public_key()])
    assert said_of(bay, "alder") == ("degraded", "uncertain", "record-refused", None)
    assert reason in bay.bay.alerts.active[f"record-{bay.head('alder').id}"]


def test_without_keys_a_draft_that_is_whole_is_used(bay_of):
    bay = bay_of(lambda first: dump_record(seal(certified(first))).encode())
    assert said_of(bay, "alder")[:3] == ("online", "good", "")


def for_another_build(first):
    changed = coefficients_of(first).model_copy(update={"tilt": WHOLE.tilt})
    return dump_record(sign(certified(first).revised(coefficients=changed), KEY)).encode()


def without_tilt(first):
    changed = coefficients_of(first).model_copy(update={"tilt": None})
    return dump_record(sign(certified(first).revised(coefficients=changed), KEY)).encode()


@pytest.mark.parametrize(
    ("write", "reason"),
    [
        (for_another_build, "does not fit it: it corrects incl_z, which the head does not have"),
        (without_tilt, "does not fit it: it says nothing of incl_x, incl_y"),
    ],
)
def test_a_record_that_does_not_fit_the_head_is_refused_by_name(bay_of, write, reason):
    bay = bay_of(write, keys=[KEY.public_key()])
    assert said_of(bay, "alder") == ("degraded", "uncertain", "record-refused", None)
    assert reason in bay.bay.alerts.active[f"record-{bay.head('alder').id}"]


def test_a_record_of_two_axes_does_not_fit_a_fixed_head(fixed_bay, monkeypatch, simulated_bay):
    names = simulated_bay.__init__.__globals__
    stored = names["StoredRecords"]

    class TwoAxes(stored):
        def newest(self, head):
            record = super().newest(head)
            tilt = record.tilt.model_dump()
            for name, value in tilt.items():
                if isinstance(value, tuple):
                    rows = [row[:2] if isinstance(row, tuple) else row for row in value[:2]]
                    tilt[name] = tuple(rows)
            part = type(record.tilt).model_validate(tilt)
            return seal(record.model_copy(update={"tilt": part, "sha256": ""}))

    monkeypatch.setitem(names, "StoredRecords", TwoAxes)
    bay = fixed_bay(3)
    head = bay.head("alder")
    assert head.instrument.refused.endswith("does not fit it: it says nothing of incl_z")
    assert head.instrument.trust(date.today()) == ("uncertain", "record-refused")


def test_a_head_that_comes_back_with_other_channels_is_judged_anew(bay_of):
    bay = bay_of(signed)
    hello = bay.head("alder").hello
    few = tuple(info for info in hello.channels if info.channel is not Channel.ROTATION)
    changed = replace(hello, channels=few, boot=BootId(hello.boot + 1))
    bay.give("alder", b"\0" + frame(encode(changed)))
    assert "it corrects rotation" in bay.head("alder").instrument.refused
    assert not bay.bay.slots["alder"].feed.chain.correction.calibrated
    bay.give("alder", b"\0" + frame(encode(replace(hello, boot=BootId(hello.boot + 2)))))
    assert bay.head("alder").instrument.refused is None
    assert bay.bay.slots["alder"].feed.chain.correction.calibrated


def tilt_alone(first):
    coefficients = coefficients_of(first).model_copy(update={"encoders": {}})
    return dump_record(sign(certified(first).revised(coefficients=coefficients), KEY)).encode()


def total_toe(bay):
    """Turn both wheels of axle 1, let them down, and return what is said of the axle's toe."""
    wheels = {"alder": WheelAt(1, Side.LEFT), "birch": WheelAt(1, Side.RIGHT)}
    rig, work = bay.demo.technician, bay.bay.work
    for name, wheel in wheels.items():
        rig.mount(bay.demo.heads[name], wheel)
        bay.bay.put_on(bay.head(name), Wheel(wheel.axle, wheel.side))
    rig.jack(1)
    bay.advance(2.5)
    for name, wheel in wheels.items():
        assert work.begin(bay.head(name)).ok
        for step in rig.stops(wheel, 3):
            bay.advance(step.wait_s + 1.2)
            assert work.take_stop(bay.head(name)).ok
        assert work.end(bay.head(name)).ok
    rig.lower(1)
    bay.advance(4.5)
    return bay.outlet.retained[bay.topics.axle(1, "both", "total-toe")]


def test_what_a_record_leaves_out_is_as_doubtful_as_in_a_head_without_one(bay_of):
    bays = bay_of(signed), bay_of(tilt_alone)
    whole, part = map(total_toe, bays)
    turns = [bay.outlet.retained[bay.topics.head_runout("alder")] for bay in bays]
    assert whole["U"] < 0.2
    assert part["U"] > 2.0  # the zero of an encoder that nobody calibrated: 1 deg, twice
    assert turns[0]["heading_U"] < 0.05
    assert turns[1]["heading_U"] > 2.0
    assert turns[0]["camber_U"] == turns[1]["camber_U"]
