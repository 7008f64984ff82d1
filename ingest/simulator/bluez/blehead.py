"""A simulated head with a radio: the same firmware as on a pty, its bodies as GATT values."""

from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

from ingest.core.counters import LinkCounters
from ingest.simulator.bluez.objects import Characteristic, Device, Service
from ingest.simulator.firmware import Firmware
from ingest.wire.codes import MessageType
from ingest.wire.framing import DELIMITER, Deframer, frame

BASE_UUID = "4020{:04x}-3702-4878-aecf-9e851220f538"
SERVICE_UUID = BASE_UUID.format(1)
SAMPLES = (MessageType.SAMPLE_0, MessageType.SAMPLE_1)
SAMPLE_SIZE = 20
SMALLEST_MTU = 23
BATTERY_PERCENT = 87


def sig_uuid(number: int) -> str:
    """Return the whole UUID of a number that the Bluetooth SIG assigned."""
    return f"0000{number:04x}-0000-1000-8000-00805f9b34fb"


@dataclass(slots=True)
class RadioFaults:
    """What goes wrong between head and host. All zero: nothing."""

    lose_every: int = 0
    """Every so many-th sample is lost on the air."""
    late_s: float = 0.0
    """Notifications wait so long, and come in one bunch."""
    lost: int = 0


@dataclass(slots=True)
class BleHead:
    """One head. ``mtu`` 23 sends a sample a notification, more makes batches of them."""

    firmware: Firmware
    clock: Callable[[], float]
    address: str
    mtu: int = SMALLEST_MTU
    faults: RadioFaults = field(default_factory=RadioFaults)
    device: Device = field(init=False)
    _by_name: dict[str, Characteristic] = field(init=False, default_factory=dict)
    _deframer: Deframer = field(init=False)
    _sheet: bytes = field(init=False, default=b"")
    _last_event: bytes = field(init=False, default=b"")
    _batch: list[bytes] = field(init=False, default_factory=list)
    _waiting: deque[tuple[Characteristic, bytes]] = field(init=False, default_factory=deque)
    _released_s: float = field(init=False, default=0.0)
    _count: int = field(init=False, default=0)

    def __post_init__(self) -> None:
        self._deframer = Deframer(LinkCounters())
        self.device = Device(self.address, self.name, SERVICE_UUID, self.connect, self.disconnect)
        self._route(DELIMITER + self.firmware.boot(self.clock()))

    @property
    def name(self) -> str:
        """The name that it advertises."""
        return f"head-{self.firmware.hello().head[-4:]}"

    def objects(self, device_path: str) -> list[tuple[str, Service | Characteristic]]:
        """Return services and characteristics with their paths."""
        head, information, battery = (f"{device_path}/service{n:04x}" for n in (0x10, 0x40, 0x60))
        return [
            (head, Service(SERVICE_UUID, device_path)),
            *((f"{head}/char{at:04x}", each) for at, each in self._of_head(head)),
            (information, Service(sig_uuid(0x180A), device_path)),
            *((f"{information}/char{at:04x}", each) for at, each in self._texts(information)),
            (battery, Service(sig_uuid(0x180F), device_path)),
            (f"{battery}/char0061", self._readable(battery, 0x2A19, bytes([BATTERY_PERCENT]))),
        ]

    def _of_head(self, service: str) -> Iterator[tuple[int, Characteristic]]:
        """Yield the handles and characteristics of the head's own service."""
        control = {"write": self._command, "allowed": self._bonded}
        made: list[tuple[int, str, int, list[str], dict[str, Any]]] = [
            (0x11, "sample", 2, ["notify"], {}),
            (0x21, "sheet", 4, ["read"], {"read": lambda: self._sheet}),
            (0x24, "control", 5, ["write", "indicate"], control),
            (0x28, "clock", 6, ["write-without-response", "notify"], {"write": self._ping}),
        ]
        if self.mtu > SMALLEST_MTU:
            made.append((0x14, "batch", 3, ["notify"], {}))
        for handle, name, number, flags, how in made:
            uuid = BASE_UUID.format(number)
            self._by_name[name] = Characteristic(uuid, service, flags, self.mtu, **how)
            yield handle, self._by_name[name]

    def _texts(self, service: str) -> Iterator[tuple[int, Characteristic]]:
        """Yield what is said of the device: model, serial number, firmware, manufacturer."""
        hello = self.firmware.hello()
        texts = {
            0x2A24: "simulated head",
            0x2A25: hello.head,
            0x2A26: hello.firmware,
            0x2A29: "Pellowmere bench",
        }
        for at, (number, text) in enumerate(texts.items()):
            yield 0x41 + 2 * at, self._readable(service, number, text.encode())

    def _readable(self, service: str, number: int, value: bytes) -> Characteristic:
        return Characteristic(sig_uuid(number), service, ["read"], self.mtu, read=lambda: value)

    def _bonded(self) -> bool:
        return self.device.paired

    def connect(self) -> None:
        """Let a host in."""
        self.device.connected = self.device.resolved = True
        self.device.emit_properties_changed({"Connected": True})
        self.device.emit_properties_changed({"ServicesResolved": True})

    def disconnect(self) -> None:
        """Lose the host: it asked for that, or the link broke."""
        if not self.device.connected:
            return
        self.device.connected = self.device.resolved = False
        self._waiting.clear()
        self._batch.clear()
        for each in self._by_name.values():
            each.notifying = False
        self.device.emit_properties_changed({"ServicesResolved": False})
        self.device.emit_properties_changed({"Connected": False})

    def reset(self) -> None:
        """Start the firmware anew, as by a watchdog: the link breaks too."""
        self.disconnect()
        self._route(DELIMITER + self.firmware.restart(self.clock()))

    def press(self) -> None:
        """Press the button."""
        self._route(self.firmware.press(self.clock()))

    def run_once(self) -> None:
        """Work out what has become due; ``send`` sends it."""
        self.say(self.firmware.run(self.clock()))

    def say(self, frames: bytes) -> None:
        """Have frames of a firmware sent as bodies, in batches where the host takes them."""
        self._route(frames)
        self._flush_batch()

    def send(self, most: int) -> bool:
        """Send at most so many notifications; say whether any was due."""
        if not self._waiting or self.clock() < self._released_s:
            return False
        for _ in range(min(most, len(self._waiting))):
            characteristic, body = self._waiting.popleft()
            characteristic.notify(body)
        return True

    def _command(self, body: bytes) -> None:
        if body[:1] != bytes([MessageType.CLOCK_PING]):
            self._hear(body)

    def _ping(self, body: bytes) -> None:
        if body[:1] == bytes([MessageType.CLOCK_PING]):
            self._hear(body)

    def _hear(self, body: bytes) -> None:
        self._route(self.firmware.receive(DELIMITER + frame(body), self.clock()))

    def _route(self, data: bytes) -> None:
        """Send each body on the characteristic where it belongs."""
        for body in self._deframer.feed(data):
            if body[0] == MessageType.HELLO:
                self._sheet = body
            elif body[0] in SAMPLES:
                self._sample(body)
            elif body[0] == MessageType.STATUS:
                self._flush_batch()
                self._notify("sample", body)
            elif body[0] == MessageType.CLOCK_PONG:
                self._notify("clock", body)
            elif body != self._last_event:  # an indication is confirmed: said once
                self._last_event = body if body[0] == MessageType.EVENT else self._last_event
                self._notify("control", body)

    def _sample(self, body: bytes) -> None:
        self._count += 1
        if self.faults.lose_every and self._count % self.faults.lose_every == 0:
            self.faults.lost += 1
            return
        batch = self._by_name.get("batch")
        if batch is None or not batch.notifying:
            self._notify("sample", body)
            return
        self._batch.append(body)
        if 2 + SAMPLE_SIZE * (len(self._batch) + 1) > self.mtu - 3:
            self._flush_batch()

    def _flush_batch(self) -> None:
        if self._batch:
            body = bytes((MessageType.BATCH, len(self._batch))) + b"".join(self._batch)
            self._batch.clear()
            self._notify("batch", body)

    def _notify(self, name: str, body: bytes) -> None:
        if not self.device.connected or name not in self._by_name:
            return
        if not self._waiting:
            self._released_s = self.clock() + self.faults.late_s
        self._waiting.append((self._by_name[name], body))
