"""The capture file: as the format's own library reads it, torn, damaged, foreign, disk full."""

import json
import os
import random
import signal
import struct
import subprocess
import sys
import threading
import time
import tracemalloc
from pathlib import Path

import mcap.writer
import pytest
from mcap.reader import NonSeekingReader

from ingest.capture import writer as writer_module
from ingest.capture.blocks import Chunks
from ingest.capture.reader import read_capture
from ingest.capture.writer import CaptureWriter
from ingest.core.errors import InputError
from ingest.core.recording import Record

COUNT = 120
CHUNK_OPCODE = 6
STEP_NS = 10_000_000
EPOCH_NS = 1_700_000_000_000_000_000


def nth(i):
    topic = "second" if i % 7 == 0 else f"bytes/port {i % 3}"
    return Record(topic, bytes([i % 256]) * (i % 40), i * STEP_NS, EPOCH_NS + i * STEP_NS)


def write(path, count=COUNT):
    troubles = []
    writer = CaptureWriter(path, troubles.append)
    for each in map(nth, range(count)):
        writer.note(each.topic, each.data, each.at_ns, each.wall_ns)
    writer.close()
    return troubles


@pytest.fixture
def whole(tmp_path):
    path = tmp_path / "whole.mcap"
    assert write(path) == []
    return path


def test_what_is_written_is_read(whole):
    capture = read_capture(whole)
    assert capture.records == tuple(map(nth, range(COUNT)))
    assert capture.remarks == ()


def test_the_format_s_own_reader_reads_it(whole):
    with whole.open("rb") as file:
        found = [
            (c.topic, m.data, m.log_time) for _, c, m in NonSeekingReader(file).iter_messages()
        ]
    assert sorted(found) == sorted((r.topic, r.data, r.wall_ns) for r in map(nth, range(COUNT)))


def test_a_file_torn_anywhere_gives_all_records_before(whole, tmp_path):
    content, torn = whole.read_bytes(), tmp_path / "torn.mcap"
    counts = []
    for size in range(60, len(content), 61):
        torn.write_bytes(content[:size])
        capture = read_capture(torn)
        count = len(capture.records)
        assert capture.records == tuple(map(nth, range(count)))
        assert count == COUNT or "torn off" in capture.remarks[0]
        counts.append(count)
    assert counts == sorted(counts)
    assert counts[0] == 0
    assert counts[-1] >= COUNT - 1


@pytest.mark.parametrize("seed", range(200))
def test_damage_is_left_out_and_said_never_passed_on(whole, tmp_path, seed):
    rng = random.Random(seed)
    content = bytearray(whole.read_bytes())
    for _ in range(rng.choice((1, 2, 8))):
        content[rng.randrange(60, len(content))] ^= 1 << rng.randrange(8)
    path = tmp_path / "damaged.mcap"
    path.write_bytes(content)
    capture = read_capture(path)
    sound = set(map(nth, range(COUNT)))
    # A flip in a chunk's header can only lose it; one in its body is seen by its checksum.
    assert all(record in sound for record in capture.records)
    if len(capture.records) < COUNT:
        assert capture.remarks


def chunks_of(content):
    """Where each chunk begins; its opcode, length and times after the MCAP specification."""
    for i in range(len(content) - 40):
        if content[i] == CHUNK_OPCODE:
            length, first, last, size = struct.unpack_from("<QQQQ", content, i + 1)
            if length == size + 40 and first == last:
                yield i


@pytest.mark.parametrize("place", [0, 1, 40, COUNT - 2])
@pytest.mark.parametrize("field", [0, 1, 25, 37, 41])  # opcode, each length in a chunk's head
@pytest.mark.parametrize("bit", [0, 2, 3, 6, 12, 23, 31])
def test_a_bit_flipped_in_the_head_of_a_record_costs_no_other_record(
    whole, tmp_path, place, field, bit
):
    content = bytearray(whole.read_bytes())
    begin = list(chunks_of(content))[place]
    content[begin + field + bit // 8] ^= 1 << bit % 8
    path = tmp_path / "damaged.mcap"
    path.write_bytes(content)
    capture = read_capture(path)
    lost = set(map(nth, range(COUNT))) - set(capture.records)
    assert lost <= {nth(place)}
    assert len(capture.remarks) == len(lost)
    assert all("1 records are damaged" in remark for remark in capture.remarks)


def test_a_bit_flipped_anywhere_costs_one_record_at_most_and_says_so(whole, tmp_path):
    sound, rng = whole.read_bytes(), random.Random(7)
    path, every = tmp_path / "damaged.mcap", list(map(nth, range(COUNT)))
    for _ in range(600):
        content = bytearray(sound)
        content[rng.randrange(8, len(content))] ^= 1 << rng.randrange(8)
        path.write_bytes(content)
        capture = read_capture(path)
        lost = set(every) - set(capture.records)
        assert len(lost) <= 1
        assert any("damaged" in remark for remark in capture.remarks) == bool(lost)


def test_a_record_that_looks_like_an_end_ends_nothing(whole, tmp_path):
    """Opcode 2 is a footer's, 15 that of the end of the data (MCAP specification, Opcodes)."""
    sound = whole.read_bytes()
    begin = list(chunks_of(sound))[COUNT // 2]
    for opcode in (2, 15):
        content = bytearray(sound)
        content[begin] = opcode
        path = tmp_path / "end.mcap"
        path.write_bytes(content)
        capture = read_capture(path)
        assert len(capture.records) == COUNT - 1
        assert "1 records are damaged" in capture.remarks[0]


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "no capture"),
        (b"\x89PNG\r\n\x1a\n" + bytes(100), "no capture"),
        (json.dumps({"a": 1}).encode(), "no capture"),
        (b"\x89MCAP0\r\n" + b"\xff" * 40, "damaged from its start"),
    ],
)
def test_refuses_what_is_no_capture_in_one_line(tmp_path, content, words):
    path = tmp_path / "foreign"
    path.write_bytes(content)
    with pytest.raises(InputError, match=words) as refused:
        read_capture(path)
    assert "\n" not in str(refused.value)


def test_refuses_a_file_of_another_program(tmp_path):
    path = tmp_path / "other.mcap"
    with path.open("wb") as file:
        other = mcap.writer.Writer(file)
        other.start(profile="ros2", library="another")
        other.finish()
    with pytest.raises(InputError, match="of another program"):
        read_capture(path)


def test_memory_does_not_grow_with_the_capture(tmp_path):
    chunks = Chunks()
    for i in range(1000):
        chunks.chunk(nth(i))
    tracemalloc.start()
    for i in range(1000, 4000):
        chunks.chunk(nth(i))
    grown, _ = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert grown < 20_000


def test_a_file_that_is_there_is_never_overwritten(whole):
    before = whole.read_bytes()
    with pytest.raises(InputError, match="never overwritten"):
        CaptureWriter(whole, print)
    assert whole.read_bytes() == before


def test_refuses_a_folder_that_is_not_there(tmp_path):
    with pytest.raises(InputError, match="cannot be written"):
        CaptureWriter(tmp_path / "nowhere" / "x.mcap", print)


def test_a_full_disk_is_said_once_and_stops_nobody(tmp_path, monkeypatch):
    if not Path("/dev/full").exists():
        pytest.skip("no /dev/full on this system")
    monkeypatch.setattr(
        writer_module, "new_file", lambda _: os.fdopen(os.open("/dev/full", os.O_WRONLY), "wb")
    )
    troubles = write(tmp_path / "full.mcap", 3000)
    assert len(troubles) == 1
    assert "measuring goes on" in troubles[0]


def test_a_disk_that_is_too_slow_is_said_and_stops_nobody(tmp_path, monkeypatch):
    monkeypatch.setattr(writer_module, "WAITING", 10)
    monkeypatch.setattr(writer_module.Chunks, "chunk", lambda self, record: time.sleep(0.02) or b"")
    troubles = write(tmp_path / "slow.mcap", 100)
    assert len(troubles) == 1
    assert "too slow" in troubles[0]


def test_what_comes_without_a_pause_is_synced_to_the_disk_each_second(tmp_path, monkeypatch):
    path, synced = tmp_path / "busy.mcap", []
    monkeypatch.setattr(
        writer_module.os, "fdatasync", lambda _: synced.append(len(read_capture(path).records))
    )
    write(path)  # 1.2 s of records at once, and the end of the file
    assert synced[-1] == COUNT
    assert COUNT > synced[0] >= 100
    assert len(synced) == 2


def test_what_was_said_before_a_pause_is_synced_in_the_pause(tmp_path, monkeypatch):
    monkeypatch.setattr(writer_module, "SYNC_S", 0.05)
    done = threading.Event()
    monkeypatch.setattr(writer_module.os, "fdatasync", lambda _: done.set())
    path = tmp_path / "quiet.mcap"
    writer = CaptureWriter(path, print)
    writer.note("second", b"{}", 1, 2)
    assert done.wait(20.0)
    assert read_capture(path).records == (Record("second", b"{}", 1, 2),)
    writer.close()


VICTIM = """
import sys, time
from pathlib import Path
from ingest.capture.writer import CaptureWriter
writer = CaptureWriter(Path(sys.argv[1]), print)
began = time.monotonic_ns()
for i in range(10**6):
    writer.note("bytes/x", i.to_bytes(4, "little"), time.monotonic_ns() - began, 1)
    print(i, flush=True)
    time.sleep(0.005)
"""


def test_a_killed_program_loses_at_most_its_last_second_or_two(tmp_path):
    path = tmp_path / "killed.mcap"
    with subprocess.Popen(
        [sys.executable, "-c", VICTIM, str(path)], stdout=subprocess.PIPE, text=True
    ) as victim:
        noted = 0
        while noted < 700:
            noted = int(victim.stdout.readline())
        os.kill(victim.pid, signal.SIGKILL)
    found = [int.from_bytes(r.data, "little") for r in read_capture(path).records]
    assert found == list(range(len(found)))
    # At 5 ms a record (more on a busy machine) a second is 200 of them at most.
    assert len(found) > noted - 400
