"""Which serial ports there are, and how one is named so that the name stays true.

``/dev/ttyUSB0`` is whatever was plugged in first. A USB port is therefore named by its serial
number or, where a cheap adapter has none, by the socket that it is plugged into.
"""

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from urllib.parse import urlsplit

from serial.tools import list_ports
from serial.tools.list_ports_common import ListPortInfo

from ingest.core.errors import LinkNotFound

FORMS = (
    "usb:SERIAL, usb:VID:PID:SERIAL, usb@SOCKET, a path, socket://HOST:PORT or rfc2217://HOST:PORT"
)
"""What an address may look like."""

SCHEMES = ("socket", "rfc2217")

NUMBERED = re.compile(r"([0-9a-f]{4}):([0-9a-f]{4}):(.+)", re.IGNORECASE)
"""The long form. A serial number may hold colons itself: some boards use their MAC address."""


@dataclass(frozen=True, slots=True)
class SerialPort:
    """A port that is there now."""

    address: str
    """What to write in the configuration: stays true when other things are plugged in."""
    device: str
    description: str


@dataclass(frozen=True, slots=True)
class UsbAddress:
    """A USB port by what does not change. What is None is not compared."""

    serial_number: str | None = None
    vid: int | None = None
    pid: int | None = None
    location: str | None = None

    def matches(self, port: ListPortInfo) -> bool:
        """Return whether a port is the one meant. Systems differ in the case of letters."""
        if self.location is not None:
            return port.location == self.location
        vid, pid, serial_number = numbers_of(port)
        return (
            serial_number == (self.serial_number or "").casefold()
            and self.vid in (None, vid)
            and self.pid in (None, pid)
        )


def parse_address(text: str) -> UsbAddress | str:
    """Return a USB address, or a path or URL as it is; raises ``ValueError`` saying what is
    allowed."""
    if not text.strip() or text.rstrip(":@") == "usb":
        raise ValueError(f"must be {FORMS}")
    if text.startswith("usb:"):
        return parse_usb(text.removeprefix("usb:"))
    if text.startswith("usb@"):
        return UsbAddress(location=text.removeprefix("usb@"))
    if "://" in text:
        return check_url(text)
    if ":" in text and not text.startswith("/"):  # a misspelt kind, not a path or COM port
        raise ValueError(f"must be {FORMS}")
    return text


def parse_usb(rest: str) -> UsbAddress:
    """Return the address behind ``usb:``."""
    if numbered := NUMBERED.fullmatch(rest):
        vid, pid, serial_number = numbered.groups()
        return UsbAddress(serial_number, int(vid, 16), int(pid, 16))
    return UsbAddress(serial_number=rest)


def check_url(text: str) -> str:
    """Return a URL that names scheme, host and port."""
    try:
        parts = urlsplit(text)
        complete = parts.scheme in SCHEMES and bool(parts.hostname) and parts.port is not None
    except ValueError:  # a port that is no number
        complete = False
    if not complete:
        raise ValueError(f"must be {FORMS}")
    return text


def find_device(link: str, address: UsbAddress | str) -> str:
    """Return the path or URL to open now. Blocks for as long as the system needs.

    Raises: ``LinkNotFound`` when no port fits, or more than one.
    """
    if isinstance(address, str):
        return address
    found = [port.device for port in usb_ports() if address.matches(port)]
    if len(found) > 1:
        raise LinkNotFound(link, f"fits {', '.join(found)}; use the address that ports lists")
    if not found:
        raise LinkNotFound(link, "no such USB device is plugged in (levelhead ports lists them)")
    return str(found[0])


def list_serial_ports() -> tuple[SerialPort, ...]:
    """Return the ports that are there now, in the order of their devices."""
    ports = sorted(present_ports())
    twins = Counter(numbers_of(port) for port in ports)
    return tuple(
        SerialPort(
            address=stable_address(port, unique=twins[numbers_of(port)] == 1),
            device=port.device,
            description=printable(port.description),
        )
        for port in ports
    )


def numbers_of(port: ListPortInfo) -> tuple[int | None, int | None, str]:
    """Return what tells USB devices apart: cheap ones may share all of it."""
    return port.vid, port.pid, (port.serial_number or "").casefold()


def printable(text: str) -> str:
    """Return what a device calls itself, with nothing that a terminal would act on."""
    return "".join(letter if letter.isprintable() else "?" for letter in text)


def stable_address(port: ListPortInfo, *, unique: bool) -> str:
    """Return the best name: serial number if it is one of a kind, else socket, else path."""
    if port.vid is None or port.pid is None:
        return str(port.device)
    number = port.serial_number
    if number and unique and number.isprintable():
        return f"usb:{port.vid:04x}:{port.pid:04x}:{number}"
    return f"usb@{port.location}" if port.location else str(port.device)


def usb_ports() -> Iterable[ListPortInfo]:
    """Return the USB ports that are there now."""
    return (port for port in present_ports() if port.vid is not None)


def present_ports() -> list[ListPortInfo]:
    """Return the ports that are there now, without those that vanish while being listed."""
    try:
        return list(list_ports.comports())
    except (OSError, TypeError, ValueError):  # pyserial reads the files of a device that left
        return []
