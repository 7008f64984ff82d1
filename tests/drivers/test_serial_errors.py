"""What the system raises, told by what a person may do about it.

Error numbers after POSIX.1-2017, <errno.h>; the shapes in which pyserial 3.5 raises them.
"""

import errno
import termios

import pytest
from serial import PortNotOpenError, SerialException

from ingest.core.errors import LinkBusy, LinkDenied, LinkLost, LinkNotFound
from ingest.drivers.serial_errors import PORT_ERRORS, lost, not_opened


def wrapped(cause):
    """Raise as pyserial does where it drops the number and keeps the context."""
    try:
        try:
            raise cause
        except Exception as error:
            raise SerialException(f"could not: {error}")  # noqa: B904
    except SerialException as error:
        return error


NUMBERS = [
    (errno.ENOENT, LinkNotFound),
    (errno.ENXIO, LinkNotFound),
    (errno.ENODEV, LinkNotFound),
    (errno.ECONNREFUSED, LinkNotFound),
    (errno.EBUSY, LinkBusy),
    (errno.EAGAIN, LinkBusy),
    (errno.EACCES, LinkDenied),
    (errno.EPERM, LinkDenied),
]


@pytest.mark.parametrize(("number", "kind"), NUMBERS)
def test_tells_a_failed_opening_by_its_number_in_every_shape(number, kind):
    plain = OSError(number, "words")
    for error in (plain, SerialException(number, "words"), wrapped(plain)):
        assert type(not_opened("head", error)) is kind
    assert type(not_opened("head", termios.error(number, "words"))) is kind
    assert type(not_opened("head", wrapped(termios.error(number, "words")))) is kind


def test_refused_settings_wait_for_a_person():
    error = not_opened("head", ValueError("Invalid baud\nrate: 7"))
    assert type(error) is LinkDenied
    assert error.reason == "the port refuses its settings: Invalid baud rate: 7"


def test_a_failure_of_an_open_port_is_a_loss_whatever_its_number():
    for number, _ in NUMBERS:
        assert type(lost("head", OSError(number, "words"))) is LinkLost
    assert str(lost("head", OSError(errno.EIO, "x"))) == (
        "head: the port went away (input/output error)"
    )
    assert lost("head", PortNotOpenError()).reason.endswith("is not open)")
    assert lost("head", TypeError()).reason.endswith("(TypeError)")


def test_termios_errors_are_caught_with_the_others():
    assert issubclass(termios.error, PORT_ERRORS)
    assert issubclass(SerialException, PORT_ERRORS)
