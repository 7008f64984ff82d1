"""A running emulator: its start, the ptys it made, and how it is stopped."""

import re
import shutil
import subprocess
from collections.abc import Sequence

from ingest.core.errors import InputError
from ingest.simulator.qmp import Control

EMULATOR = "qemu-system-arm"
PACKAGE = "qemu-system-arm"
STOP_S = 5.0

_PTY = re.compile(r"redirected to (\S+) \(label (\w+)\)")


class Emulator:
    """One process. ``ptys`` are the paths of its ptys by label."""

    def __init__(self, arguments: Sequence[str], labels: Sequence[str]) -> None:
        """Start it with a pty for each label, as serial line 0, 1 and on.

        Raises:
            InputError: there is no emulator, or it does not start.
        """
        path = shutil.which(EMULATOR)
        if path is None:
            raise InputError(EMULATOR, None, missing(PACKAGE))
        lines = [
            word
            for label in labels
            for word in ("-chardev", f"pty,id={label}", "-serial", f"chardev:{label}")
        ]
        self._control = Control()
        fd = self._control.theirs.fileno()
        told = ["-chardev", f"socket,id=control,fd={fd}", "-mon", "chardev=control,mode=control"]
        self._process = subprocess.Popen(
            [path, *arguments, "-display", "none", "-monitor", "none", *lines, *told],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            pass_fds=[fd],
        )
        self.ptys: dict[str, str] = {}
        self._begin(len(labels))

    def _begin(self, ptys: int) -> None:
        said = ""
        assert self._process.stdout is not None
        while len(self.ptys) < ptys and (line := self._process.stdout.readline()):
            said = line
            if found := _PTY.search(line):
                self.ptys[found.group(2)] = found.group(1)
        try:
            self._control.greet()
        except OSError as error:
            self._process.kill()
            rest = self._process.stdout.read().strip() or said.strip() or "no reason given"
            self.kill()
            raise InputError(EMULATOR, None, f"did not start: {rest}") from error

    def tell(self, command: str) -> None:
        """Have it freeze (``stop``), go on (``cont``) or start anew (``system_reset``)."""
        self._control.tell(command)

    def kill(self) -> None:
        """End it at once. Idempotent."""
        self._process.kill()
        self._process.wait(STOP_S)
        if self._process.stdout is not None:
            self._process.stdout.close()
        self._control.close()


def missing(package: str) -> str:
    """Return what to say of a program that is not installed."""
    return f"is not installed; emulated heads need it (Debian: apt-get install {package})"
