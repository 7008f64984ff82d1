"""What is replayed is what was said: a live run over real ptys against its own capture."""

import asyncio
import json
import time
from dataclasses import replace

import pytest

from ingest.capture.reader import read_capture
from ingest.capture.writer import CaptureWriter
from ingest.commands.demo_rig import build, wall_clock
from ingest.core.errors import InputError
from ingest.core.ids import HeadId, HeadName, MonotonicNs
from ingest.drivers.serial import SerialLink, SerialSettings
from ingest.payload.cmd import Request, read_command
from ingest.payload.topics import Topics
from ingest.service.player import Player, Told
from ingest.store.database import open_database
from ingest.store.head_names import StoredHeadNames
from ingest.store.records import StoredRecords
from tests.capture.renaming import under_another_name


class Heard:
    """An outlet that keeps what is said, and what is answered."""

    def __init__(self):
        self.said = []

    def publish(self, topic, payload, *, retain, qos, expiry_s):
        self.said.append((topic, payload, retain, qos))

    def reply(self, request, payload):
        self.said.append((request.reply_topic, payload, False, 1))


def now_ns():
    return MonotonicNs(time.monotonic_ns())


async def _live(path, live_service):
    """Run two heads for some seconds: named, mounted, asked, one unplugged and plugged in again."""
    demo = build(5, "rigid-8x4", wall_clock(), 50.0)
    ptys = {name: demo.ptys[name] for name in ("alder", "birch")}
    store = open_database(":memory:")
    StoredRecords(store).add(demo.records[0], "bench")
    StoredHeadNames(store).set_name(demo.heads["birch"].design.head, HeadName("pear"))
    heard, troubles = Heard(), []
    writer = CaptureWriter(path, troubles.append)
    links = {}
    for pty in ptys.values():
        link = SerialLink(SerialSettings(pty.plug()), now_ns)
        links[link.name] = link
    service = live_service("bay7", links, heard, store, writer)
    heard.publish(Topics("bay7").status, service.birth(), retain=True, qos=1, expiry_s=None)
    tasks = [asyncio.create_task(pty.run()) for pty in ptys.values()]
    tasks.append(asyncio.create_task(service.run()))
    for _ in range(300):
        if sum(head.online for head in service.bay.heads.values()) == 2:
            break
        await asyncio.sleep(0.1)
    await asyncio.sleep(1.0)
    service.warn("records-1", "a record was refused")

    def ask(name, /, **fields):
        command = read_command(
            name, json.dumps({"id": f"{name}-{len(heard.said)}"} | fields).encode()
        )
        service.on_request(Request(name, command, "levelhead/v1/bay7/reply/me", b"\x00\xff"))

    ids = [demo.heads[name].design.head for name in ptys]
    first, second = (service.bay.heads[head].name for head in ids)
    ask("name", head=first, name="left-front")
    ask("name", head=second, name="left-front")
    ask("identify", head="left-front")
    ask("wheel", head="left-front", axle=1, side="left")
    ask("turn-begin", head="left-front")
    ptys["alder"].press()
    await asyncio.sleep(0.7)
    ptys["birch"].unplug()
    await asyncio.sleep(1.2)
    ask("turn-end", head="left-front")
    await asyncio.sleep(0.3)
    for task in tasks:
        task.cancel()
    await asyncio.gather(*tasks, return_exceptions=True)
    writer.close()
    store.close()
    for pty in ptys.values():
        pty.unplug()
    assert troubles == []
    return heard.said


@pytest.fixture(scope="module")
def live(tmp_path_factory, live_service):
    path = tmp_path_factory.mktemp("capture") / "live.mcap"
    return path, asyncio.run(_live(path, live_service))


def replayed(records):
    heard = Heard()
    player = Player("capture", records, heard)
    for record in player.records:
        player.play(record)
    assert player.skipped == 0
    return heard.said


def test_a_replay_says_what_was_said_live_byte_for_byte(live):
    path, said = live
    capture = read_capture(path)
    assert capture.remarks == ()
    assert replayed(capture.records) == under_another_name(said)


def test_the_live_run_held_what_matters(live):
    _, said = live
    topics = {topic for topic, *_ in said}
    codes = [json.loads(p)["code"] for topic, p, *_ in said if "/reply/" in topic]
    assert sorted(codes)[:2] == ["name-taken", "ok"]
    assert codes.count("ok") >= 4
    assert "levelhead/v1/bay7/head/left-front/incl_y" in topics
    assert any("/svc/alert/" in topic for topic in topics)
    assert any("/runout" in topic for topic in topics)


def test_playing_twice_gives_the_same_bytes(live):
    records = read_capture(live[0]).records
    assert replayed(records) == replayed(records)


def test_a_torn_capture_says_the_beginning_of_it(live):
    records = read_capture(live[0]).records
    whole, part = replayed(records), replayed(records[: len(records) // 2])
    assert part == whole[: len(part)]
    assert part


def test_a_capture_of_a_newer_version_is_refused_by_its_number(live):
    records = list(read_capture(live[0]).records)
    start = json.loads(records[0].data) | {"version": 99}
    records[0] = replace(records[0], data=json.dumps(start).encode())
    with pytest.raises(InputError, match="capture version 99"):
        Player("x.mcap", records, Heard())


def test_the_start_is_kept_twice_since_all_stands_on_it(live):
    records = read_capture(live[0]).records
    assert replayed(records[1:]) == replayed(records)
    assert replayed((records[0], *records[2:])) == replayed(records)


def test_a_capture_without_a_start_cannot_be_played(live):
    records = read_capture(live[0]).records[2:]
    with pytest.raises(InputError, match="holds no start"):
        Player("x.mcap", records, Heard())


def test_records_that_are_no_inputs_are_passed_over(live):
    records = read_capture(live[0]).records
    strange = replace(records[3], topic="request", data=b"[1")
    unknown = replace(records[3], topic="of-a-newer-program", data=b"{}")
    heard = Heard()
    player = Player("x.mcap", (*records, strange, unknown), heard)
    for record in player.records:
        player.play(record)
    assert player.skipped == 1
    assert heard.said == replayed(records)


def test_a_name_given_before_is_the_name_in_the_replay(live):
    said = replayed(read_capture(live[0]).records)
    named = {topic.split("/")[4] for topic, *_ in said if "/head/" in topic}
    assert {"left-front", "pear"} <= named


def restarted(records, **changes):
    """Return records whose start says something else."""
    start = json.loads(records[0].data) | changes
    return (replace(records[0], data=json.dumps(start).encode()), *records[1:])


@pytest.mark.parametrize(
    "changes",
    [
        {"bay": "no level/of a topic"},
        {"links": {"x": "of-a-newer-form"}},
        {"links": []},
        {"settings": {"bay": 1}},
        {"boot": None, "bay": None},
    ],
)
def test_a_start_that_makes_no_sense_is_refused_in_words(live, changes):
    records = read_capture(live[0]).records
    with pytest.raises(InputError, match="its start cannot be read"):
        Player("x.mcap", restarted(records, **changes), Heard())


def test_settings_that_only_a_newer_program_knows_are_passed_over(live):
    records = read_capture(live[0]).records
    settings = json.loads(records[0].data)["settings"]
    settings["bay"]["of_a_newer_program"] = 1
    assert replayed(restarted(records, settings=settings)) == replayed(records)


def test_a_bay_s_study_is_in_its_capture(live):
    records = read_capture(live[0]).records
    settings = json.loads(records[0].data)["settings"]
    scatter = {"cause": "mounting", "u_deg": 0.01, "dof": 12.5}
    study = {"name": "bay study 2026-11-20", "camber": [scatter], "total_toe": [scatter]}
    settings["bay"]["wheel"]["spread"]["study"] = study
    said = replayed(restarted(records, settings=settings))
    assert said == replayed(restarted(records, settings=settings))
    meta = [json.loads(payload) for topic, payload, *_ in said if topic.endswith("/svc/meta")]
    assert {each["spread"] for each in meta} == {"bay study 2026-11-20"}


def test_the_longest_bay_name_leaves_room_for_the_suffix(live):
    records = restarted(read_capture(live[0]).records, bay="b" * 32)
    topics = {topic for topic, *_ in replayed(records) if "/reply/" not in topic}
    (bay,) = {topic.split("/")[2] for topic in topics}
    assert bay == "b" * 25 + "-replay"


def test_bytes_of_a_link_that_there_is_not_are_passed_over(live):
    records = read_capture(live[0]).records
    player = Player("x.mcap", records, Heard())
    player.play(replace(records[-1], topic="bytes/nowhere", data=b"1"))
    assert player.skipped == 1


def test_what_was_found_last_stands_when_it_is_asked_for_again(live):
    records = read_capture(live[0]).records
    found = json.loads(
        next(r.data for r in records if r.topic == "found" and b"record of" in r.data)
    )
    head, told = HeadId(found["key"].removeprefix("record of ")), Told(records)
    asked = [told.newest(head) for _ in range(20)]
    assert asked[-1] == asked[-2]
    assert (asked[-1] is None) == (found["answer"] is None)
