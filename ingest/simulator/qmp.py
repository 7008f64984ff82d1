"""Asks an emulator to freeze, go on or start anew, over its control socket (QMP)."""

import json
import socket
from pathlib import Path

ANSWER_S = 5.0


def tell(path: Path, command: str) -> None:
    """Have the emulator that listens at ``path`` carry out a command without arguments.

    Raises ``OSError`` when it is not there, ``ValueError`` when it refuses.
    """
    with socket.socket(socket.AF_UNIX) as wire:
        wire.settimeout(ANSWER_S)
        wire.connect(str(path))
        with wire.makefile("rwb") as talk:
            talk.readline()  # its greeting
            for each in ("qmp_capabilities", command):
                talk.write(json.dumps({"execute": each}).encode() + b"\n")
                talk.flush()
                while "return" not in (said := json.loads(talk.readline() or b"{}")):
                    if "event" not in said:
                        raise ValueError(f"the emulator refuses {each}: {said}")
