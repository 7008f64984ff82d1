"""The BLE driver: unmodified bleak on a private D-Bus, a played BlueZ and simulated heads behind.

What BlueZ looks like on the bus is from its own interface documents (5.66); UUIDs and sizes are
those of SPEC.md section 11.
"""

import asyncio
import contextlib
import time

import numpy as np
import pytest

from ingest.commands.demo_rig import build, wall_clock
from ingest.core.blocks import RawRun
from ingest.core.counters import LinkCounters
from ingest.core.errors import LinkDenied, LinkError, LinkLost, LinkNotFound, LinkTimeout
from ingest.core.ids import MonotonicNs
from ingest.core.ports import LinkForm
from ingest.drivers.ble import BleLink, BleSettings
from ingest.drivers.serial import SerialLink, SerialSettings
from ingest.service.backoff import BackoffSettings
from ingest.service.linkkeeper import KeeperSettings, LinkKeeper, LinkState
from ingest.service.watchdog import WatchdogSettings
from ingest.simulator.bluez.blehead import BleHead, RadioFaults
from ingest.simulator.bluez.bus import private_bus
from ingest.simulator.bluez.daemon import FakeBluez
from ingest.simulator.faults import FaultPlan
from ingest.wire.codes import CommandOp
from ingest.wire.commands import ClockPing, Command
from ingest.wire.decoder import Decoder
from ingest.wire.hello import Hello
from ingest.wire.outgoing import outgoing
from ingest.wire.reports import Ack, ClockPong, Event

pytestmark = [pytest.mark.real]
SHORT = {"scan_s": 2.0, "open_timeout_s": 4.0, "close_timeout_s": 1.0, "send_timeout_s": 1.0}


def now_ns():
    return MonotonicNs(time.monotonic_ns())


@pytest.fixture
def bus(real_part, monkeypatch):
    real_part("dbus-daemon")
    with private_bus() as address:
        monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", address)
        yield address


class Beat:
    """The rig's time: that of the wall, but where the machine is too busy it goes slower."""

    step_s = 0.010

    def __init__(self):
        self.now_s = 0.0

    def __call__(self):
        return self.now_s

    async def run(self):
        while True:
            await asyncio.sleep(self.step_s)
            self.now_s += self.step_s


class Radio:
    """A played daemon with heads around it, and links to them."""

    def __init__(self, address, *, mtu=23, rate_hz=200.0, count=1, adapter=True):
        self.beat = clock = Beat()
        demo = build(3, "rigid-8x4", clock, rate_hz)
        self.heads = []
        for at, pty in enumerate(list(demo.ptys.values())[:count]):
            pty.firmware.faults.plan = FaultPlan()
            self.heads.append(BleHead(pty.firmware, clock, f"02:00:00:00:10:{at:02x}", mtu))
        self.fake = FakeBluez(address, self.heads, adapter=adapter)
        turn = asyncio.Lock()
        self.links = [BleLink(BleSettings(h.address, **SHORT), now_ns, turn) for h in self.heads]
        self.task = None

    async def __aenter__(self):
        await self.fake.start()
        self.task = asyncio.create_task(self.fake.run())
        self.beating = asyncio.create_task(self.beat.run())
        return self

    async def __aexit__(self, *_):
        for link in self.links:
            await link.close()
        self.task.cancel()
        self.beating.cancel()
        await asyncio.gather(self.task, self.beating, return_exceptions=True)
        await self.fake.die()


class Taken:
    """Everything that came out of a link."""

    def __init__(self, form=LinkForm.BODIES):
        self.counters = LinkCounters()
        self.decoder = Decoder(self.counters, form)
        self.items = []

    @property
    def seq(self):
        runs = [item.seq for item in self.items if isinstance(item, RawRun)]
        return np.concatenate(runs) if runs else np.array([], int)

    def all(self, kind):
        return [item for item in self.items if isinstance(item, kind)]

    async def from_link(self, link, seconds):
        """Take for some time; the link's failure passes through."""
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(seconds):
                async for chunk in link.chunks():
                    self.items += self.decoder.feed(chunk.data, chunk.arrived_ns)
        return self

    async def until(self, link, holds):
        """Take until that holds, however long a busy machine needs."""
        async with asyncio.timeout(30):
            while not holds():
                await self.from_link(link, 0.05)
        return self

    async def samples(self, link, count):
        """Take so many samples."""
        return await self.until(link, lambda: len(self.seq) >= count)


@pytest.mark.parametrize("mtu", [23, 247])
def test_four_heads_at_two_hundred_a_second_leave_no_gap(bus, mtu):
    async def play():
        async with Radio(bus, mtu=mtu, count=4) as radio:
            await asyncio.gather(*(link.open() for link in radio.links))
            return await asyncio.gather(*(Taken().samples(link, 600) for link in radio.links))

    for taken in asyncio.run(play()):
        assert set(np.diff(taken.seq) % 65536) == {1}
        assert not taken.counters.faults
        assert taken.counters.orphans <= 1  # subscribed between the two sets of a sample


def test_the_sheet_comes_first_and_again_when_asked(bus):
    async def play():
        async with Radio(bus) as radio:
            (link,) = radio.links
            await link.open()
            await link.ask_hello(b"not needed on this link")
            return radio.heads[0], await Taken().from_link(link, 0.5)

    head, taken = asyncio.run(play())
    assert isinstance(taken.items[0], Hello)
    assert [hello.head for hello in taken.all(Hello)] == [head.firmware.hello().head] * 2


def test_a_head_is_found_by_the_name_that_it_advertises(bus):
    async def play():
        async with Radio(bus) as radio:
            settings = BleSettings(radio.heads[0].name.upper(), **SHORT)
            link = BleLink(settings, now_ns, asyncio.Lock())
            await link.open()
            await link.close()
            return radio.heads[0].name

    assert asyncio.run(play()).startswith("head-")


@pytest.mark.parametrize("by", ["address", "name"])
def test_a_head_that_a_broken_session_left_connected_is_taken_over(bus, by):
    # It does not advertise then, so that no scan would find it.
    async def play():
        async with Radio(bus) as radio:
            head = radio.heads[0]
            head.connect()
            link = BleLink(BleSettings(getattr(head, by), **SHORT), now_ns, asyncio.Lock())
            await link.open()
            taken = await Taken().samples(link, 20)
            await link.close()
            return taken

    assert set(np.diff(asyncio.run(play()).seq) % 65536) == {1}


def test_commands_pings_and_the_button_find_their_characteristics(bus):
    async def play():
        async with Radio(bus) as radio:
            (link,) = radio.links
            await link.open()
            await link.send(outgoing(Command(CommandOp.IDENTIFY, 7, 50), LinkForm.BODIES))
            await link.send(outgoing(ClockPing(9), LinkForm.BODIES))
            radio.heads[0].press()
            taken = Taken()
            said = (Ack, ClockPong, Event)
            await taken.until(link, lambda: all(taken.all(kind) for kind in said))
            return await taken.from_link(link, 0.2)

    taken = asyncio.run(play())
    assert [ack.command_id for ack in taken.all(Ack)] == [7]
    assert [pong.ping_id for pong in taken.all(ClockPong)] == [9]
    assert len(taken.all(Event)) == 1


def test_lost_notifications_are_gaps_of_that_size(bus):
    async def play():
        async with Radio(bus) as radio:
            radio.heads[0].faults = RadioFaults(lose_every=49)
            await radio.links[0].open()
            return await Taken().samples(radio.links[0], 300)

    taken = asyncio.run(play())
    steps = np.diff(taken.seq) % 65536
    assert set(steps) <= {1, 2}
    assert (steps == 2).sum() >= 4
    assert abs((steps == 2).sum() - taken.counters.orphans) <= 1  # one may be the last


def test_late_notifications_come_whole_and_in_order(bus):
    async def play():
        async with Radio(bus) as radio:
            radio.heads[0].faults = RadioFaults(late_s=0.3)
            await radio.links[0].open()
            return await Taken().samples(radio.links[0], 300)

    taken = asyncio.run(play())
    assert set(np.diff(taken.seq) % 65536) == {1}


def test_a_broken_link_is_lost_at_once_and_opens_again(bus):
    async def play():
        async with Radio(bus) as radio:
            (link,) = radio.links
            await link.open()
            await Taken().from_link(link, 0.3)
            radio.heads[0].disconnect()
            with pytest.raises(LinkLost, match="the link broke"):
                await Taken().from_link(link, 2.0)
            await link.open()
            return await Taken().samples(link, 40)

    assert set(np.diff(asyncio.run(play()).seq) % 65536) == {1}


def test_a_head_that_restarts_is_known_by_its_new_boot(bus):
    async def play():
        async with Radio(bus) as radio:
            (link,) = radio.links
            await link.open()
            before = await Taken().samples(link, 20)
            radio.heads[0].reset()
            await link.open()
            return before, await Taken().samples(link, 20)

    before, after = asyncio.run(play())
    assert after.all(Hello)[0].boot != before.all(Hello)[0].boot
    assert after.all(Hello)[0].head == before.all(Hello)[0].head


def test_a_daemon_that_dies_falls_silent_and_is_found_again(bus):
    # bleak does not report it: the service's watchdog sees the silence and opens the link anew.
    async def play():
        async with Radio(bus) as radio:
            (link,) = radio.links
            await link.open()
            before = await Taken().samples(link, 20)
            await radio.fake.die()
            await before.from_link(link, 0.2)  # what was under way
            heard = len(before.seq)
            await before.from_link(link, 0.3)
            assert len(before.seq) == heard
            with pytest.raises(LinkError) as failed:
                await link.open()
            assert failed.value.retryable
            radio.fake = FakeBluez(bus, radio.heads)
            await radio.fake.start()
            radio.task.cancel()
            radio.task = asyncio.create_task(radio.fake.run())
            await link.open()
            return await Taken().samples(link, 40)

    taken = asyncio.run(play())
    assert set(np.diff(taken.seq) % 65536) == {1}


def test_a_keeper_brings_a_head_back_after_the_daemon_died(bus):
    states, changed = [], asyncio.Event()
    settings = KeeperSettings(BackoffSettings(0.05, 0.1, 0.2, 0.5), WatchdogSettings(0.4, 0.1))

    def on_state(change):
        states.append(change.state)
        changed.set()

    async def until(state):
        async with asyncio.timeout(10):
            while states[-1] is not state:
                changed.clear()
                await changed.wait()

    async def play():
        heard = asyncio.Event()

        async def on_chunk(chunk):
            keeper.note_good(chunk.arrived_ns)
            heard.set()

        async with Radio(bus) as radio:
            keeper = LinkKeeper(
                radio.links[0],
                settings,
                clock=now_ns,
                random=lambda: 0.5,
                on_chunk=on_chunk,
                on_state=on_state,
            )
            keeping = asyncio.create_task(keeper.run())
            await asyncio.wait_for(heard.wait(), 5)
            await radio.fake.die()
            await until(LinkState.ABSENT)
            heard.clear()
            await radio.fake.start()
            await asyncio.wait_for(heard.wait(), 10)
            await until(LinkState.OPEN)
            keeping.cancel()
            await asyncio.gather(keeping, return_exceptions=True)
            return keeper.reconnects

    reconnects = asyncio.run(play())
    assert reconnects >= 1
    # Bleak says nothing of a daemon that died: first there is silence, then nobody to ask.
    assert states[:2] == [LinkState.OPENING, LinkState.OPEN]
    assert LinkState.SILENT in states


def test_something_else_of_that_name_is_no_head(bus, monkeypatch):
    whole = BleHead.objects

    def without_sheet(head, path):
        return [each for each in whole(head, path) if not each[0].endswith("char0021")]

    monkeypatch.setattr(BleHead, "objects", without_sheet)

    async def play():
        async with Radio(bus) as radio:
            await radio.links[0].open()

    with pytest.raises(LinkDenied, match="no head of this protocol"):
        asyncio.run(play())


def test_a_head_that_is_not_there_is_not_seen(bus):
    async def play():
        async with Radio(bus):
            link = BleLink(BleSettings("02:00:00:00:99:99", **SHORT), now_ns, asyncio.Lock())
            await link.open()

    with pytest.raises(LinkNotFound, match="not seen within 2 s"):
        asyncio.run(play())


def test_a_head_that_does_not_bond_says_what_to_do(bus):
    async def play():
        async with Radio(bus) as radio:
            radio.heads[0].device.bonds = False
            await radio.links[0].open()

    with pytest.raises(LinkDenied, match="bonded link only"):
        asyncio.run(play())


def test_a_radio_that_is_switched_off_is_said_in_words(bus):
    async def play():
        async with Radio(bus) as radio:
            radio.fake.power(False)
            await radio.links[0].open()

    with pytest.raises(LinkNotFound, match="switched off"):
        asyncio.run(play())


def test_a_machine_without_a_radio_is_said_in_words(bus):
    async def play():
        async with Radio(bus, adapter=False) as radio:
            await radio.links[0].open()

    with pytest.raises(LinkNotFound, match="no Bluetooth adapter"):
        asyncio.run(play())


def test_a_bus_without_the_daemon_is_said_in_words(bus):
    with pytest.raises(LinkNotFound, match="Bluetooth"):
        asyncio.run(BleLink(BleSettings("x", **SHORT), now_ns, asyncio.Lock()).open())


def test_a_machine_without_a_bus_is_said_in_words(monkeypatch, tmp_path):
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", f"unix:path={tmp_path}/none")
    with pytest.raises(LinkNotFound, match="no Bluetooth service"):
        asyncio.run(BleLink(BleSettings("x", **SHORT), now_ns, asyncio.Lock()).open())


def test_a_serial_head_goes_on_where_there_is_no_bluetooth(monkeypatch, tmp_path):
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", f"unix:path={tmp_path}/none")
    clock = wall_clock()
    pty = next(iter(build(3, "rigid-8x4", clock, 100.0).ptys.values()))
    pty.firmware.faults.plan = FaultPlan()

    async def play():
        port = SerialLink(SerialSettings(pty.plug()), now_ns)
        feeding = asyncio.create_task(pty.run())
        radio = BleLink(BleSettings("x", **SHORT), now_ns, asyncio.Lock())
        await port.open()
        await port.ask_hello(outgoing(Command(CommandOp.HELLO, 1), LinkForm.STREAM))
        taken = Taken(LinkForm.STREAM)
        for count in (50, 100, 150):
            with pytest.raises(LinkNotFound):
                await radio.open()
            await taken.samples(port, count)
        await port.close()
        feeding.cancel()
        await asyncio.gather(feeding, return_exceptions=True)
        pty.unplug()
        return taken

    taken = asyncio.run(play())
    assert not taken.counters.faults
    assert set(np.diff(taken.seq) % 65536) == {1}


def test_a_link_that_is_not_open_sends_nothing():
    link = BleLink(BleSettings("x"), now_ns, asyncio.Lock())
    with pytest.raises(LinkLost, match="not open"):
        asyncio.run(link.send(b"\xb4"))


def test_a_command_that_nobody_takes_meets_its_deadline(bus):
    async def play():
        async with Radio(bus) as radio:
            (link,) = radio.links
            await link.open()
            await radio.fake.die()
            await link.send(outgoing(Command(CommandOp.START, 3), LinkForm.BODIES))

    with pytest.raises((LinkTimeout, LinkLost, LinkNotFound)):
        asyncio.run(play())


def test_an_empty_name_is_refused():
    with pytest.raises(ValueError, match="ble must be"):
        BleSettings(" ")
