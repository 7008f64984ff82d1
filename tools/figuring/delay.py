"""How long values take to a subscriber, and the first value after a start."""

import contextlib
import json
import statistics
import struct
import threading
import time
import zlib

import numpy as np
from cobs import cobs
from heads import RISE_FROM, Feed, identity
from rig import free_port, mosquitto, mosquitto_path, peer, service, subscriber, wait_for_port
from rows import row

NEEDED_AFTER_MIDDLE = 7.5
"""The mean of ten samples k .. k+9 stands at k + 4.5; it leaves when three more have come, which
the despiking looks at: 7.5 after the middle."""


def latency(quick):
    """From the write of the newest byte used to the subscriber, against a bare relay."""
    seconds = 4.0 if quick else 12.0
    rows = []
    for name, broker in (("mosquitto", mosquitto), ("embedded broker", _embedded)):
        if name == "mosquitto" and mosquitto_path() is None:
            rows.append(row("latency on mosquitto: skipped, it is not installed", None, ""))
            continue
        with broker() as port:
            relay = _latency_of_relay(port, seconds)
        ours, lag_ms = _latency_of_service(name, seconds)
        for percent in (50, 99):
            bare, full = (float(np.percentile(each, percent)) for each in (relay, ours))
            rows.append(row(f"bare relay on {name}, p{percent}", bare, "ms"))
            rows.append(
                row(
                    f"levelhead on {name}, p{percent}",
                    full,
                    "ms",
                    full - bare,
                    "ms above the relay",
                )
            )
        rows.append(row(f"known delay of the filters, {name}", lag_ms, "ms"))
    return rows


@contextlib.contextmanager
def _embedded():
    """Run the embedded broker: a service without heads."""
    port = free_port()
    with service([], port, embedded=True):
        wait_for_port(port)
        yield port


def _latency_of_relay(port, seconds):
    found = []
    with Feed() as feed, peer("relay", port, [feed.path]):

        def heard(_topic, payload, arrived_s):
            for piece in payload.split(b"\0"):
                with contextlib.suppress(cobs.DecodeError, struct.error, IndexError):
                    raw = cobs.decode(piece)  # a read may cut a frame: its halves are no frames
                    if raw[0] == 0x11 and zlib.crc32(raw) == 0x2144DF1C:
                        k = struct.unpack_from("<H", raw, 2)[0]
                        found.append((arrived_s - feed.written_s[k]) * 1e3)

        with subscriber(port, "relay", heard):
            time.sleep(1.5)
            found.clear()
            time.sleep(seconds)
    return found


def _latency_of_service(name, seconds):
    found, lags = [], []
    with contextlib.ExitStack() as stack:
        feed = stack.enter_context(Feed())
        embedded = name != "mosquitto"
        port = free_port() if embedded else stack.enter_context(mosquitto())
        stack.enter_context(service([feed.path], port, embedded=embedded))
        wait_for_port(port)

        def heard(_topic, payload, arrived_s):
            message = json.loads(payload)
            k = round(message["value"] * 1e4 - RISE_FROM + NEEDED_AFTER_MIDDLE)
            if 0 <= k < len(feed.written_s):
                found.append((arrived_s - feed.written_s[k]) * 1e3)
                lags.append(message["lag_ms"])

        topic = f"levelhead/v1/bay1/head/head-{identity(1)[-4:]}/incl_y"
        with subscriber(port, topic, heard):
            time.sleep(5.0)
            found.clear()
            time.sleep(seconds)
    return found, lags[-1]


def start(quick):
    """From the start of the process to the first live value at a subscriber."""
    if mosquitto_path() is None:
        return [row("start: skipped, mosquitto is not installed", None, "")]
    times = []
    for _ in range(1 if quick else 5):
        first = threading.Event()
        with mosquitto() as port, Feed() as feed:
            topic = "levelhead/v1/bay1/head/+/incl_y"
            with subscriber(port, topic, lambda *_, first=first: first.set()):
                began = time.monotonic()
                with service([feed.path], port):
                    first.wait(20)
                    times.append(time.monotonic() - began)
    return [row("start of serve to the first value, median", statistics.median(times), "s")]
