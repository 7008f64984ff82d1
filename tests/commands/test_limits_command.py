"""``levelhead limits``: kept, changed, compared, written, judged; and what is refused."""

import io
import json
import sqlite3

import pytest

from ingest.cli import main
from ingest.commands import limits_shelf
from ingest.store.database import SCHEMA_VERSION

ME = ("--author", "R. Alder", "--on", "2026-11-28")


@pytest.fixture
def limits(capsys, tmp_path, monkeypatch):
    """Run the command."""
    monkeypatch.chdir(tmp_path)

    def run(*words):
        try:
            code = main(["limits", *words])
        except SystemExit as stop:
            code = stop.code
        out, err = capsys.readouterr()
        return code, out, err

    return run


@pytest.fixture
def mine(limits):
    """The same, with a set of my own in the database."""
    assert limits("save-as", "general", "mine", *ME)[0] == 0
    return limits


def told(answer):
    code, out, err = answer
    assert (code, err) == (0, "")
    return json.loads(out)


def test_what_comes_with_levelhead_is_there_without_a_database(limits, tmp_path):
    assert "general version 1" in limits("list")[1]
    assert told(limits("show", "general", "--json"))["name"] == "general"
    assert limits("judge", "general", "thrust", "--value", "0", "--u", "0.1")[0] == 0
    assert list(tmp_path.iterdir()) == []


def test_a_set_is_authored_changed_narrowed_and_brought_back(limits):
    limits("new", "ash", "--note", "ours", "--rule", "guard-u-4", *ME)
    limits("set", "ash", "total_toe", "--axle", "1", "--low", "-1/32", "--high", "1/16",
           "--unit", "in", "--across", "22.5 in", "--source", "sheet", *ME)  # fmt: skip
    one = told(limits("set", "ash", "camber", "--axle", "every", "--side", "left",
                      "--load", "laden", "--low", "-0:30", "--high", "0:30", "--unit", "deg-min",
                      "--source", "sheet", *ME, "--json"))  # fmt: skip
    assert (one["version"], one["rule"], one["note"]) == (3, "guard-u-4", "ours")
    assert one["limits"][0]["low"] == "-1/32"
    assert one["limits"][0]["high_deg"] == pytest.approx(0.159155, abs=5e-7)
    assert (one["limits"][1]["side"], one["limits"][1]["load"]) == ("left", "laden")
    narrower = told(limits("narrow", "ash", "0.5", *ME, "--json"))
    assert narrower["limits"][1]["low"] == "-0:15"
    assert narrower["left"] == []
    told(limits("rule", "ash", "simple", *ME, "--json"))
    told(limits("undo", "ash", *ME, "--json"))
    back = told(limits("undo", "ash", *ME, "--json"))
    assert (back["limits"], back["rule"]) == (one["limits"], "guard-u-4")
    assert back["restores"] == 3
    versions = told(limits("list", "ash", "--json"))["versions"]
    assert [each["version"] for each in versions] == [1, 2, 3, 4, 5, 6, 7]
    assert told(limits("show", "ash@4", "--json"))["limits"] == narrower["limits"]


def test_one_change_on_every_axle_and_one_taken_out(limits):
    limits("save-as", "pellowmere-42", "mine", *ME)
    made = told(limits("set", "mine", "lateral_offset", "--all-axles", "--high", "5",
                       "--source", "letter", *ME, "--json"))  # fmt: skip
    asides = [each for each in made["limits"] if each["quantity"] == "lateral_offset"]
    assert [each["high"] for each in asides] == ["5", "5", "5"]
    less = told(limits("set", "mine", "thrust", "--axle", "vehicle", "--remove", *ME, "--json"))
    assert len(less["limits"]) == len(made["limits"]) - 1
    assert "only in the first" in limits("compare", "mine@2", "mine")[1]
    found = told(limits("compare", "mine@2", "mine", "--json"))
    assert [each["quantity"] for each in found["differences"]] == ["thrust"]
    assert found["differences"][0]["second"] is None


def test_what_is_exported_comes_back_the_same(mine, tmp_path):
    before = told(mine("show", "mine", "--json"))
    assert mine("export", "mine", "-o", "mine.toml")[0] == 0
    assert mine("export", "mine", "-o", "mine.csv")[0] == 0
    assert (tmp_path / "mine.toml").read_text() == mine("export", "mine")[1]
    assert "nothing to do" in mine("import", "mine.toml")[1]
    assert told(mine("import", "mine.toml", "--state", "other.db", "--json")) == before
    assert told(mine("show", "mine", "--state", "other.db", "--json")) == before
    copied = told(mine("import", "mine.csv", "--name", "copy", *ME, "--json"))
    assert copied["limits"] == before["limits"]
    assert "nothing to do" in mine("import", "mine.csv", "--name", "copy", *ME)[1]
    renamed = told(mine("import", "mine.toml", "--name", "oak", "--json"))
    assert (renamed["version"], renamed["predecessor"]) == (1, {"name": "mine", "version": 1})
    mine("narrow", "mine", "0.5", *ME)
    changed = told(mine("import", "mine.csv", "--name", "mine", *ME, "--json"))
    assert (changed["version"], changed["limits"]) == (3, before["limits"])
    assert (changed["rule"], changed["note"]) == (before["rule"], before["note"])


def test_a_value_is_judged_in_the_unit_that_it_is_given_in(limits):
    # 1.4 mm/m is 0.0802 deg; the set allows 1.8 mm/m of heading.
    place = ("pellowmere-17", "heading", "--axle", "1", "--role", "steer")
    found = told(
        limits("judge", *place, "--value", "1.4", "--u", "0.1", "--unit", "mm/m", "--json")
    )
    assert (found["decision"], found["limit"]["unit"]) == ("inside", "mm/m")
    assert (found["value"], found["U"]) == (pytest.approx(1.4), pytest.approx(0.2))
    assert told(limits("judge", *place, "--value", "0.0802", "--u", "0.00573", "--json"))[
        "p_conform"
    ] == pytest.approx(found["p_conform"], abs=1e-4)
    code, out, _ = limits("judge", *place, "--value", "-0.2", "--u", "0.01")
    assert code == 0
    assert "outside: it does not meet the limit" in out


SETTING = ("set", "mine", "camber", "--axle", "1")
FIGURE = ("--source", "s", "--unit", "deg")
JUDGING = ("judge", "general", "camber", "--axle", "1", "--side", "left")
BAD = {
    "there are general, pellowmere-17": ("show", "oak"),
    "there are 1": ("show", "mine@7"),
    "a version is a number": ("show", "mine@x"),
    "save it under a name of your own": ("narrow", "general", "0.5", *ME),
    "comes with levelhead; choose another": ("new", "general", *ME),
    "there is a set of this name": ("save-as", "general", "mine", *ME),
    "cannot name a set": ("new", "Mine!", *ME),
    "'loud' is not known; choose one of simple": ("new", "x", "--rule", "loud", *ME),
    "author is empty": ("new", "x", "--author", " "),
    "is no day": ("new", "x", "--author", "A", "--on", "today"),
    "above 0, at most 1": ("narrow", "mine", "0", *ME),
    "would widen": ("narrow", "mine", "2", *ME),
    "the newest version is what is changed": ("narrow", "mine@1", "0.5", *ME),
    "'kamber' is not known; choose one of camber": ("set", "mine", "kamber", "--axle", "1", *ME),
    "'front' is no axle": ("set", "mine", "toe", "--axle", "front", "--low", "0", *FIGURE, *ME),
    "low 1 is above high 0": (*SETTING, "--low", "1", "--high", "0", *FIGURE, *ME),
    "low: 'nan' is not a finite number": (*SETTING, "--low", "nan", *FIGURE, *ME),
    "without its reference diameter": (
        *SETTING,
        "--low",
        "0",
        "--source",
        "s",
        "--unit",
        "mm",
        *ME,
    ),
    "say where the figures are from": (*SETTING, "--low", "0", "--unit", "deg", *ME),
    "nothing is given to change": (*SETTING, *ME),
    "give its unit": (*SETTING, "--low", "0", "--source", "s", *ME),
    "has no limit for axle 1 camber": (*SETTING, "--remove", *ME),
    "name its --axle": ("set", "mine", "camber", "--all-axles", "--remove", *ME),
    "its first; nothing to undo": ("undo", "mine", *ME),
    "no such file": ("import", "absent.toml"),
    "needed with a CSV": ("import", "-", "--csv"),
    "cannot be written: no such folder": ("export", "mine", "-o", "nowhere/x.toml"),
    "say left or right": (*JUDGING[:-2], "--value", "0", "--u", "0.1"),
    "is negative": (*JUDGING, "--value", "0", "--u", "-0.1"),
    "--value: 'x' is not a finite number": (*JUDGING, "--value", "x", "--u", "0.1"),
    "give its number, from 1 to 20": ("judge", "general", "scrub", "--value", "0", "--u", "1"),
    "is no role": (*JUDGING, "--role", "king", "--value", "0", "--u", "0.1"),
    "needed: --author": ("narrow", "mine", "0.5"),
}


@pytest.mark.parametrize("says", BAD)
def test_what_is_wrong_is_one_line_and_nothing_is_kept(mine, says, monkeypatch):
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(b"")))
    before = told(mine("list", "--json"))
    code, out, err = mine(*BAD[says])
    assert (code, out) == (2, "")
    assert says.replace("needed: --author", "required: --author") in err
    assert err.count("\n") == 1
    assert told(mine("list", "--json")) == before


def test_what_is_refused_makes_no_database(limits, tmp_path):
    for words in (
        ("new", "general"),
        ("new", "Mine!"),
        ("save-as", "oak", "mine"),
        ("undo", "oak"),
    ):
        assert limits(*words, *ME)[0] == 2
    assert list(tmp_path.iterdir()) == []


def test_a_file_of_another_kind_is_not_written_over(mine, tmp_path):
    (tmp_path / "readings.csv").write_text("row,incl_y_deg\n1,0.5\n")
    code, _, err = mine("export", "mine", "-o", "readings.csv")
    assert (code, err.count("\n")) == (2, 1)
    assert (tmp_path / "readings.csv").read_text() == "row,incl_y_deg\n1,0.5\n"


def test_a_store_of_a_newer_version_is_left_alone(mine, tmp_path):
    with sqlite3.connect(tmp_path / "levelhead.db") as raw:
        raw.execute(f"PRAGMA user_version = {SCHEMA_VERSION + 1}")
    raw.close()
    before = (tmp_path / "levelhead.db").read_bytes()
    code, out, err = mine("narrow", "mine", "0.5", *ME)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert "use the newer program" in err
    assert (tmp_path / "levelhead.db").read_bytes() == before


def test_a_full_disk_is_one_line_and_keeps_nothing_of_the_change(mine, monkeypatch):
    before = told(mine("list", "--json"))

    def full(connection):
        connection.execute("PRAGMA max_page_count = 1")  # no lower than what is there
        return plain(connection)

    plain = limits_shelf.StoredLimits
    with monkeypatch.context() as patched:
        patched.setattr(limits_shelf, "StoredLimits", full)
        answers = [mine("save-as", "general", f"copy-{n}", *ME) for n in range(9)]
    code, out, err = answers[-1]
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert "the disk is full; nothing of this was kept" in err
    kept = sum(code == 0 for code, _, _ in answers)
    assert len(told(mine("list", "--json"))["sets"]) == len(before["sets"]) + kept
