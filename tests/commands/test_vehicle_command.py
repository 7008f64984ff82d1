"""``levelhead vehicle``: files checked, shown, kept and given back."""

import json

import pytest

from ingest.cli import main
from tests.job.vehicles import SHIPPED

NAME = "rigid-6x4"


@pytest.fixture
def state(tmp_path):
    return str(tmp_path / "state.db")


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(SHIPPED[NAME])
    return path


def test_a_vehicle_is_kept_and_comes_back_byte_for_byte(file, state, tmp_path, capsys):
    assert main(["vehicle", "import", str(file), "--state", state, "--by", "A. Person"]) == 0
    changed = SHIPPED[NAME].replace("2.04", "2.05")
    file.write_text(changed)
    assert main(["vehicle", "import", str(file), "--state", state]) == 0
    assert f"{NAME}@2: " in capsys.readouterr().out
    for version, text in (("", changed), ("@1", SHIPPED[NAME]), ("@2", changed)):
        assert main(["vehicle", "export", f"{NAME}{version}", "--state", state]) == 0
        assert capsys.readouterr().out == text
    out = tmp_path / "out.toml"
    assert main(["vehicle", "export", NAME, "--state", state, "-o", str(out)]) == 0
    assert out.read_text() == changed
    capsys.readouterr()
    assert main(["vehicle", "show", f"{NAME}@1", "--state", state, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["axles"][0]["track_m"] == 2.04


def test_the_list_names_what_is_shipped_and_what_is_kept(file, state, capsys):
    main(["vehicle", "import", str(file), "--state", state, "--by", "A. Person"])
    capsys.readouterr()
    assert main(["vehicle", "list", "--state", state, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert [each["id"] for each in found["shipped"]] == sorted(SHIPPED)
    assert [(e["id"], e["version"], e["author"]) for e in found["kept"]] == [(NAME, 1, "A. Person")]
    assert main(["vehicle", "list", "--state", state]) == 0
    assert "rigid-6x4@1" in capsys.readouterr().out


def test_show_says_what_follows_from_the_file(capsys):
    assert main(["vehicle", "show", "tractor-and-trailer", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["configuration"] == "tractor 4x2 + trailer with 3 axles"
    assert [(unit["reference_axle"], unit["line"]) for unit in found["units"]] == [
        (2, [1, 2]),
        (4, ["P", 4]),
    ]
    assert {"wheels": ["L4", "R4"], "by": "hanger"} in found["blocked"]


def test_the_network_of_a_unit_is_a_file_for_levelhead_network(tmp_path, capsys):
    assert main(["vehicle", "network", "tractor-and-trailer", "--unit", "trailer"]) == 0
    path = tmp_path / "trailer.json"
    path.write_text(capsys.readouterr().out)
    assert main(["network", "--design", str(path), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["undetermined"] == []


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["show", "rigid-10x4"], "no such file or shipped vehicle"),
        (["show", "none.toml"], "no such file"),
        (["network", "tractor-and-trailer"], "name one of tractor, trailer"),
        (["network", "rigid-4x2", "--unit", "trailer"], "no unit trailer"),
        (["export", "van", "--state", "none.db"], "no such database"),
        (["export", "van", "--state", "STATE"], "no such vehicle in"),
        (["export", "rigid-6x4@9", "--state", "STATE"], "there are rigid-6x4@1"),
        (["export", "rigid-6x4@x", "--state", "STATE"], "a version is a number"),
        (["import", "FILE", "--state", "STATE", "--by", "a\nb"], "--by"),
        (["export", NAME, "--state", "STATE", "-o", "STATE"], "is there already and is no vehicle"),
    ],
)
def test_what_cannot_be_done_is_one_line(words, said, file, state, capsys):
    main(["vehicle", "import", str(file), "--state", state])
    capsys.readouterr()
    words = [{"FILE": str(file), "STATE": state}.get(word, word) for word in words]
    assert main(["vehicle", *words]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    assert said in err
