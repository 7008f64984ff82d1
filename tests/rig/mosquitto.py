"""Debian's MQTT broker as a process of its own."""

import contextlib
import os
import socket
import subprocess
import time


def free_port():
    """A TCP port that nobody has."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Mosquitto:
    """Debian's broker as a process of its own."""

    def __init__(self, program, folder, port, lines=()):
        self._config = folder / "mosquitto.conf"
        self.port = port
        # As root it would become a user that cannot read this folder.
        head = ["user root"] if os.geteuid() == 0 else []
        head += [f"listener {port} 127.0.0.1", "max_queued_messages 0"]
        self._config.write_text("\n".join([*head, *(lines or ["allow_anonymous true"])]) + "\n")
        self._program = program
        self._process = None

    def start(self):
        self._process = subprocess.Popen(
            [self._program, "-c", str(self._config)],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        for _ in range(500):
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", self.port)):
                return self
            time.sleep(0.01)
        raise AssertionError("mosquitto did not start")

    def kill(self):
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._process = None
