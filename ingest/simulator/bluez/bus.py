"""A message bus of our own, on which a Bluetooth daemon can be played without any hardware."""

import contextlib
import shutil
import subprocess
from collections.abc import Iterator

from ingest.core.errors import InputError

PROGRAM = "dbus-daemon"
STOP_S = 5.0


@contextlib.contextmanager
def private_bus() -> Iterator[str]:
    """Run a bus while the block runs; yield its address (for ``DBUS_SYSTEM_BUS_ADDRESS``).

    Raises:
        InputError: the bus' program is not installed.
    """
    program = shutil.which(PROGRAM)
    if program is None:
        reason = "is not installed; it plays Bluetooth here (Debian: apt-get install dbus-daemon)"
        raise InputError(PROGRAM, None, reason)
    command = [program, "--session", "--nofork", "--nopidfile", "--print-address=1"]
    with subprocess.Popen(
        command, text=True, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
    ) as daemon:
        try:
            assert daemon.stdout is not None
            yield daemon.stdout.readline().strip()
        finally:
            daemon.terminate()
            daemon.wait(STOP_S)
