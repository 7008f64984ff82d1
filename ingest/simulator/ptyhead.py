"""A simulated head on a real pty: nobody at the other end can tell it from hardware."""

import asyncio
import contextlib
import os
import tty
from collections.abc import Callable

from ingest.simulator.firmware import Firmware

TICK_S = 0.010
"""Samples leave in the rhythm of the head's own sampling, at most so late."""

READ_SIZE = 4096


class PtyHead:
    """Runs one head's firmware on a pty in the event loop. ``path`` is what a host opens.

    Nobody listening is nothing special: what the pty will not take is dropped and counted,
    as a UART would. ``clock`` gives the rig's time in seconds.
    """

    def __init__(self, firmware: Firmware, clock: Callable[[], float]) -> None:
        self.firmware = firmware
        self._clock = clock
        self._master = -1
        self._slave = -1
        self.path = ""
        self.dropped_bytes = 0
        self._stalled = False

    def plug(self) -> str:
        """Open a pty; return its path. The head starts as when power comes on."""
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self.path = os.ttyname(self._slave)
        asyncio.get_running_loop().add_reader(self._master, self._on_readable)
        self._write(self.firmware.boot(self._clock()))
        return self.path

    def unplug(self) -> None:
        """Take the pty away, as when the cable is pulled. Idempotent."""
        if self._master < 0:
            return
        asyncio.get_running_loop().remove_reader(self._master)
        for fd in (self._master, self._slave):
            os.close(fd)
        self._master = self._slave = -1

    def press(self) -> None:
        """Press the button."""
        self._write(self.firmware.press(self._clock()))

    def reset(self) -> None:
        """Start the firmware anew, as by a watchdog."""
        self._write(self.firmware.boot(self._clock()))

    def stall(self, stalled: bool) -> None:
        """Stop sending without leaving the port, or go on."""
        self._stalled = stalled

    async def run(self) -> None:
        """Send until cancelled."""
        loop = asyncio.get_running_loop()
        next_s = loop.time()
        while True:
            out = self.firmware.run(self._clock())
            if out and not self._stalled:
                self._write(out)
            next_s = max(next_s + TICK_S, loop.time() - TICK_S)
            await asyncio.sleep(next_s - loop.time())

    def _on_readable(self) -> None:
        with contextlib.suppress(OSError):
            data = os.read(self._master, READ_SIZE)
            self._write(self.firmware.receive(data, self._clock()))

    def _write(self, data: bytes) -> None:
        if self._master < 0 or not data:
            return
        try:
            written = os.write(self._master, data)
        except OSError:
            written = 0
        self.dropped_bytes += len(data) - written
