"""The MicroPython head against every example of SPEC.md."""

import binascii
import importlib.util
import json
import re
from pathlib import Path
from typing import Any

import levelhead as lh
import levelhead_link as link
import pytest

FOLDER = Path(__file__).parents[2] / "firmware-protocol"


def examples(kind: str) -> dict[str, tuple[dict[str, Any], bytes]]:
    text = (FOLDER / "SPEC.md").read_text(encoding="utf-8")
    blocks = re.findall(rf"^```{kind} (\S+)\n(.*?)\n\.\n(.*?)\n```$", text, re.M | re.S)
    return {name: (json.loads(meaning), bytes.fromhex(data)) for name, meaning, data in blocks}


VECTORS = examples("vector")
REJECTS = examples("reject")
TO_HOST = {n: v for n, v in VECTORS.items() if v[0]["message"] not in ("ping", "command")}
TO_HEAD = {n: v for n, v in VECTORS.items() if v[0]["message"] in ("ping", "command")}


def body_of(m: dict[str, Any]) -> bytes:
    m = dict(m)
    message = m.pop("message")
    more = bytes.fromhex(m.pop("more", ""))
    if message == "hello":
        head = bytes.fromhex(m["head"])
        if m["major"] != 1:
            start = lh.hello_start(
                head, m["boot"], m["firmware"], m["mounting"], m["minor"], m["major"]
            )
            return start + more
        return lh.hello(
            head,
            m["boot"],
            m["firmware"],
            m["rate_dhz"],
            m["flags"],
            [tuple(c.values()) for c in m["channels"]],
            mounting=m["mounting"],
            minor=m["minor"],
            more=more,
            more_per_channel=bytes.fromhex(m.get("more_per_channel", "")),
        )
    if message == "batch":
        return lh.batch([body_of({"message": "sample", **s}) for s in m["samples"]])
    if message == "sample":
        m["which"] = m.pop("set")
    return getattr(lh, message)(**m, more=more)


def open_receiver() -> Any:
    receiver = link.Receiver()
    assert receiver.feed(b"\x00") == []
    return receiver


def test_the_examples_were_found() -> None:
    text = (FOLDER / "SPEC.md").read_text(encoding="utf-8")
    assert len(VECTORS) == len(re.findall(r"^```vector ", text, re.M)) > 20
    assert len(REJECTS) == len(re.findall(r"^```reject ", text, re.M)) > 20


@pytest.mark.parametrize("name", TO_HOST)
def test_what_a_head_sends_is_equal_to_the_byte(name: str) -> None:
    meaning, data = TO_HOST[name]
    assert link.frame(body_of(meaning)) == data


@pytest.mark.parametrize("name", TO_HEAD)
def test_what_a_host_sends_is_understood(name: str) -> None:
    meaning, data = TO_HEAD[name]
    receiver = open_receiver()
    messages = receiver.feed(data)
    if meaning["message"] == "ping":
        assert messages == [("ping", meaning["ping_id"])]
    else:
        assert messages == [("command", meaning["op"], meaning["command_id"], meaning["value"])]
    assert receiver.rejected == 0


@pytest.mark.parametrize("name", TO_HEAD)
def test_a_byte_at_a_time_means_the_same(name: str) -> None:
    data = TO_HEAD[name][1]
    receiver = open_receiver()
    one_by_one = [m for byte in data for m in receiver.feed(bytes([byte]))]
    assert one_by_one == open_receiver().feed(data) != []


@pytest.mark.parametrize("name", REJECTS)
def test_what_is_to_be_dropped_is_dropped(name: str) -> None:
    meaning, data = REJECTS[name]
    receiver = open_receiver()
    assert receiver.feed(data) == []
    # to a head, what only heads send is of the wrong type before anything else is wrong with it
    echo = "body" in meaning and bytes.fromhex(meaning["body"])[0] < 0x80
    assert receiver.reasons == {"type" if echo else meaning["reason"]: 1}
    assert receiver.rejected == 1
    assert receiver.feed(VECTORS["ping"][1]) == [("ping", 7)]


@pytest.mark.parametrize("name", TO_HOST)
def test_an_echo_is_dropped(name: str) -> None:
    receiver = open_receiver()
    assert receiver.feed(TO_HOST[name][1]) == []
    assert receiver.reasons == {"type": 1}


@pytest.mark.parametrize("name", REJECTS)
def test_before_the_first_delimiter_half_a_frame_is_no_fault(name: str) -> None:
    receiver = link.Receiver()
    assert receiver.feed(b"boot: ok\r\n" + REJECTS[name][1]) == []
    assert receiver.rejected == 0
    assert receiver.feed(VECTORS["ping"][1]) == [("ping", 7)]


def test_a_sound_frame_before_the_first_delimiter_is_used() -> None:
    assert link.Receiver().feed(VECTORS["ping"][1]) == [("ping", 7)]


def test_519_bytes_are_not_too_long() -> None:
    receiver = open_receiver()
    data = link.frame(b"\xb4" + b"\x01" * 511)
    assert len(data) == 520
    assert receiver.feed(data) == [("command", 1, 257, 257)]


def test_the_count_of_faults_stops() -> None:
    receiver = open_receiver()
    receiver.feed(b"\x01\x00" * 65600)
    assert receiver.rejected == 65535


def test_bare_bodies_for_bluetooth() -> None:
    receiver = link.Receiver()
    assert receiver.body(b"\xb3\x00\x07\x00") == ("ping", 7)
    assert receiver.body(b"\xb3") is None
    assert receiver.body(b"") is None
    assert receiver.rejected == 2


# --- what the encoder refuses, because a host would drop it ------------------------------------

HELLO = {k: v for k, v in VECTORS["hello-full"][0].items() if k != "channels"}
SOME = VECTORS["hello-full"][0]["channels"]


@pytest.mark.parametrize(
    "change",
    [
        {"head": "00" * 8},
        {"head": "ff" * 8},
        {"head": "0102"},
        {"mounting": 2},
        {"firmware": "1.\x1b[0"},
        {"firmware": "x" * 25},
        {"rate_dhz": 0},
        {"rate_dhz": 10001},
        {"channels": [SOME[0], SOME[0]]},
        {"channels": [{**SOME[0], "channel": n} for n in range(17)]},
        {"channels": [{**SOME[0], "low": 1, "high": 0}]},
        {"channels": [{**SOME[0], "rate_dhz": 1001}]},
    ],
)
def test_a_hello_that_a_host_would_drop(change: dict[str, Any]) -> None:
    body_of({**HELLO, "channels": SOME})
    with pytest.raises(ValueError, match=r".+"):
        body_of({**HELLO, "channels": SOME, **change})


def test_other_bodies_that_a_host_would_drop() -> None:
    good = lh.sample(0, 0, 0, 0, (0, 0, 0, 0))
    with pytest.raises(ValueError, match="batch"):
        lh.batch([])
    with pytest.raises(ValueError, match="batch"):
        lh.batch([good] * 26)
    with pytest.raises(ValueError, match="20 bytes"):
        lh.batch([good + b"\x00"])
    with pytest.raises(ValueError, match="battery"):
        lh.status(0, 0, battery_percent=101)
    with pytest.raises(ValueError, match="24 bits"):
        lh.sample(0, 0, 0, 0, (0, 0, 0, 8388608))
    for size in (0, 513):
        with pytest.raises(ValueError, match="512"):
            link.frame(bytes(size))


# --- small parts -------------------------------------------------------------------------------


@pytest.mark.parametrize("data", [b"", b"123456789", bytes(range(256)) * 2])
def test_the_checksum_by_hand_is_the_built_in_one(data: bytes) -> None:
    assert link.crc_by_hand(data) == link.crc_built_in(data)


def test_the_check_value() -> None:
    assert link.crc_by_hand(b"123456789") == (0xCBF43926).to_bytes(4, "little")


def test_without_a_built_in_checksum(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delattr(binascii, "crc32")
    spec = importlib.util.find_spec("levelhead_link")
    assert spec is not None
    assert spec.loader is not None
    small = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(small)
    assert small.crc is small.crc_by_hand
    assert small.frame(body_of(VECTORS["pong"][0])) == VECTORS["pong"][1]
    assert small.Receiver().feed(VECTORS["ping"][1]) == [("ping", 7)]


@pytest.mark.parametrize(
    ("code", "wrapped"),
    [(0, 0), (1800000, -1800000), (1799999, 1799999), (-1800001, 1799999), (7200001, 1)],
)
def test_wrapping(code: int, wrapped: int) -> None:
    assert lh.wrap(code) == wrapped
