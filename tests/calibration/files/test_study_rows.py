"""The file of a study: what is read, and what is refused by row and column."""

import pytest

from calibration.errors import CalibrationFileError
from calibration.files.study_rows import parse_study_rows

HEADER = "row,technician,axle,side,mounting,settling,camber_deg,total_toe_deg"
GOOD = f"""{HEADER}
1,Ada Brindle,1,left,1,1,-0.42,
2,Ada Brindle,1,both,1,1,,0.11

3,Ada Brindle,2,right,1,2,0.05,
"""


def test_each_row_gives_its_quantity():
    readings = parse_study_rows(GOOD, "study.csv")
    assert [(r.row, r.wheel, r.quantity, r.value_deg, r.settling) for r in readings] == [
        (1, "axle 1 left", "camber", -0.42, 1),
        (2, "axle 1", "total-toe", 0.11, 1),
        (3, "axle 2 right", "camber", 0.05, 2),
    ]


def test_columns_that_are_not_known_are_passed_over():
    text = GOOD.replace("settling,", "settling,weather,").replace(",1,1,", ",1,1,sun,")
    text = text.replace(",1,2,", ",1,2,rain,")
    assert parse_study_rows(text, "s") == parse_study_rows(GOOD, "s")


BAD = {
    "a missing row": ("3,Ada", "4,Ada", "row 4: comes where row 3 is missing"),
    "a doubled row": ("3,Ada", "2,Ada", "row 2: is doubled"),
    "another unit": ("camber_deg", "camber_rad", "column camber_rad"),
    "no unit": ("total_toe_deg", "total_toe", "column total_toe"),
    "toe in mm": ("total_toe_deg", "toe_mm", "column toe_mm"),
    "a column twice": ("settling", "mounting", "column mounting is there twice"),
    "no column": (",mounting,", ",fitting,", "no column mounting"),
    "no name": ("1,Ada Brindle", "1,", "row 1: technician is needed"),
    "a strange side": ("1,left", "1,nearside", "side is 'nearside'"),
    "camber of both": ("1,left", "1,both", "camber_deg with side both"),
    "toe of a side": ("1,both", "1,left", "total_toe_deg with side left"),
    "a decimal comma": ("-0.42,", '"-0,42",', "camber_deg is '-0,42'"),
    "no number": ("-0.42", "nan", "camber_deg is 'nan'"),
    "an underscore": ("-0.42", "-0_4", "camber_deg is '-0_4'"),
    "neither": ("-0.42", "", "row 1: neither"),
    "mounting nought": ("left,1,1", "left,0,1", "mounting is '0'"),
    "a cell too many": ("-0.42,", "-0,42,", "9 cells"),
    "no rows": (GOOD[len(HEADER) :], "\n", "no rows"),
}


@pytest.mark.parametrize("case", BAD.values(), ids=BAD)
def test_bad_input_is_refused_in_one_line(case):
    before, after, words = case
    assert before in GOOD
    with pytest.raises(CalibrationFileError) as refused:
        parse_study_rows(GOOD.replace(before, after, 1), "study.csv")
    assert words in str(refused.value)
    assert str(refused.value).startswith("study.csv")
    assert "\n" not in str(refused.value)


def test_a_reading_during_which_something_moved_is_refused():
    text = GOOD.replace("settling,", "settling,moved,").replace(",1,1,", ",1,1,0,")
    text = text.replace(",1,2,", ",1,2,1,")
    with pytest.raises(CalibrationFileError, match="row 3: is marked as moved"):
        parse_study_rows(text, "study.csv")
