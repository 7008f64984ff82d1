"""Processes for measuring: brokers, the service, peers, and what the kernel says of them."""

import contextlib
import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from datetime import date, timedelta
from pathlib import Path

import paho.mqtt.client as mqtt
from heads import identity

from calibration.records.parts import ChannelFigures, TiltPart
from calibration.records.text import dump_record, seal
from calibration.records.version1 import CalibrationRecord1

HERE = Path(__file__).parent
TICKS = os.sysconf("SC_CLK_TCK")


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def mosquitto_path():
    return shutil.which("mosquitto", path=os.environ.get("PATH", "") + ":/usr/sbin")


@contextlib.contextmanager
def process(*command):
    """Run a command, its output thrown away; stop it at the end."""
    running = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        yield running
    finally:
        running.send_signal(signal.SIGTERM)
        with contextlib.suppress(subprocess.TimeoutExpired):
            running.wait(5)
        running.kill()
        running.wait()


def wait_for_port(port, within_s=10.0):
    ends = time.monotonic() + within_s
    while time.monotonic() < ends:
        with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port)):
            return
        time.sleep(0.01)
    raise SystemExit(f"figures: nothing listens on port {port}")


@contextlib.contextmanager
def mosquitto():
    """Run it as the integrator's kit sets it up, but for users and TLS."""
    port = free_port()
    with tempfile.TemporaryDirectory() as folder:
        lines = (f"listener {port} 127.0.0.1", "allow_anonymous true", "set_tcp_nodelay true")
        config = Path(folder) / "mosquitto.conf"
        config.write_text("\n".join(lines) + "\n")
        with process(mosquitto_path(), "-c", str(config)):
            wait_for_port(port)
            yield port


def small_record(number):
    """A record whose uncertainty is so small that the wire's steps show."""
    small, none = (1e-6, 1e-6), (0.0, 0.0)
    today = date.today()
    return seal(
        CalibrationRecord1(
            record_id=f"cal-{today.year}-{number:04d}",
            head_id=identity(number),
            issued=today - timedelta(days=1),
            due=None,
            tilt=TiltPart(
                reference_temperature_degc=20.0,
                bias_deg=none,
                u_bias_deg=small,
                matrix=((1.0, 0.0), (0.0, 1.0)),
                u_matrix=((0.0, 0.0), (0.0, 0.0)),
                bias_deg_per_degc=none,
                u_bias_deg_per_degc=none,
                scale_per_degc=none,
                u_scale_per_degc=none,
            ),
            encoders={},
            ports={},
            stub_m=0.25,
            u_stub_m=0.001,
            channels={"incl_y": ChannelFigures(noise_deg=1e-6, resolution_deg=1e-6)},
        )
    )


@contextlib.contextmanager
def service(paths, broker_port, *, embedded=False, records=None):
    """Run ``levelhead serve`` on these ttys; ``records``: their heads', in place of small ones."""
    if records is None:
        records = [dump_record(small_record(number + 1)) for number in range(len(paths))]
    with tempfile.TemporaryDirectory() as folder:
        kept = Path(folder) / "records"
        kept.mkdir()
        for number, record in enumerate(records, start=1):
            (kept / f"{number}.json").write_text(record)
        broker = f"port = {broker_port}\n" + ("" if embedded else 'host = "127.0.0.1"\n')
        heads = "".join(f'[[head]]\nport = "{path}"\n' for path in paths)
        config = Path(folder) / "bay.toml"
        config.write_text(f'[bay]\nrecords_dir = "records"\n[broker]\n{broker}{heads}')
        program = Path(sys.executable).parent / "levelhead"
        with process(str(program), "serve", str(config)) as running:
            yield running


@contextlib.contextmanager
def peer(kind, broker_port, paths):
    command = (sys.executable, str(HERE / "peers.py"), kind, str(broker_port), *paths)
    with process(*command) as running:
        yield running


@contextlib.contextmanager
def feeding(count, rate_hz, seconds, form):
    """Feed ptys from a process of its own; yield their paths."""
    command = [sys.executable, str(HERE / "heads.py"), str(count), str(rate_hz), str(seconds), form]
    running = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    try:
        yield json.loads(running.stdout.readline())
    finally:
        running.kill()
        running.wait()
        running.stdout.close()


@contextlib.contextmanager
def subscriber(port, topic, on_message):
    """Subscribe; ``on_message(topic, payload, arrived_s)`` runs in the client's thread."""
    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
    ready = threading.Event()
    client.on_connect = lambda c, *_: c.subscribe(topic)
    client.on_subscribe = lambda *_: ready.set()
    client.on_message = lambda _c, _u, m: on_message(m.topic, m.payload, time.monotonic())
    client.connect("127.0.0.1", port)
    client.loop_start()
    ready.wait(5)
    try:
        yield client
    finally:
        client.disconnect()
        client.loop_stop()


def cpu_share(pid, seconds):
    """Return a process's share of one core over some seconds, and its resident megabytes."""
    before, began = _ticks(pid), time.monotonic()
    time.sleep(seconds)
    share = (_ticks(pid) - before) / TICKS / (time.monotonic() - began)
    resident = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
    return share, resident * os.sysconf("SC_PAGE_SIZE") / 2**20


def _ticks(pid):
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return int(fields[11]) + int(fields[12])
