"""Rows that were taken back stay in the file and count only in its numbering."""

import pytest

from calibration.errors import CalibrationFileError
from calibration.files.table import read_rows

TEXT = "row,a_deg,withdrawn\n1,1.5,\n2,9.9,1\n3,2.5,0\n"


def rows_of(text):
    return read_rows(text, "x.csv", ("row", "a_deg"), {"a": "a_deg"})


def test_a_withdrawn_row_is_left_out_and_the_others_keep_their_numbers():
    assert [(r.number, r.value("a_deg")) for r in rows_of(TEXT)] == [(1, 1.5), (3, 2.5)]


def test_a_withdrawn_row_may_not_be_missing():
    with pytest.raises(CalibrationFileError, match="row 3: comes where row 2 is missing"):
        rows_of(TEXT.replace("2,9.9,1\n", ""))


def test_a_moved_row_that_was_withdrawn_does_no_harm():
    text = "row,a_deg,moved,withdrawn\n1,1,1,1\n2,2,0,0\n"
    assert [r.number for r in rows_of(text)] == [2]


def test_a_file_of_withdrawn_rows_alone_is_refused():
    with pytest.raises(CalibrationFileError, match="every row was withdrawn"):
        rows_of("row,a_deg,withdrawn\n1,1.5,1\n")


def test_another_mark_than_0_or_1_is_refused():
    with pytest.raises(CalibrationFileError, match="row 2: withdrawn is 'yes'"):
        rows_of(TEXT.replace("2,9.9,1", "2,9.9,yes"))
