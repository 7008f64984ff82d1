"""``levelhead study``, and what a service makes of its file."""

import csv
import datetime
import hashlib
import io
import json

import numpy as np
import pytest

from ingest.cli import main
from ingest.commands.bay_study import with_study
from ingest.config import load_config

HEADER = ("row", "technician", "axle", "side", "mounting", "settling")
HEADER += ("camber_deg", "total_toe_deg")


def study_csv(technicians=("Ada Brindle", "Tom Reddle", "Mira Sedge")):
    rng = np.random.default_rng(9)
    out = io.StringIO()
    lines = csv.writer(out, lineterminator="\n")
    lines.writerow(HEADER)
    row = 0
    for technician in technicians:
        habit = rng.normal(0.0, 0.01)
        for side in ("left", "right", "both"):
            for mounting in (1, 2, 3):
                sat = rng.normal(0.0, 0.02)
                for settling in (1, 2):
                    row += 1
                    value = f"{habit + sat + rng.normal(0.0, 0.004):.4f}"
                    cells = ["", value] if side == "both" else [value, ""]
                    lines.writerow([row, technician, 1, side, mounting, settling, *cells])
    return out.getvalue()


@pytest.fixture
def made(tmp_path, capsys):
    """Return what makes a study of a bay in a file, beside a configuration of bay1."""
    (tmp_path / "bay.toml").write_text('[bay]\nname = "bay1"\nstudy = "study.json"\n')
    (tmp_path / "study.csv").write_text(study_csv())

    def make(bay="bay1"):
        words = [str(tmp_path / "study.csv"), "--bay", bay, "--date", "2026-11-20"]
        assert main(["study", *words, "-o", str(tmp_path / "study.json")]) == 0
        capsys.readouterr()
        return tmp_path

    return make


TODAY = datetime.date(2026, 11, 28)


def settings(folder):
    config = load_config(folder / "bay.toml")
    found, refused = with_study(config.service, config.study, config.bay, TODAY)
    return found.bay.wheel.spread, refused


def test_a_study_is_told_kept_and_stood_on(made):
    folder = made()
    spread, refused = settings(folder)
    assert refused is None
    assert spread.told == "bay study 2026-11-20"
    kept = json.loads((folder / "study.json").read_text())
    raw = (folder / "study.csv").read_bytes()
    assert kept["raw"] == {"name": "study.csv", "sha256": hashlib.sha256(raw).hexdigest()}
    camber = kept["quantities"][0]
    assert camber["quantity"] == "camber"
    by_cause = {c["cause"]: (c["u_deg"], c["dof"]) for c in camber["components"]}
    assert {s.cause: (s.u_deg, s.dof) for s in spread.study.camber} == {
        cause: found for cause, found in by_cause.items() if found[1] is not None
    }
    assert spread.study.total_toe is not None


def test_a_study_that_is_yet_to_come_is_stood_on_and_told_with_both_ways_to_be_wrong(made):
    config = load_config(made() / "bay.toml")
    # The study is of 2026-11-20; whose clock is a day behind is east of Greenwich.
    days = {datetime.date(2026, 11, 1): True, datetime.date(2026, 11, 19): False}
    for today, yet_to_come in days.items():
        found, told = with_study(config.service, config.study, config.bay, today)
        assert found.bay.wheel.spread.told == "bay study 2026-11-20"
        assert (told is not None) == yet_to_come
        if told is not None:
            assert "is dated 2026-11-20, and this machine's clock says 2026-11-01" in told
            assert "one of the two is wrong" in told


def test_text_says_what_there_is_to_say(made, capsys):
    folder = made()
    assert main(["study", str(folder / "study.csv"), "--bay", "bay1"]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    for words in ("2 x 3 technicians x 3 mountings x 2 settlings", "one result", "interval"):
        assert words in out


def test_a_study_of_another_bay_is_refused_and_the_assumed_spread_stays(made):
    spread, refused = settings(made("north"))
    assert spread.study is None
    assert "bay north, not of bay1" in refused
    assert "assumed spread of the bay" in refused
    assert "study.json" in refused


@pytest.mark.parametrize("damage", [b"0.0", b"{", b"\xff"])
def test_an_altered_study_is_refused_and_the_assumed_spread_stays(made, damage):
    folder = made()
    path = folder / "study.json"
    content = path.read_bytes()
    path.write_bytes(content.replace(content[700 : 700 + len(damage)], damage, 1))
    assert path.read_bytes() != content
    spread, refused = settings(folder)
    assert (spread.study, spread.told) == (None, "assumed spread of the bay")
    assert str(path) in refused
    assert "\n" not in refused


def test_a_study_that_is_not_there_stops_the_start(made, capsys):
    folder = made()
    (folder / "study.json").unlink()
    assert main(["config", "check", str(folder / "bay.toml")]) == 2
    assert "bay.study" in capsys.readouterr().err


def test_config_check_says_what_results_will_stand_on(made, capsys):
    folder = made()
    assert main(["config", "check", str(folder / "bay.toml")]) == 0
    assert "settling: bay study 2026-11-20" in capsys.readouterr().out
    made("north")
    assert main(["config", "check", str(folder / "bay.toml"), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["spread"] == "assumed spread of the bay"
    assert "north" in found["study_refused"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--bay", "Bay 1"], "bay"),
        (["--bay", "bay1", "--date", "20th of May"], "--date"),
    ],
)
def test_bad_arguments_are_refused_in_one_line(made, capsys, words, said):
    folder = made()
    assert main(["study", str(folder / "study.csv"), *words]) == 2
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    assert said in err


def test_a_bad_row_leaves_no_file_behind(made, capsys):
    folder = made()
    (folder / "study.json").unlink()
    text = (folder / "study.csv").read_text().replace("5,Ada", "6,Ada", 1)
    (folder / "study.csv").write_text(text)
    words = [str(folder / "study.csv"), "--bay", "bay1", "-o", str(folder / "study.json")]
    assert main(["study", *words]) == 2
    assert "row 6" in capsys.readouterr().err
    assert not (folder / "study.json").exists()
