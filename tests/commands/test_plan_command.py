"""``levelhead plan``: steps with their reasons, in words and as JSON."""

import json
import re

import pytest

from ingest.cli import main
from tests.job.vehicles import SHIPPED


def test_the_plan_of_a_6x4_in_json(capsys):
    assert main(["plan", "rigid-6x4", "--heads", "2", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert (found["mountings"], found["set_ups"], found["order"]) == (3, 2, [3, 1, 2])
    assert [step["step"] for step in found["steps"]] == list(range(1, len(found["steps"]) + 1))
    assert all(step["why"].endswith(".") and step["text"].endswith(".") for step in found["steps"])


def test_a_file_is_planned_as_the_shipped_vehicle_is(tmp_path, capsys):
    path = tmp_path / "mine.toml"
    path.write_text(SHIPPED["rigid-8x4"])
    said = []
    for which in (str(path), "rigid-8x4"):
        assert main(["plan", which]) == 0
        said.append(capsys.readouterr().out)
    assert said[0] == said[1]
    numbers = re.findall(r"^ *(\d+)\. ", said[0], re.MULTILINE)
    assert numbers == [str(n) for n in range(1, len(numbers) + 1)]
    assert said[0].count("Why: ") == len(numbers)


def test_where_there_is_no_plan_it_says_what_would_help(capsys):
    assert main(["plan", "rigid-4x2", "--heads", "1", "--json"]) == 3
    out, err = capsys.readouterr()
    found = json.loads(out)
    assert (found["possible"], found["mountings"], found["steps"]) == (False, None, [])
    assert found["units"][0]["helps"] == ["another pair of heads"]
    assert err.count("\n") == 1
    assert "what would help: another pair of heads" in err


def test_what_cannot_be_done_today_is_planned_around(capsys):
    words = ["plan", "rigid-8x4", "--seized", "3", "--blocked", "L1-L2", "--json"]
    assert main(words) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["units"][0]["reference_axle"] == 3
    assert 3 not in [n for step in found["steps"] if step["do"] == "adjust" for n in step["axles"]]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--heads", "0"], "--heads: 0 pairs"),
        (["--heads", "11"], "--heads: 11 pairs"),
        (["--heads", "two"], "--heads"),
        (["--seized", "5"], "--seized: no axle 5; rigid-8x4 has 4"),
        (["--blocked", "L1"], "--blocked: 'L1' is no sightline"),
        (["--blocked", "L1-R2"], "--blocked: L1-R2: a line runs along one side"),
        (["--blocked", "L1-L9"], "--blocked: no axle 9"),
    ],
)
def test_bad_options_are_one_line(words, said, capsys):
    try:
        code = main(["plan", "rigid-8x4", *words])
    except SystemExit as left:
        code = left.code
    assert code == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    assert said in err
