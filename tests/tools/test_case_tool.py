"""``tools/case`` makes cases: of a bay's capture, and of simulated heads."""

import json
import subprocess
import sys
from pathlib import Path

from ingest.capture.reader import read_capture

ROOT = Path(__file__).parents[2]
MAIN = ROOT / "tools" / "casing" / "main.py"
CAPTURE = ROOT / "tests" / "cases" / "knock" / "capture.mcap"


def case(folder, *words):
    return subprocess.run(
        [sys.executable, str(MAIN), "--cases", str(folder), *map(str, words)],
        capture_output=True,
        text=True,
        timeout=110,
    )


def test_a_capture_becomes_a_case_that_expects_nothing_until_a_person_says_what(tmp_path):
    done = case(tmp_path, "add", CAPTURE, "bent", "--about", "a bent rim", "--until-s", "12")
    assert done.returncode == 0, done.stderr
    said = json.loads((tmp_path / "bent" / "expected.json").read_text())
    assert said == {"about": "a bent rim", "source": "a capture of a bay", "expect": []}
    kept = read_capture(tmp_path / "bent" / "capture.mcap")
    whole = read_capture(CAPTURE).records
    assert kept.remarks == ()
    assert kept.records == whole[: len(kept.records)]
    assert 11.0 < (kept.records[-1].at_ns - whole[0].at_ns) * 1e-9 <= 12.0
    assert "head/alder/runout {" in done.stdout


def test_a_case_is_never_overwritten(tmp_path):
    (tmp_path / "bent").mkdir()
    done = case(tmp_path, "add", CAPTURE, "bent", "--about", "a bent rim")
    assert done.returncode == 2
    assert "never overwritten" in done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert list((tmp_path / "bent").iterdir()) == []


def test_what_is_no_capture_makes_no_case(tmp_path):
    done = case(tmp_path, "add", MAIN, "bent", "--about", "a bent rim")
    assert done.returncode == 2
    assert "is no capture" in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_simulating_again_gives_the_same_bytes_and_the_same_truth(tmp_path):
    expected, came = [], []
    for again in ("one", "two"):
        done = case(tmp_path / again, "simulate", "pause")
        assert done.returncode == 0, done.stderr
        made = tmp_path / again / "pause"
        expected.append(json.loads((made / "expected.json").read_text()))
        records = read_capture(made / "capture.mcap").records
        came.append([(r.at_ns, r.data) for r in records if r.topic == "bytes/alder"])
    assert expected[0] == expected[1]
    assert expected[0]["expect"]
    assert came[0] == came[1]
    assert len(came[0]) > 50


def test_an_unknown_story_is_named(tmp_path):
    done = case(tmp_path, "simulate", "flood")
    assert done.returncode == 2
    assert "flood" in done.stderr
    assert "Traceback" not in done.stderr
