"""A simulated head on a real pty: nobody at the other end can tell it from hardware."""

import asyncio
import contextlib
import os
import select
import tty
from collections.abc import Callable
from pathlib import Path

from ingest.simulator.firmware import Firmware

TICK_S = 0.010
"""Samples leave in the rhythm of the head's own sampling, at most so late."""

READ_SIZE = 4096


class PtyHead:
    """Runs one head's firmware on a pty in the event loop. ``path`` is what a host opens.

    Nobody listening is nothing special: what nobody takes is dropped and counted, as a UART
    would. ``clock`` gives the rig's time in seconds. A pty has another number each time the
    head is plugged in; ``link``, where given, is a symbolic link that follows it, as a stable
    name of a USB device does, and is then the ``path``.
    """

    def __init__(
        self, firmware: Firmware, clock: Callable[[], float], link: Path | None = None
    ) -> None:
        self.firmware = firmware
        self._clock = clock
        self._link = link
        self._master = -1
        self._poll = select.poll()
        self._heard = False
        self._stalled = False
        self.path = ""
        self.dropped_bytes = 0

    def plug(self) -> str:
        """Open a pty; return its path. The head starts as when power comes on."""
        self._master, slave = os.openpty()
        tty.setraw(slave)
        name = os.ttyname(slave)
        os.close(slave)
        os.set_blocking(self._master, False)
        self._poll.register(self._master, select.POLLIN)
        self.path = name if self._link is None else str(self._link)
        if self._link is not None:
            self._link.unlink(missing_ok=True)
            self._link.symlink_to(name)
        self._write(self.firmware.boot(self._clock()))
        return self.path

    def unplug(self) -> None:
        """Take the pty away, as when the cable is pulled. Idempotent; ``plug`` brings it back."""
        if self._master < 0:
            return
        self._hear(False)
        self._poll.unregister(self._master)
        if self._link is not None:
            self._link.unlink(missing_ok=True)
        os.close(self._master)
        self._master = -1

    def press(self) -> None:
        """Press the button."""
        self._write(self.firmware.press(self._clock()))

    def reset(self) -> None:
        """Start the firmware anew, as by a watchdog."""
        self._write(self.firmware.restart(self._clock()))

    def stall(self, stalled: bool) -> None:
        """Stop sending without leaving the port, or go on. What was due meanwhile is lost."""
        self.firmware.faults.counts.stalls += stalled and not self._stalled
        self._stalled = stalled

    async def run(self) -> None:
        """Send until cancelled."""
        loop = asyncio.get_running_loop()
        next_s = loop.time()
        while True:
            self._notice()
            self._write(self.firmware.run(self._clock()))
            next_s = max(next_s + TICK_S, loop.time() - TICK_S)
            await asyncio.sleep(next_s - loop.time())

    def _notice(self) -> None:
        """Notice that somebody opened or closed the port: the kernel hangs up on a lone end."""
        if self._master < 0:
            return
        hung_up = any(events & select.POLLHUP for _, events in self._poll.poll(0))
        if hung_up is not self._heard:
            return
        self._hear(not hung_up)
        if self._heard and self.firmware.faults.plan.reset_on_open:
            self.reset()

    def _hear(self, heard: bool) -> None:
        """Watch the port while somebody has it open; else it would report hang-up for ever."""
        loop = asyncio.get_running_loop()
        if heard and not self._heard:
            loop.add_reader(self._master, self._on_readable)
        elif self._heard and not heard:
            loop.remove_reader(self._master)
        self._heard = heard

    def _on_readable(self) -> None:
        try:
            data = os.read(self._master, READ_SIZE)
        except OSError:
            self._hear(False)
            return
        self._write(self.firmware.receive(data, self._clock()))

    def _write(self, data: bytes) -> None:
        if self._master < 0 or not data:
            return
        written = 0
        if self._heard and not self._stalled:
            with contextlib.suppress(OSError):
                written = os.write(self._master, data)
        self.dropped_bytes += len(data) - written
