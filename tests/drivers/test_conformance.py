"""Every way in is the same way: the same samples in, the same topics out.

One head's session is made once, by the simulated firmware in simulated time. It is then sent
through each driver with its real means (a pty, a played radio on a real bus, a capture file on
disk), and what comes out must be the same messages, byte for byte.
"""

import asyncio
import os
import time
import tty

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
from ingest.wire.codes import MessageType
from ingest.wire.framing import Deframer

SECONDS = 3.0
STEP_S = 0.02
EPOCH_NS = 1_800_000_000_000_000_000


def session():
    """Return the bytes of each 20 ms of a head's session, and the firmware that made them."""
    demo = build(11, "rigid-8x4", lambda: 0.0, 100.0)
    firmware = demo.ptys["alder"].firmware
    firmware.faults.plan = FaultPlan()
    pieces = [b"\0" + firmware.boot(0.0)]
    pieces += [firmware.run(i * STEP_S) for i in range(1, round(SECONDS / STEP_S))]
    return pieces, firmware


def bodies_of(data):
    return Deframer(LinkCounters()).feed(b"\0" + data)


def said_of(bodies):
    """Return the messages that the service's workings make of bodies, a millisecond apart."""
    said = []

    class Outlet:
        def publish(self, topic, payload, *, retain, qos, expiry_s):
            said.append((topic, payload))

        def reply(self, request, payload):
            said.append((request.reply_topic, payload))

    told, topics = Told([]), Topics("bay1")
    forms = {"head": LinkForm.BODIES}
    workings = Workings(
        WorkSettings(), topics, forms, Outlet(), NoHands(), names=told, records=told, boot="b-1"
    )
    workings.take(moment(0), LinkIs("head", LinkChange(LinkState.OPEN, None), 0))
    for count, body in enumerate(bodies, start=1):
        workings.take(moment(count), Arrived("head", body))
    workings.take(moment(len(bodies) + 1), Second({"head": 0}))
    return said


def moment(count):
    at_ns = 10**9 + count * 5_000_000
    return Moment(MonotonicNs(at_ns), EPOCH_NS + at_ns)


async def taken(link, count, opened):
    """Open a link and take chunks until so many bodies have come."""
    await link.open()
    opened.set()
    found, deframer = [], Deframer(LinkCounters())
    async with asyncio.timeout(20):
        async for chunk in link.chunks():
            if link.form is LinkForm.BODIES:
                found.append(chunk.data)
            else:
                found += deframer.feed(chunk.data)
            if len(found) >= count:
                break
    await link.close()
    return found


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
        found, _ = await asyncio.gather(taken(link, count, opened), send())
    finally:
        os.close(master)
        os.close(slave)
    return found


async def by_radio(pieces, firmware, count, _tmp_path, mtu):
    with private_bus() as address:
        os.environ["DBUS_SYSTEM_BUS_ADDRESS"] = address
        head = BleHead(firmware, lambda: 0.0, "02:00:00:00:10:01", mtu)
        # Its own boot made another sheet; the session's is the one to be read.
        head._route(pieces[0])
        daemon = FakeBluez(address, [head])
        await daemon.start()
        link = BleLink(BleSettings(head.address), now_ns, asyncio.Lock())

        opened = asyncio.Event()

        async def advertise():
            while not opened.is_set():
                head.device.advertise()
                await asyncio.sleep(0.05)
            for piece in pieces[1:]:
                head._route(piece)
                head._flush_batch()
                await asyncio.sleep(0.002)

        try:
            found, _ = await asyncio.gather(taken(link, count, opened), advertise())
        finally:
            await daemon.die()
            del os.environ["DBUS_SYSTEM_BUS_ADDRESS"]
    return found


async def by_small_notifications(*args):
    return await by_radio(*args, 23)


async def by_capture(pieces, _firmware, _count, tmp_path):
    writer = CaptureWriter(tmp_path / "x.mcap", pytest.fail)
    for at, piece in enumerate(pieces):
        writer.note("bytes/head", piece, at, at)
    writer.close()
    deframer = Deframer(LinkCounters())
    records = read_capture(tmp_path / "x.mcap").records
    return [body for record in records for body in deframer.feed(record.data)]


def now_ns():
    return MonotonicNs(time.monotonic_ns())


WAYS = {"serial": by_serial, "radio": by_small_notifications, "capture": by_capture}


@pytest.mark.real
@pytest.mark.parametrize("way", WAYS)
def test_the_same_samples_make_the_same_topics(way, real_part, tmp_path):
    if way == "radio":
        real_part("dbus-daemon")
    pieces, firmware = session()
    sent = bodies_of(b"".join(pieces))
    if way == "radio":  # the sheet is read, once, and not notified
        sent = sent[:1] + [body for body in sent[1:] if body[0] != MessageType.HELLO]
    came = asyncio.run(WAYS[way](pieces, firmware, len(sent), tmp_path))
    assert came == sent
    said = said_of(came)
    assert said == said_of(sent)
    assert sum("/incl_y" in topic for topic, _ in said) >= 3
