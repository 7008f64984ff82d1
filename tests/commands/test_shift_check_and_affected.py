"""The morning check of a pair, its history, and what a bad head had measured: the whole way."""

import json
import math
import sqlite3
import subprocess
import sys
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from lxml import etree

from calibration.control import FEWEST
from calibration.records.parts import EncoderPart, TiltPart
from calibration.records.text import dump_record, load_record, seal
from ingest.cli import main
from ingest.commands.check_bar import bar_length_m
from ingest.core.errors import InputError
from ingest.core.ids import HeadId, HeadName
from ingest.core.published import PublishedResult
from ingest.store.database import open_database
from ingest.store.head_names import StoredHeadNames
from ingest.store.published import StoredResults
from ingest.store.records import StoredRecords

ALDER, BIRCH, STRANGER = (HeadId(f"{n:016x}") for n in (0xA1, 0xB2, 0xC3))
KEPT = Path(__file__).parents[1] / "calibration" / "records" / "version-1.json"
HEADER = "row,turned,head,incl_y_deg,incl_x_deg,azimuth_deg"
NOUGHT = (0.0, 0.0)


def record(head, number):
    kept = load_record(KEPT.read_text(encoding="utf-8"))
    tilt = TiltPart(
        reference_temperature_degc=20.0,
        bias_deg=NOUGHT,
        u_bias_deg=NOUGHT,
        matrix=((1.0, 0.0), (0.0, 1.0)),
        u_matrix=(NOUGHT, NOUGHT),
        bias_deg_per_degc=NOUGHT,
        u_bias_deg_per_degc=NOUGHT,
        scale_per_degc=NOUGHT,
        u_scale_per_degc=NOUGHT,
    )
    encoders = {"azimuth_cross": EncoderPart(zero_deg=0.0, u_zero_deg=0.0)}
    changes = {"head_id": head, "record_id": f"cal-2026-{number:04d}", "sha256": ""}
    return seal(kept.model_copy(update={**changes, "tilt": tilt, "encoders": encoders}))


def check_csv(b_moved_deg=0.0, knock_deg=0.0, jitter_deg=0.0):
    rows = [HEADER]
    for turned, along in ((0, 0.1), (1, -0.1)):
        knock = knock_deg * turned
        rows.append(f"{len(rows)},{turned},A,{along + jitter_deg:.5f},0.0,-90.0")
        rows.append(f"{len(rows)},{turned},B,{along + b_moved_deg + knock:.5f},0.0,90.0")
    return "\n".join(rows) + "\n"


@pytest.fixture
def bay(tmp_path):
    """A bay's database with two heads, named and calibrated, and a folder to work in."""
    connection = open_database(tmp_path / "levelhead.db")
    names = StoredHeadNames(connection)
    names.set_name(ALDER, HeadName("alder"))
    names.set_name(BIRCH, HeadName("birch"))
    for number, head in enumerate((ALDER, BIRCH), start=1):
        StoredRecords(connection).add(dump_record(record(head, number)), "here")
    connection.close()
    return tmp_path


def entry(name, kind="bar", length="2000.0", due="2027-06-01"):
    return f"""[[reference]]
id = "{name}"
kind = "{kind}"
certificate = "FMO-2026-120"
certificate_sha256 = "{120:064x}"
value = {length}
unit = "mm"
U = 0.02
k = 2
date = 2026-01-05
due = {due}
U_angle_deg = 0.002
"""


@pytest.fixture
def check(bay, capsys, monkeypatch):
    """Return what runs a check at the end of November 2026, and gives exit code and words."""
    monkeypatch.setattr("ingest.commands.shift_check.now_ms", lambda: ms(30, 0))
    (bay / "references.toml").write_text(entry("KL-BAR-1") + entry("KL-BAR-2"))

    def run(*words, hour=7, day=10, registered=True, **how):
        path = bay / "check.csv"
        path.write_text(check_csv(**how))
        at = f"2026-11-{day:02d}T{hour:02d}:00:00Z"
        usual = ["--a", "alder", "--b", "birch", "--bar", "KL-BAR-1", "--at", at]
        usual += ["--state", str(bay / "levelhead.db")]
        usual += ["--references", str(bay / "references.toml")] if registered else []
        code = main(["shift-check", str(path), *usual, *words])
        return code, *capsys.readouterr()

    return run


def test_good_heads_are_inside_and_their_check_is_kept(check, bay):
    code, out, err = check()
    assert (code, err) == (0, "")
    assert out.count("): inside") == 2
    assert "affected" not in out
    kept = sqlite3.connect(bay / "levelhead.db").execute("SELECT head_id, decision FROM head_check")
    assert sorted(kept) == [(ALDER, "inside"), (BIRCH, "inside")]


def test_a_head_out_of_limits_is_a_result_and_names_the_next_command(check):
    code, out, err = check(b_moved_deg=0.05)
    assert (code, err) == (0, "")
    assert f"({ALDER}, cal-2026-0001): inside" in out
    assert f"({BIRCH}, cal-2026-0002): outside" in out
    assert f"levelhead affected {BIRCH} --since-last-good" in out
    assert "+0.0500 deg since the record" in out


def test_figures_for_a_program(check):
    code, out, _ = check("--json", b_moved_deg=0.05)
    alder, birch = json.loads(out)
    assert (code, alder["decision"], birch["decision"]) == (0, "inside", "outside")
    change = next(c for c in birch["changes"] if c["quantity"] == "incl_y zero")
    assert change["change_deg"] == pytest.approx(0.05, abs=1e-5)
    assert change["limit_deg"] == pytest.approx(0.02)
    assert (change["checks"], change["control_low_deg"], change["signals"]) == (1, None, [])


def test_a_course_of_checks_has_control_limits_and_a_step_within_the_class_is_noticed(check):
    for day in range(1, FEWEST + 4):
        code, out, _ = check(day=day, b_moved_deg=0.001 * math.sin(2.4 * day))
        assert code == 0
    assert "in control" in out
    _, out, _ = check("--json", day=20, b_moved_deg=0.009)
    change = next(c for c in json.loads(out)[1]["changes"] if c["quantity"] == "incl_y zero")
    assert change["decision"] == "inside"
    assert change["signals"] == ["beyond-limits"]
    assert change["control_high_deg"] < 0.009


@pytest.mark.parametrize("anew", ["another bar", "another record"])
def test_on_another_bar_or_record_the_course_begins_anew(check, bay, anew):
    for day in range(1, 4):
        check(day=day, jitter_deg=0.0001 * day)
    words = ["--bar", "KL-BAR-2"] if anew == "another bar" else []
    if anew == "another record":
        connection = open_database(bay / "levelhead.db")
        before = record(ALDER, 1)
        later = before.issued + timedelta(days=1)
        after = record(ALDER, 7).model_copy(update={"issued": later, "sha256": ""})
        StoredRecords(connection).add(dump_record(seal(after)), "here")
        connection.close()
    alder = json.loads(check("--json", *words, day=9)[1])[0]
    assert {change["checks"] for change in alder["changes"]} == {1}


def test_charts_are_drawn_one_a_quantity(check, bay):
    folder = bay / "charts"
    folder.mkdir()
    for day in range(1, FEWEST + 1):
        check("--charts", str(folder), day=day, b_moved_deg=0.0001 * day)
    names = sorted(path.name for path in folder.iterdir())
    assert len(names) == 8
    assert f"{BIRCH}-incl-y-zero.svg" in names
    for path in folder.iterdir():
        assert etree.parse(path).getroot().tag == "{http://www.w3.org/2000/svg}svg"
    code, _, err = check("--charts", str(bay / "nowhere"), day=20)
    assert code == 2
    assert "nowhere" in err


def test_the_same_readings_count_once(check, bay):
    check()
    _, out, _ = check(hour=9)
    assert "already" in out
    count = sqlite3.connect(bay / "levelhead.db").execute("SELECT count(*) FROM head_check")
    assert count.fetchone() == (2,)


@pytest.mark.parametrize("order", [("KL-BAR-2", "KL-BAR-1"), ("KL-BAR-1", "KL-BAR-2")])
def test_the_same_readings_on_another_bar_are_refused_by_the_first(check, order):
    assert check("--bar", order[0])[0] == 0
    code, out, err = check("--bar", order[1])
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert f"2026-11-10 07:00 UTC on bar {order[0]}" in err
    assert check("--bar", order[0])[0] == 0


def test_the_same_readings_are_no_check_of_exchanged_or_other_heads(check, bay):
    check()
    connection = open_database(bay / "levelhead.db")
    StoredRecords(connection).add(dump_record(record(STRANGER, 3)), "here")
    connection.close()
    code, out, err = check("--b", STRANGER)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert f"{BIRCH} (cal-2026-0002)" in err


def test_a_bar_is_known_from_a_register_or_an_earlier_check(check, bay):
    code, out, err = check(registered=False)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert "KL-BAR-1 is in no record of these heads and no earlier check" in err
    assert check()[0] == 0
    assert check(registered=False, day=11, jitter_deg=0.0001)[0] == 0


def test_a_bar_that_a_head_s_record_was_made_with_is_known_with_its_length():
    made = load_record((KEPT.parent / "version-2.json").read_text(encoding="utf-8"))
    sine_bar = next(use for use in made.references if use.kind == "sine-bar")
    assert bar_refused(sine_bar.id, made)
    bar = sine_bar.model_copy(update={"id": "KL-BAR-9", "kind": "bar", "value": "1850.0"})
    with_bar = made.model_copy(update={"references": (*made.references, bar)})
    assert bar_length_m("KL-BAR-9", None, None, [with_bar], (), 0) == pytest.approx(1.85)
    assert bar_refused("KL-BAR-8", with_bar)


def bar_refused(bar, record_made):
    with pytest.raises(InputError):
        bar_length_m(bar, None, None, [record_made], (), 0)
    return True


@pytest.mark.parametrize(
    ("register", "expected", "said"),
    [
        (entry("KL-BAR-1", kind="sine-bar"), 2, "KL-BAR-1 is a sine-bar"),
        (entry("KL-BAR-1", due="2026-10-01"), 3, "was due on 2026-10-01"),
    ],
)
def test_a_reference_that_is_no_bar_or_out_of_date_is_refused(check, bay, register, expected, said):
    (bay / "references.toml").write_text(register)
    code, out, err = check()
    assert (code, out, err.count("\n")) == (expected, "", 1)
    assert said in err


def test_a_head_that_was_knocked_is_refused_with_figure_and_limit_and_nothing_is_kept(check, bay):
    code, out, err = check(knock_deg=0.06)
    assert (code, out) == (3, "")
    assert "0.0300 deg, limit 0.0120 deg" in err
    count = sqlite3.connect(bay / "levelhead.db").execute("SELECT count(*) FROM head_check")
    assert count.fetchone() == (0,)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--a", "cedar"], "no head is called 'cedar'"),
        (["--a", STRANGER], f"head {STRANGER} has no calibration record"),
        (["--b", "alder"], "one and the same head"),
        (["--class", "H9"], "no head class 'H9'"),
        (["--bar-mm", "0"], "--bar-mm"),
        (["--bar-mm", "20"], "--bar-mm: 20 is no length of a bar"),
        (["--bar-mm", "1500"], "bar KL-BAR-1 is 2000 mm long"),
        (["--bar", "KL-BAR-7"], "no reference KL-BAR-7; registered: KL-BAR-1, KL-BAR-2"),
        (["--at", "2031-01-01T00:00:00Z"], "yet to come"),
        (["--at", "this morning"], "--at"),
        (["--state", "none.db"], "none.db: no such database"),
    ],
)
def test_bad_arguments_are_refused_in_one_line(check, words, said):
    code, out, err = check(*words)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert said in err


def test_a_damaged_database_is_refused_in_one_line(check, bay):
    path = bay / "levelhead.db"
    content = path.read_bytes()
    path.write_bytes(content[:4096] + b"\xff" * (len(content) - 4096))
    code, out, err = check()
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert "damaged" in err


def ms(day, hour):
    return round(datetime(2026, 11, day, hour, tzinfo=UTC).timestamp() * 1000)


RESULT = PublishedResult(
    said_ms=0,
    bay="bay1",
    topic="axle/1/left/camber",
    settled="b-1 1.1",
    value_deg=-0.42,
    U_deg=0.05,
    k=2.0,
    quality="good",
    spread="bay study 2026-11-20",
    heads=((BIRCH, "cal-2026-0002"),),
)


@pytest.fixture
def affected(bay, capsys):
    """Return what lists a head's results of 9 o'clock on the 9th to the 13th of November."""
    connection = open_database(bay / "levelhead.db")
    log = StoredResults(connection)
    for day in range(9, 14):
        log.add(replace(RESULT, said_ms=ms(day, 9), settled=f"b-1 {day}.1", value_deg=day / 100))
    log.add(replace(RESULT, said_ms=ms(11, 9), heads=((ALDER, "cal-2026-0001"),)))
    connection.close()

    def run(head, *words):
        code = main(["affected", head, "--state", str(bay / "levelhead.db"), *words])
        return code, *capsys.readouterr()

    return run


def days(out):
    return [
        datetime.fromtimestamp(r["said_ms"] / 1000, UTC).day for r in json.loads(out)["results"]
    ]


def test_what_a_bad_head_measured_since_its_last_good_check_is_listed(check, affected):
    check(day=10)
    check(day=12, b_moved_deg=0.05)
    code, out, _ = affected("birch", "--since-last-good", "--json")
    assert code == 0
    assert days(out) == [10, 11, 12, 13]
    found = json.loads(out)
    assert found["head"] == BIRCH
    assert "KL-BAR-1, inside" in found["since"]
    assert found["until"] == "now"
    assert found["results"][0]["heads"] == [{"head": BIRCH, "record": "cal-2026-0002"}]
    # The check is repeated with clean seats, and good: it ends there.
    check(day=13, hour=8, jitter_deg=0.0001)
    assert days(affected("birch", "--json")[1]) == [10, 11, 12]
    assert days(affected("alder", "--json")[1]) == []


def test_without_a_check_it_is_since_the_calibration(affected):
    _, out, _ = affected(BIRCH, "--json")
    assert days(out) == [9, 10, 11, 12, 13]
    assert "cal-2026-0002, issued on 2026-11-02" in json.loads(out)["since"]


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["--since", "2026-11-11"], [11, 12, 13]),
        (["--since", "2026-11-10", "--until", "2026-11-11"], [10, 11]),
        (["--since", "2026-11-10T09:00:01Z", "--until", "2026-11-11T09:00:00Z"], [11]),
        (["--until", "2026-11-10"], [9, 10]),
    ],
)
def test_a_time_may_be_given(affected, words, expected):
    assert days(affected("birch", "--json", *words)[1]) == expected


def test_a_person_reads_what_where_and_on_which_record(affected):
    code, out, _ = affected("birch", "--since", "2026-11-13")
    assert code == 0
    assert "1 result to look at again" in out
    for words in ("axle/1/left/camber", "0.13 deg, U 0.05 deg", "cal-2026-0002", "bay study"):
        assert words in out


def test_a_log_that_does_not_reach_back_so_far_says_so(affected):
    _, out, _ = affected("birch", "--since", "2026-11-01")
    assert "begins at 2026-11-09 09:00:00 UTC" in out
    assert "note" not in affected("birch", "--since", "2026-11-10")[1]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--since", "yesterday"], "--since"),
        (["--since", "2026-11-10T08:00:00"], "--since"),
        (["--since", "2026-11-12", "--until", "2026-11-10"], "swap"),
        (["--since", "2026-11-12", "--since-last-good"], "one of them"),
    ],
)
def test_a_time_that_is_none_is_refused_in_one_line(affected, words, said):
    code, out, err = affected("birch", *words)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert said in err


def test_a_head_whose_records_were_altered_is_not_given_a_time(affected, bay):
    raw = sqlite3.connect(bay / "levelhead.db")
    raw.execute("DROP TRIGGER calibration_record_never_changes")
    raw.execute("UPDATE calibration_record SET text = replace(text, '0.25', '0.26')")
    raw.commit()
    code, _, err = affected("birch")
    assert code == 2
    assert "cal-2026-0002" in err
    assert affected("birch", "--since", "2026-11-12")[0] == 0


def test_two_processes_may_check_at_once(bay):
    words = [sys.executable, "-m", "ingest.cli", "shift-check"]
    usual = [
        "--a",
        "alder",
        "--b",
        "birch",
        "--bar",
        "KL-BAR-1",
        "--state",
        str(bay / "levelhead.db"),
        "--references",
        str(bay / "references.toml"),
    ]
    (bay / "references.toml").write_text(entry("KL-BAR-1", due="2100-01-01"))
    running = []
    for n in range(3):
        path = bay / f"check-{n}.csv"
        path.write_text(check_csv(b_moved_deg=0.0001 * n))
        pipes = {"stdout": subprocess.DEVNULL, "stderr": subprocess.PIPE}
        running.append(subprocess.Popen([*words, str(path), *usual], **pipes))
    assert [process.communicate()[1] for process in running] == [b""] * 3
    count = sqlite3.connect(bay / "levelhead.db").execute("SELECT count(*) FROM head_check")
    assert count.fetchone() == (6,)
