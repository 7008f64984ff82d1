"""Whoever reads our output leaves, its disk is full, or it was closed from the start."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from ingest.cli import main

CAPTURE = Path(__file__).parents[1] / "cases" / "knock" / "capture.mcap"
CLI = (sys.executable, "-m", "ingest.cli")
PRINTING = [("schemas",), ("replay", str(CAPTURE), "--print"), ("replay", str(CAPTURE), "--info")]
PATIENCE_S = 60.0


@pytest.mark.parametrize("words", PRINTING, ids=" ".join)
def test_a_full_disk_is_said_in_one_line(words):
    if not os.path.exists("/dev/full"):
        pytest.skip("no /dev/full on this system")
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [*CLI, *words], stdout=full, stderr=subprocess.PIPE, text=True, timeout=PATIENCE_S
        )
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 1
    assert "standard output: No space left on device" in done.stderr


def test_a_file_whose_error_nobody_told_is_named_and_not_the_output(monkeypatch, capsys):
    def failing(args):
        raise PermissionError(13, "Permission denied", "/somewhere/x.json")

    monkeypatch.setattr("ingest.commands.schemas.run", failing)
    assert main(["schemas"]) == 2
    assert capsys.readouterr().err == "levelhead schemas: /somewhere/x.json: Permission denied\n"


def test_a_reader_who_leaves_ends_it_as_a_shell_expects():
    read, write = os.pipe()
    os.close(read)
    done = subprocess.run(
        [*CLI, *PRINTING[1]], stdout=write, stderr=subprocess.PIPE, text=True, timeout=PATIENCE_S
    )
    os.close(write)
    assert (done.returncode, done.stderr) == (128 + signal.SIGPIPE, "")


@pytest.mark.parametrize("words", PRINTING, ids=" ".join)
def test_an_output_closed_by_the_caller_is_no_error(words):
    close = ["sh", "-c", 'exec "$@" >&-', "sh"]
    done = subprocess.run(
        [*close, *CLI, *words], stderr=subprocess.PIPE, text=True, timeout=PATIENCE_S
    )
    assert (done.returncode, done.stderr) == (0, "")
