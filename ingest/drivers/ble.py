"""A head on Bluetooth LE, as a ``Link`` (SPEC.md section 11), by way of bleak."""

import asyncio
import logging
from collections.abc import AsyncIterator, Awaitable
from dataclasses import dataclass
from typing import TypeVar

from bleak import BleakAdapter, BleakClient, BleakScanner
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData

from ingest.core.errors import LinkError, LinkLost, LinkNotFound, LinkTimeout
from ingest.core.ids import MonotonicNs
from ingest.core.ports import Chunk, LinkForm, MonotonicClock
from ingest.drivers.ble_errors import BLE_ERRORS, link_error, wants_bond
from ingest.drivers.chunk_queue import ChunkQueue

log = logging.getLogger(__name__)
T = TypeVar("T")

BASE_UUID = "4020{:04x}-3702-4878-aecf-9e851220f538"
SERVICE, SAMPLE, BATCH, SHEET, CONTROL, CLOCK = (BASE_UUID.format(n) for n in range(1, 7))
PING = 0xB3
"""First byte of what goes to the clock's characteristic; all else goes to control."""

QUEUE_CHUNKS = 4096
"""At two hundred notifications a second: twenty seconds of nobody listening."""


@dataclass(frozen=True, slots=True)
class BleSettings:
    """One head. ``head`` is its address or the name that it advertises.

    Raises ``ValueError`` for what cannot be.
    """

    head: str
    adapter: str | None = None
    scan_s: float = 10.0
    open_timeout_s: float = 20.0
    send_timeout_s: float = 2.0
    close_timeout_s: float = 3.0

    def __post_init__(self) -> None:
        if not self.head.strip():
            raise ValueError("ble must be an address or a name, not empty")

    @property
    def name(self) -> str:
        """What messages call the link."""
        return f"ble:{self.head}"


class BleLink:
    """Bodies of one head, one a notification.

    ``turn`` is the adapter's: heads that share an adapter are sought and connected one after
    the other, since a radio does one such thing at a time.
    """

    def __init__(self, settings: BleSettings, clock: MonotonicClock, turn: asyncio.Lock) -> None:
        self._settings = settings
        self._clock = clock
        self._turn = turn
        self._queue = ChunkQueue(QUEUE_CHUNKS)
        self._client: BleakClient | None = None

    @property
    def name(self) -> str:
        """What a person configured."""
        return self._settings.name

    @property
    def form(self) -> LinkForm:
        """One body a notification."""
        return LinkForm.BODIES

    @property
    def dropped(self) -> int:
        """Chunks dropped since the link was made, oldest first, as nobody took them in time."""
        return self._queue.dropped

    async def open(self) -> None:
        """Find the head, connect, read its sheet, subscribe. Raises ``LinkError``."""
        await self.close()
        async with self._turn:
            try:
                async with asyncio.timeout(self._settings.scan_s + self._settings.open_timeout_s):
                    device = await self._find()
                    await self._connect(device)
            except BLE_ERRORS as error:
                await self.close()
                raise link_error(self.name, error) from error
            except LinkError:
                await self.close()
                raise

    def chunks(self) -> AsyncIterator[Chunk]:
        """Yield bodies until the link fails: ``LinkLost``."""
        return aiter(self._queue)

    async def send(self, data: bytes) -> None:
        """Write a command, or a ping. Raises ``LinkError``."""
        where = CLOCK if data[:1] == bytes([PING]) else CONTROL
        client = self._connected()
        await self._within(client.write_gatt_char(where, data, response=where == CONTROL))

    async def ask_hello(self, command: bytes) -> None:
        """Read the sheet: over this link no command brings a hello."""
        sheet = await self._within(self._connected().read_gatt_char(SHEET))
        self._take(sheet)

    def rest(self, until_ns: MonotonicNs) -> None:
        """Take note of nothing: the radio wakes us by its own rhythm."""

    async def close(self) -> None:
        """Let the head go. Idempotent; never raises for its trouble."""
        client, self._client = self._client, None
        if client is None:
            return
        try:
            async with asyncio.timeout(self._settings.close_timeout_s):
                await client.disconnect()
        except BLE_ERRORS as error:
            log.debug("while closing %s: %s", self.name, error)

    async def _find(self) -> BLEDevice:
        """Look among the connected first: one that a broken session left so does not advertise."""
        wanted, adapter = self._settings.head.lower(), self._settings.adapter

        def is_it(device: BLEDevice, seen: AdvertisementData | None = None) -> bool:
            names = (device.address, device.name, None if seen is None else seen.local_name)
            return wanted in [(name or "").lower() for name in names]

        system = await BleakAdapter.get(bluez={"adapter": adapter} if adapter else {})
        for device in await system.get_connected_devices([SERVICE]):
            if is_it(device):
                return device
        found = await BleakScanner.find_device_by_filter(
            is_it, timeout=self._settings.scan_s, bluez={"adapter": adapter} if adapter else {}
        )
        if found is None:
            raise LinkNotFound(
                self.name,
                f"not seen within {self._settings.scan_s:g} s; is it on, near, and not held by "
                "another host?",
            )
        return found

    async def _connect(self, device: BLEDevice) -> None:
        client = BleakClient(
            device,
            disconnected_callback=self._on_disconnected,
            timeout=self._settings.open_timeout_s,
        )
        await client.connect()
        self._client = client
        self._queue.restart()
        self._take(await client.read_gatt_char(SHEET))
        await self._subscribe_control(client)
        for uuid in (CLOCK, BATCH, SAMPLE):
            if client.services.get_characteristic(uuid) is not None:
                await client.start_notify(uuid, self._on_notified)

    async def _subscribe_control(self, client: BleakClient) -> None:
        """Subscribe to what needs a bond; make the bond where there is none."""
        try:
            await client.start_notify(CONTROL, self._on_notified)
        except BLE_ERRORS as error:
            if not wants_bond(error):
                raise
            await client.pair()
            await client.start_notify(CONTROL, self._on_notified)

    def _on_notified(self, _sender: object, data: bytearray) -> None:
        self._take(data)

    def _take(self, data: bytes | bytearray) -> None:
        self._queue.put(Chunk(bytes(data), self._clock()))

    def _on_disconnected(self, client: BleakClient) -> None:
        if client is self._client:
            self._queue.fail(LinkLost(self.name, "the link broke; is the head on, and near?"))

    def _connected(self) -> BleakClient:
        if self._client is None:
            raise LinkLost(self.name, "not open now")
        return self._client

    async def _within(self, work: Awaitable[T]) -> T:
        limit_s = self._settings.send_timeout_s
        try:
            async with asyncio.timeout(limit_s):
                return await work
        except TimeoutError as error:
            raise LinkTimeout(self.name, f"did not answer within {limit_s:g} s") from error
        except BLE_ERRORS as error:
            raise link_error(self.name, error) from error
