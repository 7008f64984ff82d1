"""The sections of the figures. Each returns rows: what, figure, unit, ratio and against what."""

import contextlib
import functools
import io
import json
import math
import os
import statistics
import struct
import threading
import time
import zlib
from collections import deque

import numpy as np
from cobs import cobs
from heads import RISE_FROM, Stream, identity, open_pty, write
from rig import (
    cpu_share,
    feeding,
    free_port,
    mosquitto,
    mosquitto_path,
    peer,
    service,
    small_record,
    subscriber,
    wait_for_port,
)
from scipy import optimize

from calibration.reporting import t_factor
from calibration.sensors import Correction
from ingest.chain.chain import Chain, ChainSettings
from ingest.core.blocks import RawRun
from ingest.core.counters import LinkCounters
from ingest.core.errors import MeasurementRefused
from ingest.core.frames import Side
from ingest.geometry.fit import fit_runout
from ingest.geometry.runout import RunoutLimits, Turn
from ingest.wire.decoder import Decoder

SIGMA = math.radians(0.01)
NEEDED_AFTER_MIDDLE = 7.5
"""The mean of ten samples k .. k+9 stands at k + 4.5; it leaves when three more have come, which
the despiking looks at: 7.5 after the middle."""


def row(what, value, unit, ratio=None, against=""):
    return {"what": what, "value": value, "unit": unit, "ratio": ratio, "against": against}


def rate(work, samples, seconds):
    """Return samples a second of repeated work."""
    ends, done, began = time.perf_counter() + seconds, 0, time.perf_counter()
    while time.perf_counter() < ends:
        work()
        done += samples
    return done / (time.perf_counter() - began)


def chain(quick):
    """Samples a second from bytes through calibration, in 50 ms blocks; a sample is two frames."""
    seconds = 0.5 if quick else 3.0
    rows = []
    stream = Stream(1, 100.0)
    for name, size in (("at saturation", 5000), ("at 100 Hz", 5)):
        blocks = [b"".join(map(stream.sample, range(i * size, (i + 1) * size))) for i in range(40)]
        texts = [b"".join(map(stream.line, range(i * size, (i + 1) * size))) for i in range(40)]
        ours = rate(_through(stream, blocks), size * 40, seconds)
        rows.append(row(f"bytes to calibrated values, {name}", ours, "samples/s"))
        for what, work in (
            ("readline script", functools.partial(_each, _script_lines, texts)),
            ("read-what-waits script", functools.partial(_each, _script_block, texts)),
            ("bare decode loop", functools.partial(_each, _bare, blocks)),
        ):
            theirs = rate(work, size * 40, seconds)
            rows.append(row(f"{what}, {name}", theirs, "samples/s", ours / theirs, "ours / this"))
    return rows


def _through(stream, blocks):
    def work():
        counters = LinkCounters()
        decoder = Decoder(counters)
        decoder.feed(stream.hello, 1)
        correction = Correction.from_record(small_record(1))
        settings = ChainSettings(decimate=None, settle=None)
        filters = Chain(settings, correction, 100.0, counters)
        for number, block in enumerate(blocks):
            for item in decoder.feed(block, 1 + number * 50_000_000):
                if isinstance(item, RawRun):
                    filters.feed(item)

    return work


def _lines(block):
    return block.split(b"\n")[:-1]


def _each(work, blocks):
    for block in blocks:
        work(block)


def _script_lines(block):
    """A line at a time out of a file-like port, as pyserial's readline gives them."""
    port = io.BytesIO(block)
    return [_as_json(line) for line in iter(port.readline, b"")]


def _as_json(line):
    return json.dumps({"t": time.time(), "values": [float(c) for c in line.split(b",")]})


def _script_block(block):
    return [_as_json(line) for line in _lines(block)]


def _bare(block):
    for piece in block.split(b"\0"):
        if piece:
            raw = cobs.decode(piece)
            if zlib.crc32(raw) == 0x2144DF1C:
                struct.unpack_from("<BBHI12s", raw)


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


class _Feed:
    """Feeds one pty in a thread, and remembers when each sample was written."""

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

    def _run(self):
        start, k = time.monotonic(), 0
        while not self._stop.is_set():
            time.sleep(max(0.0, start + k / self._rate_hz - time.monotonic()))
            hello = self._stream.hello if k % 100 == 0 else b""
            self.written_s.append(time.monotonic())
            write(self.master, hello + self._stream.sample(k))
            k += 1


def _latency_of_relay(port, seconds):
    found = []
    with _Feed() as feed, peer("relay", port, [feed.path]):

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
        feed = stack.enter_context(_Feed())
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


def load(quick):
    """CPU and memory for 4 and 32 heads at 100 Hz on mosquitto, beside the better script."""
    if mosquitto_path() is None:
        return [row("load: skipped, mosquitto is not installed", None, "")]
    seconds = 3.0 if quick else 10.0
    rows = []
    for count in (4,) if quick else (4, 32):
        with contextlib.ExitStack() as stack:
            port = stack.enter_context(mosquitto())
            paths = stack.enter_context(feeding(count, 100.0, seconds + 20, "frames"))
            ours = stack.enter_context(service(paths, port))
            time.sleep(4.0)
            share, resident = cpu_share(ours.pid, seconds)
        with contextlib.ExitStack() as stack:
            port = stack.enter_context(mosquitto())
            paths = stack.enter_context(feeding(count, 100.0, seconds + 20, "lines"))
            theirs = stack.enter_context(peer("waiting", port, paths))
            time.sleep(4.0)
            their_share, their_resident = cpu_share(theirs.pid, seconds)
        rows += [
            row(f"better script, {count} heads", 100 * their_share, "% of a core"),
            row(
                f"levelhead, {count} heads",
                100 * share,
                "% of a core",
                share / their_share,
                "of the script's",
            ),
            row(f"better script, {count} heads, resident", their_resident, "MB"),
            row(f"levelhead, {count} heads, resident", resident, "MB"),
        ]
    return rows


def start(quick):
    """From the start of the process to the first live value at a subscriber."""
    if mosquitto_path() is None:
        return [row("start: skipped, mosquitto is not installed", None, "")]
    times = []
    for _ in range(1 if quick else 5):
        first = threading.Event()
        with mosquitto() as port, _Feed() as feed:
            topic = "levelhead/v1/bay1/head/+/incl_y"
            with subscriber(port, topic, lambda *_, first=first: first.set()):
                began = time.monotonic()
                with service([feed.path], port):
                    first.wait(20)
                    times.append(time.monotonic() - began)
    return [row("start of serve to the first value, median", statistics.median(times), "s")]


def fit(quick):
    """One run-out fit with its uncertainty, 120 samples, beside curve_fit on the same data."""
    seconds = 0.5 if quick else 3.0
    rng, phi = np.random.default_rng(1), np.linspace(0.0, 2 * np.pi, 120)
    incl_y = np.radians(-1 + 0.5 * np.cos(phi - 0.3)) + SIGMA * rng.standard_normal(120)
    azimuth = np.radians(-90 + 0.5 * np.sin(phi - 0.3)) + SIGMA * rng.standard_normal(120)
    turn = Turn(phi, incl_y, azimuth_rad=azimuth, is_spin=True)

    def curve(x, c, a, b):
        return c + a * np.cos(x) + b * np.sin(x)

    ours = 1e3 / rate(lambda: fit_runout(turn), 1, seconds)
    alone = Turn(phi, incl_y, is_spin=True)
    one = 1e3 / rate(lambda: fit_runout(alone), 1, seconds)
    theirs = 1e3 / rate(lambda: optimize.curve_fit(curve, phi, incl_y), 1, seconds)
    return [
        row("scipy curve_fit, elevation alone, no checks", theirs, "ms"),
        row("levelhead, elevation alone, with all checks", one, "ms", one / theirs, "of curve_fit"),
        row("levelhead, elevation and sightline", ours, "ms", ours / theirs, "of curve_fit"),
    ]


def coverage(quick):
    """95 % intervals by the t factor over seeded runs: four stops, noise from the residuals."""
    runs = 200 if quick else 2000
    phi = np.radians([0.0, 92.0, 181.0, 268.0])
    hits = dict.fromkeys(("camber", "run-out", "phase", "heading"), 0)
    counted = 0
    for seed in range(runs):
        truth, incl_y, azimuth = _drawn(seed, phi)
        try:
            found = fit_runout(
                Turn(phi, incl_y, azimuth_rad=azimuth, is_spin=True),
                limits=RunoutLimits(u_camber_rad=math.inf),
            )
        except MeasurementRefused:
            continue
        counted += 1
        values = (
            found.camber(Side.LEFT),
            found.estimates.angle,
            found.estimates.phase,
            found.estimates.heading,
        )
        k = t_factor(0.95, found.dof)
        for name, value, true in zip(hits, values, truth, strict=True):
            hits[name] += abs(math.remainder(value.value - true, 2 * math.pi)) <= k * value.u
    share = {name: 100 * count / counted for name, count in hits.items()}
    return [row(f"95 % intervals of {n} cover, {counted} runs", v, "%") for n, v in share.items()]


def _drawn(seed, phi):
    """A left wheel by the equations of a cone; its line across from a level head."""
    rng = np.random.default_rng(seed)
    camber, e = np.radians(rng.uniform(-5, 5)), np.radians(rng.uniform(0.2, 5))
    phase = rng.uniform(-math.pi, math.pi)
    a = np.array([0.0, math.cos(camber), -math.sin(camber)])
    w, f = np.array([0.0, math.sin(camber), math.cos(camber)]), np.array([1.0, 0.0, 0.0])
    psi = phi - phase
    y = np.cos(e) * a + np.sin(e) * (np.outer(np.cos(psi), w) + np.outer(np.sin(psi), f))
    level = np.stack([y[:, 1], -y[:, 0]], axis=1) / np.hypot(y[:, 0], y[:, 1])[:, None]
    azimuth = np.arctan2(-y[:, 1], -level[:, 1])
    noise = rng.standard_normal((2, len(phi))) * SIGMA
    return (camber, e, phase, math.pi / 2), np.arcsin(y[:, 2]) + noise[0], azimuth + noise[1]


SECTIONS = {
    "chain": chain,
    "latency": latency,
    "load": load,
    "start": start,
    "fit": fit,
    "coverage": coverage,
}
