"""``levelhead level``: answers, what is told of an old survey, and bad files in one line."""

import copy
import json
import math

import pytest

from ingest.cli import main

LEVEL = {
    "format": "levelhead-level",
    "version": 1,
    "bay": "bay1",
    "measured": "2026-11-20",
    "valid_days": 10,
    "by": "Ada Brindle",
    "instrument": "KL-LEVEL-1",
    "surface": "plates",
    "points": [
        {"id": "1L", "x_m": 5.0, "y_m": 1.0},
        {"id": "1R", "x_m": 5.0, "y_m": -1.0},
        {"id": "2L", "x_m": 0.0, "y_m": 1.0},
        {"id": "2R", "x_m": 0.0, "y_m": -1.0},
    ],
    "staff": [
        {"set_up": "A", "point": "1L", "reading_mm": 1400.0, "sigma_mm": 0.2},
        {"set_up": "A", "point": "1R", "reading_mm": 1404.0, "sigma_mm": 0.2},
        {"set_up": "A", "point": "2L", "reading_mm": 1410.0, "sigma_mm": 0.2},
        {"set_up": "A", "point": "2R", "reading_mm": 1414.0, "sigma_mm": 0.2},
    ],
}


@pytest.fixture
def level(tmp_path, capsys):
    """Run the command on a document, or on a text."""

    def run(document, *words):
        path = tmp_path / "level.json"
        path.write_text(document if isinstance(document, str) else json.dumps(document))
        code = main(["level", str(path), *words])
        out, err = capsys.readouterr()
        return code, out, err

    return run


def changed(**keys):
    return {**copy.deepcopy(LEVEL), **keys}


def test_slopes_are_those_of_rise_over_run(level):
    code, out, _ = level(LEVEL, "--on", "2026-11-25", "--json")
    answer = json.loads(out)
    assert code == 0
    # 10 mm over 5 m, front higher; 4 mm over 2 m, left higher.
    assert answer["lengthwise_deg"] == pytest.approx(math.degrees(math.atan(0.002)), abs=1e-9)
    assert answer["crosswise_deg"] == pytest.approx(math.degrees(math.atan(0.002)), abs=1e-9)
    # Four staffs of 0.2 mm: 0.2 mm over 5 m (two against two), and over 2 m.
    assert answer["u_lengthwise_deg"] == pytest.approx(math.degrees(0.0002 / 5.0), rel=1e-4)
    assert answer["u_crosswise_deg"] == pytest.approx(math.degrees(0.0002 / 2.0), rel=1e-4)
    assert [p["height_mm"] for p in answer["points"]] == pytest.approx([7.0, 3.0, -3.0, -7.0])
    assert (answer["dof"], answer["overdue"]) == (0, False)


def test_people_are_told_which_end_is_higher_and_that_nothing_contradicts(level):
    out = level(LEVEL, "--on", "2026-11-25")[1]
    assert "front higher" in out
    assert "left higher" in out
    assert "read a point twice" in out
    assert "OVERDUE" not in out


def test_a_survey_from_the_future_is_told(level):
    assert "dated after 2026-11-19" in level(LEVEL, "--on", "2026-11-19")[1]
    assert "dated after" not in level(LEVEL, "--on", "2026-11-20")[1]


def test_an_old_survey_is_told_to_be_overdue(level):
    code, out, _ = level(LEVEL, "--on", "2026-12-01")
    assert (code, "OVERDUE" in out) == (0, True)
    assert json.loads(level(LEVEL, "--on", "2026-12-01", "--json")[1])["overdue"] is True


POINTS, STAFF = LEVEL["points"], LEVEL["staff"]
BAR = {"from": "1L", "to": "1R", "reading_deg": 0.1, "turned_deg": -0.1, "sigma_deg": 0.01}


@pytest.mark.parametrize(
    ("document", "told"),
    [
        ("", "level.json"),
        ("[]", "level.json"),
        ("{", "level.json"),
        ({"format": "else", "version": 1}, "not a levelhead-level file of version 1"),
        (changed(version=2), "not a levelhead-level file of version 1"),
        (changed(remark="x"), "remark"),
        (changed(measured="20.11.2026"), "write the day as 2026-11-28"),
        (changed(valid_days=0), "valid_days"),
        (changed(points=POINTS[:2]), "points"),
        (changed(points=[*POINTS, POINTS[0]]), "point 1L is there twice; give"),
        (changed(points=[{**POINTS[0], "x_m": 5200}, *POINTS[1:]]), "points.0.x_m = 5200: must"),
        (
            changed(points=[{**POINTS[0], "y_m": -1.0}, *POINTS[1:]], bar=[BAR]),
            "from 1L to 1R, which stand at one place",
        ),
        (changed(staff=[{**STAFF[0], "point": "9L"}]), "names point 9L"),
        (changed(staff=[{**STAFF[0], "sigma_mm": -1}]), "staff.0.sigma_mm"),
        (changed(staff=[{**STAFF[0], "reading_mm": "high"}]), "staff.0.reading_mm"),
        (changed(staff=[]), "no readings"),
        (
            changed(staff=[{**STAFF[i % 4], "set_up": f"s{i}"} for i in range(101)]),
            "101 set-ups of the level, limit 100",
        ),
        (changed(bar=[{**BAR, "to": "1L"}]), "bar.0 = {"),
        (changed(bar=[{k: v for k, v in BAR.items() if k != "turned_deg"}]), "bar.0.turned_deg"),
        (changed(surface="floor"), "points.0.plate_mm: point 1L was read on the floor"),
        (
            changed(points=[{**POINTS[0], "plate_mm": 50}, *POINTS[1:]]),
            "points.0.plate_mm = 50: point 1L was read on its plate",
        ),
        (json.dumps(LEVEL).replace("1404.0", "NaN"), "level.json"),
    ],
)
def test_bad_files_exit_2_with_one_line(level, document, told):
    code, out, err = level(document)
    assert (code, out) == (2, "")
    assert told in err
    assert err.count("\n") == 1


@pytest.mark.parametrize(
    ("document", "told"),
    [
        (changed(staff=STAFF[:3]), "no chain of readings"),
        (
            changed(
                staff=[
                    *STAFF,
                    *({**s, "set_up": "B"} for s in STAFF[:3]),
                    {**STAFF[3], "set_up": "B", "reading_mm": 1424.0},
                ]
            ),
            "contradict each other",
        ),
        (
            changed(points=[{**p, "y_m": 1.0} for p in POINTS]),
            "take in the points of both sides",
        ),
        (
            changed(bar=[BAR, {**BAR, "from": "2L", "to": "2R", "turned_deg": 0.1}]),
            "not turned end for end",
        ),
    ],
)
def test_readings_that_tell_no_plane_are_refused(level, document, told):
    code, out, err = level(document)
    assert (code, out) == (3, "")
    assert told in err
    assert err.count("\n") == 1


def test_a_day_that_is_none_is_bad_input(level):
    code, _, err = level(LEVEL, "--on", "tomorrow")
    assert (code, err.count("\n")) == (2, 1)
    assert "2026-11-28" in err
