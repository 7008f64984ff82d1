"""Heads for measuring: ptys fed with frames, or with text lines for the scripts.

Run as a process (``heads.py COUNT RATE_HZ SECONDS frames|lines``) it prints the paths as JSON and
feeds them; ``Stream`` makes the bytes, with incl_y rising by one code a sample, so that a
published value tells which samples are in it.
"""

import contextlib
import json
import os
import sys
import threading
import time
import tty
from collections import deque

from ingest.core.blocks import NO_VALUE
from ingest.core.channels import Channel
from ingest.wire.codes import status_byte
from ingest.wire.framing import frame
from ingest.wire.hello import ChannelInfo, Hello
from ingest.wire.messages import encode
from ingest.wire.sample import encode_sample

BOOT = 1000
HALF_TURN = 1_799_999
CHANNELS = (
    Channel.INCL_X,
    Channel.INCL_Y,
    Channel.ROTATION,
    Channel.AZIMUTH_CROSS,
    Channel.TEMPERATURE,
)
RISE_FROM = -400_000


def identity(number):
    return f"{number:016x}"


class Stream:
    """The bytes of one head."""

    def __init__(self, number, rate_hz):
        self._rate_hz = rate_hz
        entries = tuple(
            ChannelInfo.of(c, rate_dhz=round(rate_hz * 10), low=-HALF_TURN, high=HALF_TURN)
            for c in CHANNELS
        )
        hello = Hello(
            identity(number), BOOT, "figures", rate_dhz=round(rate_hz * 10), channels=entries
        )
        self.hello = b"\0" + frame(encode(hello))

    def sample(self, k):
        """Both frames of sample k: 52 bytes."""
        t_us = round(k * 1e6 / self._rate_hz) % (1 << 32)
        head = (status_byte(BOOT), k % (1 << 16), t_us)
        turned = (k * 3000) % 3_600_000 - 1_800_000 + 1
        first = encode_sample(0, *head, (k % 7, RISE_FROM + k, turned, -900_000 + k % 11))
        second = encode_sample(1, *head, (NO_VALUE, NO_VALUE, 200_000 + k % 5, NO_VALUE))
        return frame(first) + frame(second)

    def line(self, k):
        """The same sample as the text that a script would be sent."""
        return b"%.4f,%.4f,%.4f,%.4f\n" % (k % 7 * 1e-4, k * 1e-4, k * 0.3 % 360, -90.0)


def open_pty():
    master, slave = os.openpty()
    tty.setraw(slave)
    os.set_blocking(master, False)
    return master, slave


def write(master, data):
    with contextlib.suppress(BlockingIOError):
        os.write(master, data)


class Feed:
    """One head in a thread: answers with its hello, and remembers when it wrote each sample."""

    def __init__(self, rate_hz=100.0):
        self.master, slave = open_pty()
        self.path = os.ttyname(slave)
        self.written_s = deque(maxlen=200_000)
        self._stream, self._rate_hz = Stream(1, rate_hz), rate_hz
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def __enter__(self):
        self._thread.start()
        return self

    def __exit__(self, *_):
        self._stop.set()
        self._thread.join()

    def _asked(self):
        """Say whether the host has written: the only thing it asks for here is a hello."""
        with contextlib.suppress(BlockingIOError):
            return bool(os.read(self.master, 4096))
        return False

    def _run(self):
        start, k = time.monotonic(), 0
        while not self._stop.is_set():
            time.sleep(max(0.0, start + k / self._rate_hz - time.monotonic()))
            asked = self._asked()
            hello = self._stream.hello if asked or k % 400 == 0 else b""
            self.written_s.append(time.monotonic())
            write(self.master, hello + self._stream.sample(k))
            k += 1


def main():
    count, rate_hz, seconds, form = (
        int(sys.argv[1]),
        float(sys.argv[2]),
        float(sys.argv[3]),
        sys.argv[4],
    )
    ptys = [open_pty() for _ in range(count)]
    streams = [Stream(n + 1, rate_hz) for n in range(count)]
    total = round(rate_hz * seconds)
    make = streams[0].sample if form == "frames" else streams[0].line
    data = [make(k) for k in range(total)]
    print(json.dumps([os.ttyname(slave) for _, slave in ptys]), flush=True)
    start = time.monotonic() + 0.5
    for k in range(total):
        wait = start + k / rate_hz - time.monotonic()
        if wait > 0:
            time.sleep(wait)
        hello = form == "frames" and k % round(rate_hz) == 0
        for (master, _), stream in zip(ptys, streams, strict=True):
            write(master, (stream.hello if hello else b"") + data[k])
            if hello:
                with contextlib.suppress(BlockingIOError):
                    os.read(master, 4096)


if __name__ == "__main__":
    main()
