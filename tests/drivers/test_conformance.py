"""Every way in is the same way: the same samples in, the same topics out.

One head's session is made once, by the simulated firmware in simulated time. It is then sent
through each driver with its real means (a pty, a played radio on a real bus, a capture file on
disk). The service's workings take what came as that link's own chunks, at times that are the
same for all, and must publish the same values on the same topics.
"""

import asyncio
import contextlib
import json
import os
import time
import tty
from dataclasses import dataclass

import pytest

from ingest.capture.reader import read_capture
from ingest.capture.writer import CaptureWriter
from ingest.commands.demo_rig import build
from ingest.core.counters import LinkCounters
from ingest.core.ids import MonotonicNs
from ingest.core.ports import LinkForm
from ingest.drivers.ble import BleLink, BleSettings
from ingest.drivers.serial import SerialLink, SerialSettings
from ingest.payload.topics import Topics
from ingest.service.inputs import Arrived, LinkIs, Moment, Second
from ingest.service.linkkeeper import LinkChange, LinkState
from ingest.service.player import NoHands, Told
from ingest.service.workings import Workings, WorkSettings
from ingest.simulator.bluez.blehead import BleHead
from ingest.simulator.bluez.bus import private_bus
from ingest.simulator.bluez.daemon import FakeBluez
from ingest.simulator.faults import FaultPlan
from ingest.store.database import open_database
from ingest.store.records import StoredRecords
from ingest.wire.codes import MessageType
from ingest.wire.framing import DELIMITER, Deframer
from tests.rig.portserver import PortServer

SECONDS = 3.0
"""Less than the firmware's rest between hellos, which a sheet has no equal of."""
STEP_S = 0.02
EPOCH_NS = time.time_ns()
"""Now, as the rig's calibration is of yesterday."""
BY_SAMPLE_NS = 5_000_000


@dataclass(frozen=True, slots=True)
class Came:
    """What came out of a link: chunks of its form, each cut so that it holds one body."""

    form: LinkForm
    chunks: list[bytes]

    @property
    def bodies(self):
        if self.form is LinkForm.BODIES:
            return self.chunks
        return Deframer(LinkCounters()).feed(b"".join(self.chunks))


def rig():
    return build(11, "rigid-8x4", lambda: 0.0, 100.0)


@contextlib.contextmanager
def calibrated():
    """Yield records by which readings have as many digits as they ever have."""
    with contextlib.closing(open_database(":memory:")) as store:
        records = StoredRecords(store)
        for text in rig().records:
            records.add(text, "simulated bench")
        yield records


def session():
    """Return the bytes of each 20 ms of a head's session, and the firmware that made them."""
    demo = rig()
    firmware = demo.ptys["alder"].firmware
    firmware.faults.plan = FaultPlan()
    pieces = [firmware.boot(0.0)]
    pieces += [firmware.run(i * STEP_S) for i in range(1, round(SECONDS / STEP_S))]
    return pieces, firmware


def frames_of(data):
    """Cut a stream behind each delimiter that ends a frame."""
    return [part + DELIMITER for part in data.split(DELIMITER) if part]


def said_of(came):
    """Return what the service's workings publish of a head: topics and values."""
    said = []

    class Outlet:
        def publish(self, topic, payload, *, retain, qos, expiry_s):
            said.append((topic, payload))

        def reply(self, request, payload):
            said.append((request.reply_topic, payload))

    with calibrated() as records:
        workings = Workings(
            WorkSettings(),
            Topics("bay1"),
            {"head": came.form},
            Outlet(),
            NoHands(),
            names=Told([]),
            records=records,
            boot="b-1",
        )
        play(workings, came)
    return [(topic, json.loads(payload)) for topic, payload in said]


def play(workings, came):
    """Give all that came to the workings, each sample a few milliseconds; a batch at its last."""
    workings.take(moment(0), LinkIs("head", LinkChange(LinkState.OPEN, None), 0))
    chunks = list(came.chunks)
    if came.form is LinkForm.STREAM:
        chunks[0] = DELIMITER + chunks[0]
    count = 0
    for chunk in chunks:
        batch = came.form is LinkForm.BODIES and chunk[0] == MessageType.BATCH
        count += chunk[1] if batch else 1
        workings.take(moment(count), Arrived("head", chunk))
    workings.take(moment(count + 1), Second({"head": 0}))


def moment(count):
    at_ns = 10**9 + count * BY_SAMPLE_NS
    return Moment(MonotonicNs(at_ns), EPOCH_NS + at_ns)


def alike(said):
    """Leave out what names the kind of link; all else is to be the same."""
    return [
        (topic, {name: value for name, value in fields.items() if name != "link"})
        for topic, fields in said
    ]


def readings(said):
    """Return the live readings: topic, count, value."""
    return [(topic, fields["seq"], fields["value"]) for topic, fields in said if "rate" in fields]


async def taken(link, count, opened):
    """Open a link and take chunks until so many bodies have come."""
    await link.open()
    opened.set()
    chunks, deframer, bodies = [], Deframer(LinkCounters()), 0
    async with asyncio.timeout(20):
        async for chunk in link.chunks():
            chunks.append(chunk.data)
            bodies += 1 if link.form is LinkForm.BODIES else len(deframer.feed(chunk.data))
            if bodies >= count:
                break
    await link.close()
    if link.form is LinkForm.STREAM:
        chunks = frames_of(b"".join(chunks))
    return Came(link.form, chunks)


async def by_serial(pieces, _firmware, count, _tmp_path):
    master, slave = os.openpty()
    tty.setraw(slave)
    link = SerialLink(SerialSettings(os.ttyname(slave)), now_ns)
    opened = asyncio.Event()

    async def send():
        await opened.wait()
        for piece in pieces:
            os.write(master, piece)
            await asyncio.sleep(0.002)

    try:
        came, _ = await asyncio.gather(taken(link, count, opened), send())
    finally:
        os.close(master)
        os.close(slave)
    return came


async def by_socket(pieces, _firmware, count, _tmp_path):
    """A serial port that a device server gives as a bare TCP connection."""

    writers, opened = [], asyncio.Event()

    async def serve(_reader, writer):
        writers.append(writer)
        await opened.wait()  # what waited in the line before is thrown away
        for piece in pieces:
            writer.write(piece)
            await writer.drain()
            await asyncio.sleep(0.002)

    server = await asyncio.start_server(serve, "127.0.0.1", 0)
    port = server.sockets[0].getsockname()[1]
    link = SerialLink(SerialSettings(f"socket://127.0.0.1:{port}"), now_ns)
    async with server:
        try:
            return await taken(link, count, opened)
        finally:
            for writer in writers:
                writer.close()
                await writer.wait_closed()


async def by_rfc2217(pieces, _firmware, count, _tmp_path):
    """A serial port that is served with its settings (RFC 2217), by pyserial's own far side."""
    server = PortServer()
    link = SerialLink(SerialSettings(server.path), now_ns)
    opened = asyncio.Event()

    async def send():
        await opened.wait()
        for piece in pieces:
            server.port.write(piece)  # it is looped back: what it writes it reads, and sends
            await asyncio.sleep(0.002)

    try:
        came, _ = await asyncio.gather(taken(link, count, opened), send())
    finally:
        server.vanish()
    return came


async def by_radio(pieces, firmware, count, mtu):
    with private_bus() as address:
        os.environ["DBUS_SYSTEM_BUS_ADDRESS"] = address
        head = BleHead(firmware, lambda: 0.0, "02:00:00:00:10:01", mtu)
        head.say(pieces[0])  # its own boot made another sheet; the session's is to be read
        daemon = FakeBluez(address, [head])
        await daemon.start()
        link = BleLink(BleSettings(head.address), now_ns, asyncio.Lock())
        opened = asyncio.Event()

        async def send():
            while not opened.is_set():
                head.device.advertise()
                await asyncio.sleep(0.05)
            for piece in pieces[1:]:
                head.say(piece)
                head.send(100)
                await asyncio.sleep(0.002)

        try:
            came, _ = await asyncio.gather(taken(link, count, opened), send())
        finally:
            await daemon.die()
            del os.environ["DBUS_SYSTEM_BUS_ADDRESS"]
    return came


async def by_small_notifications(pieces, firmware, count, _tmp_path):
    return await by_radio(pieces, firmware, count, 23)


async def by_capture(pieces, _firmware, _count, tmp_path):
    writer = CaptureWriter(tmp_path / "x.mcap", pytest.fail)
    for at, piece in enumerate(pieces):
        writer.note("bytes/head", piece, at, at)
    writer.close()
    records = read_capture(tmp_path / "x.mcap").records
    return Came(LinkForm.STREAM, frames_of(b"".join(record.data for record in records)))


def now_ns():
    return MonotonicNs(time.monotonic_ns())


WAYS = {
    "serial": by_serial,
    "socket": by_socket,
    "rfc2217": by_rfc2217,
    "radio": by_small_notifications,
    "capture": by_capture,
}
"""A new way in joins here; it says in which form its chunks come."""


@pytest.mark.real
@pytest.mark.filterwarnings("ignore:set(Daemon|Name)\\(\\):DeprecationWarning")  # pyserial 3.5
@pytest.mark.parametrize("way", WAYS)
def test_the_same_samples_make_the_same_topics(way, real_part, tmp_path):
    if way == "radio":
        real_part("dbus-daemon")
    pieces, firmware = session()
    sent = Deframer(LinkCounters()).feed(DELIMITER + b"".join(pieces))
    came = asyncio.run(WAYS[way](pieces, firmware, len(sent), tmp_path))
    assert came.bodies == sent
    said = said_of(came)
    assert alike(said) == alike(said_of(Came(LinkForm.BODIES, sent)))
    assert len(readings(said)) > 30
    kinds = {fields["link"] for _, fields in said if "link" in fields}
    assert kinds == {"ble" if way == "radio" else "serial"}


@pytest.mark.real
def test_batches_bring_the_readings_that_samples_bring(real_part):
    real_part("dbus-daemon")
    pieces, firmware = session()
    sent = Deframer(LinkCounters()).feed(DELIMITER + b"".join(pieces))
    # Two samples of two sets lie in each 20 ms, and fill one batch.
    samples = sum(body[0] in (MessageType.SAMPLE_0, MessageType.SAMPLE_1) for body in sent)
    count = len(sent) - samples + len(pieces) - 1
    came = asyncio.run(by_radio(pieces, firmware, count, 247))
    assert any(body[0] == MessageType.BATCH for body in came.bodies)
    whole = readings(said_of(Came(LinkForm.BODIES, sent)))
    assert len(whole) > 30
    assert readings(said_of(came)) == whole
