"""Asks an emulator to freeze, go on or start anew, over its control socket (QMP)."""

import json
import socket
from typing import Any

ANSWER_S = 5.0


class Control:
    """One emulator's control. ``theirs`` is the end that it is given when it is started."""

    def __init__(self) -> None:
        self._ours, self.theirs = socket.socketpair()
        self._ours.settimeout(ANSWER_S)
        self._talk = self._ours.makefile("rwb")

    def greet(self) -> None:
        """Wait until the emulator runs. Raises ``OSError`` when it does not."""
        self.theirs.close()
        self._hear()
        self.tell("qmp_capabilities")

    def tell(self, command: str) -> None:
        """Have a command carried out that takes no arguments.

        Raises ``OSError`` when the emulator is gone, or refuses.
        """
        self._talk.write(json.dumps({"execute": command}).encode() + b"\n")
        self._talk.flush()
        while "return" not in (said := self._hear()):
            if "event" not in said:
                raise OSError(f"the emulator refuses {command}: {said}")

    def close(self) -> None:
        """Let go of it. Idempotent."""
        self._talk.close()
        self._ours.close()
        self.theirs.close()

    def _hear(self) -> dict[str, Any]:
        line = self._talk.readline()
        if not line:
            raise ConnectionResetError("the emulator is gone")
        said: dict[str, Any] = json.loads(line)
        return said
