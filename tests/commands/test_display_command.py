"""``levelhead display``: what it refuses, and that it serves the bay that was named."""

import json
import signal
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest

from ingest.cli import main


@pytest.mark.parametrize(
    ("given", "line"),
    [
        (["--listen", "0.0.0.0"], "takes a certificate"),
        (["--cert", "shop.pem"], "--cert and --key go together"),
        (["--cert", "shop.pem", "--key", "shop.key"], "shop.pem: cannot be used"),
        (["--papers", "nowhere"], "nowhere: no such folder; make it first"),
        (["--listen", "192.0.2.7", "--papers", "."], "shown to this machine alone"),
        (["--bay", "Bay 1"], "is no topic level"),
        (["nowhere.toml"], "nowhere.toml"),
        (["bay.toml", "--listen", "192.0.2.7"], "the embedded broker has no users"),
        (["--web-port", "70000"], "choose another port"),
        (["--port", "0"], "port"),
    ],
)
def test_refuses_in_one_line(
    given: list[str],
    line: str,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
):
    monkeypatch.chdir(tmp_path)
    Path("bay.toml").write_text('[[head]]\nport = "socket://127.0.0.1:9"\n')
    assert main(["display", *given]) == 2
    said = capsys.readouterr().err
    assert line in said
    assert len(said.splitlines()) == 1


def test_serves_the_bay_of_a_configuration_until_it_is_told_to_stop(tmp_path: Path):
    config = tmp_path / "bay.toml"
    config.write_text('[bay]\nname = "ramp7"\n[[head]]\nport = "socket://127.0.0.1:9"\n')
    command = [sys.executable, "-m", "ingest.cli", "display", str(config), "--web-port", "0"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        url = process.stdout.readline().split()[-1]
        with urllib.request.urlopen(f"{url}about.json", timeout=20) as answer:
            about = json.loads(answer.read())
        process.send_signal(signal.SIGTERM)
        assert process.wait(20) == 0
    assert about == {"bay": "ramp7", "at_home": True}
