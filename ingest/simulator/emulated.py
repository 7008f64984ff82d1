"""A head whose firmware is the C example on an emulated microcontroller.

Its stream comes out of a pty that the emulator makes; what its sensors read goes in by a second
one, so that the firmware itself samples, numbers, frames and answers. See the records in
``firmware-protocol/example/board_mps2/board.c``.
"""

import asyncio
import contextlib
import os
import shutil
import struct
import subprocess
import tty
from collections import deque
from collections.abc import Callable
from pathlib import Path

import numpy as np

from ingest.core.blocks import F64
from ingest.core.errors import InputError
from ingest.simulator.emulator import Emulator, missing
from ingest.simulator.head import Head
from ingest.simulator.quantise import codes_of
from ingest.simulator.rig import Rig

COMPILER = "arm-none-eabi-gcc"
EXAMPLE = Path(__file__).parents[2] / "firmware-protocol" / "example"

MARK = 0xA5
LOCKED = 1
BUTTON = 2
RECORD = struct.Struct("<BBB8i")

AHEAD_S = 0.120
"""So far ahead readings are worked out; less than the technician's lead."""
EARLY_S = 0.030
"""So long before its time a record is sent: it waits on the board, and our unrest is gone."""
LATE_S = 1.0
"""Readings that we are too busy to give in time are given late, up to so much."""
PRESS_S = 0.1
KEPT = 0x2003FC00
"""Where the board looks for its identity and a random word."""


def build_image(folder: Path) -> Path:
    """Compile the example head; return the program.

    Raises:
        InputError: there is no compiler, or the source does not compile.
    """
    if shutil.which(COMPILER) is None:
        raise InputError(COMPILER, None, missing("gcc-arm-none-eabi"))
    image = folder / "head.elf"
    build = EXAMPLE / "build"
    if not build.is_file():
        raise InputError(str(build), None, "is not there; emulated heads need the source tree")
    done = subprocess.run([str(build), str(image)], capture_output=True, text=True, check=False)
    if done.returncode:
        first = (done.stderr.strip() or "no reason given").splitlines()[0]
        raise InputError(str(build), None, f"the example head does not compile: {first}")
    return image


class EmulatedHead:
    """One emulated head, to be used as a ``PtyHead`` is. ``path`` is what a host opens.

    ``link``, where given, is a symbolic link that follows the pty, and is then the ``path``.
    ``rate_hz`` is that of the sensors: at least the rate at which the head samples.
    """

    def __init__(
        self,
        rig: Rig,
        head: Head,
        image: Path,
        *,
        random: np.random.Generator,
        clock: Callable[[], float],
        rate_hz: float = 200.0,
        link: Path | None = None,
    ) -> None:
        self._rig = rig
        self._head = head
        self._image = image
        self._random = random
        self._clock = clock
        self._period_s = 1.0 / rate_hz
        self._link = link
        self._stalled = False
        self._emulator: Emulator | None = None
        self._sensors = -1
        self._pressed_s = -PRESS_S
        self._ready: deque[tuple[float, bytes]] = deque()
        self._next_s = 0.0
        self.path = ""

    def plug(self) -> str:
        """Switch the head on; return its port.

        Raises:
            InputError: there is no emulator, or it does not start.
        """
        self._emulator = Emulator(self._arguments(), ("stream", "sensors"))
        ptys = self._emulator.ptys
        self.path = ptys["stream"] if self._link is None else str(self._link)
        if self._link is not None:
            self._link.unlink(missing_ok=True)
            self._link.symlink_to(ptys["stream"])
        self._sensors = os.open(ptys["sensors"], os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        tty.setraw(self._sensors)
        self._next_s = self._clock()
        self._ready.clear()
        self._stalled = False
        return self.path

    def unplug(self) -> None:
        """Pull the head's cable: it is gone at once. Idempotent."""
        if self._sensors >= 0:
            os.close(self._sensors)
            self._sensors = -1
        if self._emulator is not None:
            self._emulator.kill()
            self._emulator = None
            if self._link is not None:
                self._link.unlink(missing_ok=True)

    def press(self) -> None:
        """Press the button, and let go a little later."""
        self._pressed_s = self._clock() + AHEAD_S

    def reset(self) -> None:
        """Start the firmware anew, as by a watchdog."""
        self._tell("system_reset")

    def stall(self, stalled: bool) -> None:
        """Freeze the whole microcontroller, its clock too, or let it go on."""
        self._stalled = stalled
        self._tell("stop" if stalled else "cont")

    def _tell(self, command: str) -> None:
        if self._emulator is not None:
            self._emulator.tell(command)

    async def run(self) -> None:
        """Feed the sensors until cancelled."""
        while True:
            now_s = self._clock()
            if self._next_s - now_s < AHEAD_S / 2.0:
                self._work_out(now_s)
            while self._ready and self._ready[0][0] - EARLY_S <= now_s:
                self._feed(self._ready.popleft()[1])
            due_s = self._ready[0][0] - EARLY_S if self._ready else now_s
            await asyncio.sleep(max(due_s - self._clock(), 0.0005))

    def _feed(self, record: bytes) -> None:
        if self._sensors >= 0 and not self._stalled:
            with contextlib.suppress(OSError):  # busy or gone: the readings go nowhere
                os.write(self._sensors, record)

    def _work_out(self, now_s: float) -> None:
        if now_s - self._next_s > LATE_S:
            self._next_s = now_s
        count = max(1, int((now_s + AHEAD_S - self._next_s) / self._period_s))
        times: F64 = np.arange(count, dtype=np.float64) * self._period_s + self._next_s
        self._next_s += self._period_s * count
        raw = self._head.sensors.read(self._rig.true_channels(self._head, times), self._random)
        period_ms = round(self._period_s * 1e3)
        locked = not self._head.design.fixed and self._head.lock_at(now_s) is not None
        for row, at_s in zip(codes_of(raw).T.tolist(), times.tolist(), strict=True):
            pressed = 0.0 <= at_s - self._pressed_s < PRESS_S
            flags = LOCKED * locked | BUTTON * pressed
            content = RECORD.pack(MARK, flags, period_ms, *row)
            self._ready.append((at_s, content + bytes([sum(content) % 256])))

    def _arguments(self) -> list[str]:
        word = int(self._random.integers(1 << 32))
        identity = int.from_bytes(bytes.fromhex(self._head.design.head), "little")
        return [
            *("-M", "mps2-an385", "-kernel", str(self._image)),
            *("-device", f"loader,addr={KEPT:#x},data={identity:#x},data-len=8"),
            *("-device", f"loader,addr={KEPT + 8:#x},data={word:#x},data-len=4"),
        ]
