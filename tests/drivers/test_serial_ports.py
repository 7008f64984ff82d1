"""A head keeps its name, whatever else is plugged in before it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from serial.tools.list_ports_common import ListPortInfo

from ingest.core.errors import LinkNotFound
from ingest.drivers import serial_ports
from ingest.drivers.serial_ports import (
    UsbAddress,
    find_device,
    list_serial_ports,
    parse_address,
)


def usb(device, serial_number="A1", vid=0x1209, pid=0x0001, location="1-1"):
    port = ListPortInfo(device, skip_link_detection=True)
    port.vid, port.pid, port.location = vid, pid, location
    port.serial_number = serial_number
    port.description = "head"
    return port


def built_in(device):
    return ListPortInfo(device, skip_link_detection=True)


@pytest.fixture
def plugged(monkeypatch):
    """Return a function that says what is plugged in."""

    def plug(*ports):
        monkeypatch.setattr(serial_ports.list_ports, "comports", lambda: list(ports))

    return plug


@pytest.mark.parametrize(
    ("text", "address"),
    [
        ("usb:A1", UsbAddress(serial_number="A1")),
        ("usb:1209:00ff:A1", UsbAddress("A1", 0x1209, 0xFF)),
        ("usb:24:6F:28:7A:11:C0", UsbAddress(serial_number="24:6F:28:7A:11:C0")),
        ("usb:303A:1001:24:6F:28:7A:11:C0", UsbAddress("24:6F:28:7A:11:C0", 0x303A, 0x1001)),
        ("usb@1-1.4:1.0", UsbAddress(location="1-1.4:1.0")),
        ("/dev/ttyUSB0", "/dev/ttyUSB0"),
        ("COM3", "COM3"),
        ("socket://192.0.2.1:5000", "socket://192.0.2.1:5000"),
        ("rfc2217://head-1.example:7000", "rfc2217://head-1.example:7000"),
    ],
)
def test_reads_every_form_of_address(text, address):
    assert parse_address(text) == address


@pytest.mark.parametrize(
    "text",
    ["", "  ", "usb:", "usb", "usb@", "http://x:1", "loop://", "socket://host", "socket://:5000",
     "socket://host:port", "socket://host:99999"],
)  # fmt: skip
def test_refuses_what_is_no_address_and_says_what_is(text):
    with pytest.raises(ValueError, match=r"usb:SERIAL.*socket://HOST:PORT"):
        parse_address(text)


def test_finds_a_head_by_its_serial_number_wherever_it_is(plugged):
    plugged(usb("/dev/ttyACM0", "B2"), built_in("/dev/ttyS0"), usb("/dev/ttyACM1", "a1"))
    for address in ("usb:A1", "usb:1209:0001:A1"):
        assert find_device("head", parse_address(address)) == "/dev/ttyACM1"


def test_does_not_take_another_product_with_the_same_serial_number(plugged):
    plugged(usb("/dev/ttyACM0", "A1", pid=2), usb("/dev/ttyACM1", "A1", vid=0x1234))
    with pytest.raises(LinkNotFound, match="no such USB device"):
        find_device("head", parse_address("usb:1209:0001:A1"))


def test_finds_an_adapter_without_a_number_by_its_socket(plugged):
    plugged(usb("/dev/ttyUSB0", None, location="1-2"), usb("/dev/ttyUSB1", None, location="1-1"))
    assert find_device("head", parse_address("usb@1-1")) == "/dev/ttyUSB1"


def test_does_not_guess_between_two(plugged):
    plugged(usb("/dev/ttyUSB0", location="1-1"), usb("/dev/ttyUSB1", location="1-2"))
    with pytest.raises(LinkNotFound, match=r"fits /dev/ttyUSB0, /dev/ttyUSB1"):
        find_device("head", parse_address("usb:A1"))


@pytest.mark.parametrize("error", [TypeError("int(None)"), OSError(19, "gone"), ValueError("x")])
def test_a_device_that_leaves_while_it_is_listed_is_not_there(monkeypatch, error):
    def vanishing():
        raise error

    monkeypatch.setattr(serial_ports.list_ports, "comports", vanishing)
    assert list_serial_ports() == ()
    with pytest.raises(LinkNotFound, match="no such USB device"):
        find_device("head", parse_address("usb:A1"))


def test_names_a_port_by_number_else_by_socket_else_by_path(plugged):
    plugged(
        usb("/dev/ttyACM1", "A1"),
        usb("/dev/ttyUSB0", None, location="1-2"),
        usb("/dev/ttyUSB1", "0001", location="1-3"),
        usb("/dev/ttyUSB2", "0001", location="1-4"),
        usb("/dev/ttyUSB3", None, location=None),
        built_in("/dev/ttyS0"),
    )
    assert {port.device: port.address for port in list_serial_ports()} == {
        "/dev/ttyACM1": "usb:1209:0001:A1",
        "/dev/ttyUSB0": "usb@1-2",
        "/dev/ttyUSB1": "usb@1-3",
        "/dev/ttyUSB2": "usb@1-4",
        "/dev/ttyUSB3": "/dev/ttyUSB3",
        "/dev/ttyS0": "/dev/ttyS0",
    }


NAMES = st.none() | st.text("aAbßſsS:0 /@", max_size=3) | st.text(st.characters(codec="utf-8"))
DEVICES = st.lists(st.tuples(NAMES, st.integers(0, 3), st.integers(0, 3)), max_size=6)


@given(DEVICES)
def test_every_address_that_is_listed_leads_back_to_its_port(devices):
    ports = [
        usb(f"/dev/ttyUSB{at}", number, 0x1209 + vid, pid, location=f"1-{at}")
        for at, (number, vid, pid) in enumerate(devices)
    ]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(serial_ports.list_ports, "comports", lambda: list(ports))
        for port in list_serial_ports():
            assert find_device("head", parse_address(port.address)) == port.device


def test_what_a_device_calls_itself_cannot_act_on_a_terminal(plugged):
    hostile = usb("/dev/ttyACM0", "A\x1b[2J")
    hostile.description = "head\x1b[2J\n"
    plugged(hostile)
    (port,) = list_serial_ports()
    assert (port.address, port.description) == ("usb@1-1", "head?[2J?")
