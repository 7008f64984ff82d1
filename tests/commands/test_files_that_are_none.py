"""Named pipes, folders and devices in the place of files: one line each, and no waiting."""

import os
import signal

import pytest

from ingest.cli import main
from ingest.core.errors import OutputError
from ingest.core.reading import open_file, read_file
from ingest.outputs.settings import BrokerSettings, read_password

PATIENCE_S = 10.0
WHAT = {"pipe": "named pipe", "folder": "directory", "device": "is a device"}


@pytest.fixture(autouse=True)
def impatient():
    """Whoever waits for a pipe's writer is interrupted."""

    def give_up(number, where):
        raise TimeoutError("it waits")

    before = signal.signal(signal.SIGALRM, give_up)
    signal.setitimer(signal.ITIMER_REAL, PATIENCE_S)
    yield
    signal.setitimer(signal.ITIMER_REAL, 0.0)
    signal.signal(signal.SIGALRM, before)


@pytest.fixture(params=sorted(WHAT))
def place(request, tmp_path):
    """Return what is no file, and the words for it."""
    path = tmp_path / request.param
    if request.param == "pipe":
        os.mkfifo(path)
    elif request.param == "folder":
        path.mkdir()
    else:
        path.symlink_to("/dev/zero")
    return path, WHAT[request.param]


def bay(tmp_path, text):
    path = tmp_path / "bay.toml"
    path.write_text(text)
    return path


def test_a_command_refuses_it_in_one_line(place, tmp_path, capsys):
    path, words = place
    lines = [
        ["replay", path],
        ["config", "check", path],
        ["config", "check", bay(tmp_path, f'[bay]\nnetwork = "{path.name}"\n')],
        ["capture", tmp_path / "new.mcap", path],
        ["network", path],
        ["level", path],
        ["study", path, "--bay", "b"],
        ["runout", path, "--side", "left"],
        ["calibrate", "tilt", path],
    ]
    for line in lines:
        assert main([str(word) for word in line]) == 2, line
        err = capsys.readouterr().err
        assert err.count("\n") == 1, line
        assert str(path) in err, line
        assert words in err.lower(), line
    assert not (tmp_path / "new.mcap").exists()


def test_a_capture_is_not_written_into_it(place, tmp_path, capsys):
    path, _ = place
    assert main(["capture", str(path), str(bay(tmp_path, "[broker]\nport = 0\n"))]) == 2
    err = capsys.readouterr().err
    assert err.count("\n") == 1
    assert f"{path}: exists already" in err


def test_a_password_is_not_read_from_it(place):
    path, words = place
    with pytest.raises(OutputError) as refused:
        read_password(BrokerSettings(user="u", password_file=path))
    assert words in str(refused.value).lower()


def test_what_a_shell_shows_as_a_file_is_read():
    reads, writes = os.pipe()
    os.write(writes, b"1,2\n")
    os.close(writes)
    with open_file(f"/dev/fd/{reads}") as file:  # as in: levelhead runout <(command)
        assert file.read() == b"1,2\n"
    os.close(reads)


def test_a_file_that_is_too_large_is_not_read_whole(tmp_path):
    path = tmp_path / "large"
    path.write_bytes(bytes(2**20 + 1))
    with pytest.raises(OSError, match="larger than 1 MiB"):
        read_file(path, 2**20)
    assert read_file(path, 2**21) == bytes(2**20 + 1)
