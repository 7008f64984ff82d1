"""The files and commands that the network's FILES.md shows are run as they stand there."""

import json
import re
import shlex
from pathlib import Path

import pytest

from ingest.cli import main
from ingest.payload import network_file

FILES = Path(__file__).parents[2] / "ingest" / "geometry" / "network" / "FILES.md"
FILE = re.compile(r"^```file (\S+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
RUN = re.compile(r"^```run\n(.*?)^```$", re.MULTILINE | re.DOTALL)


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """A folder with the files, entered."""
    for name, content in FILE.findall(FILES.read_text(encoding="utf-8")):
        (tmp_path / name).write_text(content)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_every_command_ends_as_the_document_says(folder, capsys):
    lines = "".join(RUN.findall(FILES.read_text(encoding="utf-8"))).splitlines()
    assert len(lines) >= 5
    for line in lines:
        command, _, wanted = line.partition(" # exit ")
        code = main([*shlex.split(command)[1:], "--json"])
        assert code == int(wanted or 0), line
        out = capsys.readouterr().out
        assert not code or not out
    assert (folder / "tractor.svg").read_text().startswith("<svg")


def test_the_tractor_of_the_document_is_as_it_was_drawn(folder, capsys):
    # The vehicle behind the readings, deg: by the arithmetic of plane angles, noise 0.01 deg.
    assert main(["network", "tractor.json", "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    truth = {"L1": 0.012, "R1": 0.078, "L2": -0.118, "R2": 0.158, "L3": -0.218, "R3": 0.258}
    for wheel in answer["wheels"]:
        assert abs(wheel["toe_deg"] - truth[wheel["id"]]) < 3.0 * wheel["u_toe_deg"]
    assert abs(answer["vehicle"]["thrust_deg"] - 0.238) < 3.0 * answer["vehicle"]["u_thrust_deg"]
    assert answer["suspect"] is None
    assert [each["agrees"] for each in answer["proof"][:2]] == [True, True]


def test_every_key_of_file_and_answer_is_described(folder, capsys):
    text = FILES.read_text(encoding="utf-8")
    models = [
        *(network_file.NetworkFile, network_file.StationEntry, network_file.SetupEntry),
        *(network_file.AngleEntry, network_file.DistanceEntry, network_file.CheckEntry),
    ]
    keys = {f.alias or name for m in models for name, f in m.model_fields.items()}
    main(["network", "tractor.json", "--json"])
    answer = json.loads(capsys.readouterr().out)
    keys |= set(answer) - {"about"}
    for key in sorted(keys - {"about", "stations", "observations"}):
        assert f"`{key}`" in text, key
