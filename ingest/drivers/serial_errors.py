"""What the operating system and pyserial raise, in our own words."""

import errno
import os

from ingest.core.errors import LinkBusy, LinkDenied, LinkError, LinkLost, LinkNotFound

TERMIOS_ERROR: type[Exception]
try:
    import termios
except ImportError:  # not POSIX: no such error there
    TERMIOS_ERROR = OSError
else:
    TERMIOS_ERROR = termios.error

PORT_ERRORS = (OSError, TERMIOS_ERROR)
"""All that a serial port raises. ``termios.error`` is no ``OSError``."""

ABSENT = (LinkNotFound, "there is no such port now")
BUSY = (LinkBusy, "another program holds the port")
DENIED = (
    LinkDenied,
    "permission is missing; on Linux the user must be in the group that owns the port",
)

MEANINGS: dict[int, tuple[type[LinkError], str]] = {
    errno.ENOENT: ABSENT,
    errno.ENODEV: ABSENT,
    errno.ENXIO: ABSENT,
    errno.EBUSY: BUSY,
    errno.EAGAIN: BUSY,  # the exclusive lock is taken
    errno.EACCES: DENIED,
    errno.EPERM: DENIED,
}


def not_opened(link: str, error: BaseException) -> LinkError:
    """Return our error for what opening a port raised."""
    if isinstance(error, ValueError):  # a person must act
        return LinkDenied(link, f"the port refuses its settings: {describe(error, None)}")
    number = number_of(error)
    kind, reason = MEANINGS.get(number or 0, (LinkNotFound, describe(error, number)))
    return kind(link, reason)


def lost(link: str, error: BaseException) -> LinkLost:
    """Return our error for what an open port raised: whatever it was, the port has gone."""
    return LinkLost(link, f"the port went away ({describe(error, number_of(error))})")


def number_of(error: BaseException | None) -> int | None:
    """Return the system's error number, which pyserial partly leaves in the context."""
    while error is not None:
        if isinstance(error, OSError) and isinstance(error.errno, int):
            return error.errno
        if isinstance(error, TERMIOS_ERROR) and error.args and isinstance(error.args[0], int):
            return int(error.args[0])
        error = error.__cause__ or error.__context__
    return None


def describe(error: BaseException, number: int | None) -> str:
    """Return one line."""
    if number is not None and number > 0:
        return os.strerror(number).lower()
    return " ".join(str(error).split()) or type(error).__name__
