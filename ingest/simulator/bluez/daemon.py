"""A Bluetooth daemon that is played: on the bus it looks like BlueZ, behind it are heads."""

import asyncio
import contextlib
from collections.abc import Sequence

from dbus_fast import Message
from dbus_fast.aio import MessageBus

from ingest.simulator.bluez.blehead import BleHead
from ingest.simulator.bluez.objects import Adapter

NAME = "org.bluez"
ADAPTER_PATH = "/org/bluez/hci0"
TICK_S = 0.010
ADVERTISE_S = 0.1
BUNCH = 16
"""So many notifications of a head go out before the bus has to have caught up."""


class FakeBluez:
    """Plays the daemon with one radio and the given heads around it."""

    def __init__(self, address: str, heads: Sequence[BleHead], *, adapter: bool = True) -> None:
        self._address = address
        self._heads = heads
        self._with_adapter = adapter
        self._bus: MessageBus | None = None
        self.adapter = Adapter()

    async def start(self) -> None:
        """Appear on the bus. Also after ``die``."""
        bus = MessageBus(bus_address=self._address)
        await bus.connect()
        if self._with_adapter:
            bus.export(ADAPTER_PATH, self.adapter)
            for head in self._heads:
                path = f"{ADAPTER_PATH}/dev_{head.address.replace(':', '_')}"
                head.device.adapter_path = ADAPTER_PATH
                bus.export(path, head.device)
                for place, each in head.objects(path):
                    bus.export(place, each)
        await bus.request_name(NAME)
        self._bus = bus

    async def die(self) -> None:
        """Vanish from the bus without a word, as a process does that is killed."""
        if self._bus is not None:
            self._bus.disconnect()
            await self._bus.wait_for_disconnect()  # type: ignore[no-untyped-call]
            self._bus = None
        self.adapter.discovering = False
        for head in self._heads:
            head.device.connected = head.device.resolved = False

    def power(self, on: bool) -> None:
        """Switch the radio."""
        self.adapter.powered = on
        self.adapter.emit_properties_changed({"Powered": on})
        if not on:
            for head in self._heads:
                head.disconnect()

    async def run(self) -> None:
        """Let the heads send and advertise until cancelled."""
        loop = asyncio.get_running_loop()
        next_s = advertised_s = loop.time()
        while True:
            for head in self._heads:
                head.run_once()
            await self._send()
            if self.adapter.discovering and loop.time() - advertised_s > ADVERTISE_S:
                advertised_s = loop.time()
                for head in self._heads:
                    if not head.device.connected:
                        head.device.advertise()
            next_s = max(next_s + TICK_S, loop.time() - TICK_S)
            await asyncio.sleep(max(next_s - loop.time(), 0.0))

    async def _send(self) -> None:
        """Send what is due no faster than the bus takes it.

        The library gives up a connection whose buffer is full, which a busy machine makes happen.
        """
        while self._bus is not None:
            sent = [head.send(BUNCH) for head in self._heads]
            if not any(sent):
                return
            with contextlib.suppress(EOFError, OSError):  # died meanwhile
                await self._bus.call(ping())


def ping() -> Message:
    """Return a question that the bus answers once it has read all that came before."""
    return Message(
        destination="org.freedesktop.DBus",
        path="/org/freedesktop/DBus",
        interface="org.freedesktop.DBus.Peer",
        member="Ping",
    )
