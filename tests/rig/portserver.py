"""A looped-back serial port behind RFC 2217, by pyserial's own server side."""

import contextlib
import socket
import threading

import serial
from serial.rfc2217 import PortManager


class PortServer:
    """One looped-back serial port behind RFC 2217: what a client sends comes back to it."""

    def __init__(self):
        self.server = socket.create_server(("127.0.0.1", 0))
        self.path = f"rfc2217://127.0.0.1:{self.server.getsockname()[1]}"
        self.client = None
        self.port = serial.serial_for_url("loop://", timeout=0.01)
        self.thread = threading.Thread(target=self.serve, daemon=True)
        self.thread.start()

    def write(self, data):
        """What the manager answers with."""
        with contextlib.suppress(OSError):
            self.client.sendall(data)

    def serve(self):
        with contextlib.suppress(OSError):
            self.client, _ = self.server.accept()
            manager = PortManager(self.port, self)
            self.client.settimeout(0.005)
            while True:
                self.pump_in(manager)
                self.write(b"".join(manager.escape(self.port.read(self.port.in_waiting))))

    def pump_in(self, manager):
        with contextlib.suppress(TimeoutError):
            data = self.client.recv(1024)
            if not data:
                raise ConnectionError
            self.port.write(b"".join(manager.filter(data)))

    def vanish(self):
        if self.client is not None:
            with contextlib.suppress(OSError):
                self.client.shutdown(socket.SHUT_RDWR)
        self.server.close()
        self.thread.join(5.0)
        if self.client is not None:
            self.client.close()
