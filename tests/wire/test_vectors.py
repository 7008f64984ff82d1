"""The codec does what the examples in firmware-protocol/SPEC.md say, byte for byte."""

import dataclasses
import json
import subprocess
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from ingest.core.blocks import NO_VALUE
from ingest.core.counters import FrameFault, LinkCounters
from ingest.wire.commands import ClockPing, Command
from ingest.wire.framing import Deframer, frame
from ingest.wire.hello import ChannelInfo, Hello
from ingest.wire.messages import Message, decode, encode
from ingest.wire.reports import Ack, ClockPong, Event, Refusal, Status
from ingest.wire.sample import Batch, Sample

NAMES = {
    Status: "status",
    Event: "event",
    ClockPong: "pong",
    Ack: "ack",
    Refusal: "refusal",
    ClockPing: "ping",
    Command: "command",
}
FROZEN = ("message", "major", "minor", "head", "boot", "firmware")


def sample_value(sample: Sample) -> dict[str, Any]:
    codes = [None if code == NO_VALUE else code for code in sample.codes]
    value = {"set": sample.set_index, "status": sample.status, "seq": sample.seq}
    return value | {"t_us": sample.t_us, "codes": codes}


def entry_value(info: ChannelInfo) -> dict[str, Any]:
    value = dataclasses.asdict(info)
    return {"channel": value.pop("code")} | value


def hello_value(hello: Hello) -> dict[str, Any]:
    value = dataclasses.asdict(hello)
    value["flags"] = int(value.pop("streaming"))
    value["channels"] = [entry_value(info) for info in hello.channels]
    return {"message": "hello"} | value


def value_of(message: Message) -> dict[str, Any]:
    if isinstance(message, Sample):
        return {"message": "sample"} | sample_value(message)
    if isinstance(message, Batch):
        return {"message": "batch", "samples": [sample_value(s) for s in message.samples]}
    if isinstance(message, Hello):
        return hello_value(message)
    return {"message": NAMES[type(message)]} | dataclasses.asdict(message)


def bodies_of(data: bytes) -> tuple[list[bytes], LinkCounters]:
    counters = LinkCounters()
    return Deframer(counters).feed(b"\0" + data), counters


def decoded(data: bytes) -> Message:
    bodies, counters = bodies_of(data)
    assert not counters.faults
    (body,) = bodies
    message = decode(body)
    assert not isinstance(message, FrameFault), message
    return message


def test_reads_each_example_as_the_document_says(accepted: Any) -> None:
    value = value_of(decoded(accepted.frame))
    expected = {key: item for key, item in accepted.value.items() if not key.startswith("more")}
    if expected.get("major", 1) != 1:
        value, expected = ({key: side[key] for key in FROZEN} for side in (value, expected))
    assert value == expected


def test_writes_each_example_byte_for_byte(accepted: Any) -> None:
    message = decoded(accepted.frame)
    if any(key.startswith("more") for key in accepted.value):
        assert decode(encode(message)) == message
    else:
        assert frame(encode(message)).hex(" ") == accepted.frame.hex(" ")


def test_drops_each_reject_frame_for_the_stated_reason(rejected: Any) -> None:
    bodies, counters = bodies_of(rejected.frame)
    faults = [fault for fault in map(decode, bodies) if isinstance(fault, FrameFault)]
    assert faults + list(counters.faults.elements()) == [rejected.value["reason"]]
    assert len(bodies) == len(faults)


def test_every_reason_has_a_reject_frame(vector_tool: ModuleType, document: str) -> None:
    reasons = {vector.value["reason"] for vector in vector_tool.read(document) if vector.reject}
    assert reasons == {fault.value for fault in FrameFault}


def test_every_message_has_an_example(vector_tool: ModuleType, document: str) -> None:
    shown = {vector.value.get("message") for vector in vector_tool.read(document)}
    assert {*NAMES.values(), "sample", "batch", "hello"} <= shown


def test_third_implementation_makes_the_same_bytes(vector_tool: ModuleType, document: str) -> None:
    assert vector_tool.wrong(vector_tool.read(document)) == []


def test_third_implementation_notices_a_wrong_byte(vector_tool: ModuleType, document: str) -> None:
    vectors = vector_tool.read(document.replace("02 B3 02 07 05", "02 B3 02 08 05"))
    assert any("ping" in line for line in vector_tool.wrong(vectors))


GOOD = '```vector a\n{"message": "ping", "ping_id": 7}\n.\n01 00\n```\n'


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("# no example at all\n", "no vectors"),
        (GOOD.replace("vector", "vectors"), "unknown kind"),
        (GOOD.replace("vector a", "vector"), "needs a name"),
        (GOOD.replace("vector a", "vector A b"), "needs a name"),
        (GOOD.replace("\n.\n", "\n"), "lone dot"),
        (GOOD.replace("7}", "7"), "line 1: a"),
        (GOOD.replace("7}", '"7"}'), "in its JSON"),
        (GOOD.replace("ping_id", "pong_id"), "in its JSON"),
        (GOOD.replace('"ping"', '"pang"'), "in its JSON"),
        (GOOD.replace("message", "massage"), "no 'message'"),
        (GOOD.replace("01 00", "0G 00"), "line 1: a"),
        (GOOD.replace("01 00", ""), "delimiter"),
        (GOOD.replace("01 00", "01 02"), "delimiter"),
        (GOOD.removesuffix("```\n"), "never closed"),
        (GOOD + GOOD, "twice"),
        (GOOD.replace("vector", "reject"), "no 'reason'"),
    ],
)
def test_loader_refuses_what_it_cannot_read(
    vector_tool: ModuleType, text: str, complaint: str
) -> None:
    with pytest.raises(vector_tool.VectorError, match=complaint):
        vector_tool.read(text)


def test_loader_reads_a_good_block(vector_tool: ModuleType) -> None:
    (vector,) = vector_tool.read(GOOD)
    assert (vector.name, vector.frame, vector.reject) == ("a", b"\x01\x00", False)


def run_tool(vector_tool: ModuleType, *args: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, vector_tool.__file__, *args]
    return subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)


def test_tool_fails_on_an_empty_document(vector_tool: ModuleType, tmp_path: Path) -> None:
    (tmp_path / "empty.md").write_text("nothing\n", encoding="utf-8")
    result = run_tool(vector_tool, str(tmp_path / "empty.md"))
    assert result.returncode == 2
    assert "no vectors" in result.stderr


def test_tool_fails_on_wrong_bytes_and_writes_the_right_ones(
    vector_tool: ModuleType, tmp_path: Path
) -> None:
    path = tmp_path / "spec.md"
    path.write_text(GOOD, encoding="utf-8")
    assert run_tool(vector_tool, str(path)).returncode == 1
    assert run_tool(vector_tool, "--write", str(path)).returncode == 0
    assert run_tool(vector_tool, str(path)).returncode == 0
    assert frame(ClockPing(7).to_body()).hex(" ").upper() in path.read_text(encoding="utf-8")


def test_tool_dumps_all_vectors_as_json(vector_tool: ModuleType, document: str) -> None:
    rows = json.loads(run_tool(vector_tool, "--json").stdout)
    vectors = vector_tool.read(document)
    assert [bytes.fromhex(row["frame"]) for row in rows] == [vector.frame for vector in vectors]
