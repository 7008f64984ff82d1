"""``levelhead capture`` as a process of its own, on a simulated head that is another."""

import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from ingest.capture.reader import read_capture
from ingest.cli import main
from tests.rig.mosquitto import free_port

PATIENCE_S = 30.0
CLI = (sys.executable, "-m", "ingest.cli")


@pytest.fixture
def config(tmp_path, head_path):
    """A service's configuration for a simulated head on a pty, in a process of its own."""
    file = tmp_path / "bay.toml"
    file.write_text(
        f'[bay]\nname = "pit"\n[broker]\nport = {free_port()}\n[[head]]\nport = "{head_path}"\n'
    )
    return file


@pytest.fixture
def capturing(config):
    """Return a starter of ``levelhead capture``; it returns when some seconds were served."""
    started = []

    def start(file, seconds):
        service = subprocess.Popen(
            [*CLI, "capture", str(file), str(config)],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        started.append(service)
        assert "serves bay pit" in service.stdout.readline()
        time.sleep(seconds)
        return service

    yield start
    for service in started:
        service.kill()
        service.communicate(timeout=PATIENCE_S)


def seconds_kept(file):
    records = read_capture(file).records
    assert any(record.topic.startswith("bytes/") for record in records)
    return (records[-1].at_ns - records[0].at_ns) * 1e-9


def test_a_captured_service_that_is_killed_can_be_replayed_to_its_last_seconds(
    tmp_path, capturing, capsys
):
    file = tmp_path / "killed.mcap"
    service = capturing(file, 4.0)
    service.kill()
    service.wait(timeout=PATIENCE_S)
    assert seconds_kept(file) > 2.0
    assert main(["replay", str(file), "--print"]) == 0
    said = capsys.readouterr()
    assert "levelhead/v1/pit-replay/svc/status" in said.out
    assert "/incl_y" in said.out
    assert "torn off" in said.err


def test_a_captured_service_that_is_stopped_leaves_a_whole_capture(
    tmp_path, capturing, config, capsys
):
    file = tmp_path / "stopped.mcap"
    service = capturing(file, 2.0)
    service.send_signal(signal.SIGTERM)
    assert service.wait(timeout=PATIENCE_S) == 0
    assert read_capture(file).remarks == ()
    before = file.read_bytes()
    assert main(["capture", str(file), str(config)]) == 2
    said = capsys.readouterr()
    assert len(said.err.splitlines()) == 1
    assert "never overwritten" in said.err
    assert said.out == ""
    assert file.read_bytes() == before


FULL_DISK = """
import sys
from ingest.capture import writer
from ingest.cli import main
writer.new_file = lambda path: open("/dev/full", "wb", buffering=0)
sys.exit(main(sys.argv[1:]))
"""


def test_a_capture_on_a_full_disk_is_said_once_and_by_the_exit_code(tmp_path, config):
    if not Path("/dev/full").exists():
        pytest.skip("no /dev/full on this system")
    service = subprocess.Popen(
        [sys.executable, "-c", FULL_DISK, "capture", str(tmp_path / "full.mcap"), str(config)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        assert "serves bay pit" in service.stdout.readline()
        time.sleep(1.5)
    finally:
        service.send_signal(signal.SIGTERM)
        _, said = service.communicate(timeout=PATIENCE_S)
    assert service.returncode == 1
    lines = [line for line in said.splitlines() if "capture" in line]
    assert len(lines) == 1
    assert "No space left on device; the capture ends here, measuring goes on" in lines[0]
