"""Numbers, units and dates as a reader sees them.

Signs and spaces follow the SI brochure (9th edition, 5.4.3: no space before the sign of a plane
angle, one before every other unit) and ISO 80000-1 (a true minus sign; from memory).
"""

from datetime import date

import pytest

from calibration.document.plain import day, expanded, factor, in_unit, number, printable, quantity


@pytest.mark.parametrize(
    ("value", "U", "unit", "expected"),
    [
        ("-0.423", "0.059", "deg", "(−0.423 ± 0.059)°"),
        ("1.20", "0.15", "mm", "(1.20 ± 0.15) mm"),
        ("4.1", "0.6", "mm/m", "(4.1 ± 0.6) mm/m"),
        ("0.000", "0.032", "deg", "(0.000 ± 0.032)°"),
        ("5.000", "0.010", "deg", "(5.000 ± 0.010)°"),
        ("1230", "120", "mm", "(1230 ± 120) mm"),
        ("20.4", "0.6", "Cel", "(20.4 ± 0.6) °C"),
        ("0.40", None, "deg", "0.40°"),
        ("-3", None, "1", "−3"),
        ("48", "5", "%", "(48 ± 5) %"),
        ("3", None, "quads", "3 quads"),
    ],
)
def test_values_keep_their_digits_and_get_their_signs(value, U, unit, expected):  # noqa: N803
    assert expanded(value, U, unit) == expected


def test_a_coverage_factor_has_two_decimals():
    assert [factor(k) for k in ("2", "2.13", "2.0", "3.307")] == ["2.00", "2.13", "2.00", "3.31"]


def test_what_is_not_known_is_a_dash():
    assert number(None) == "–"


def test_units_stand_in_titles():
    assert in_unit("Error", "deg") == "Error in °"
    assert in_unit("Error", "mm/m") == "Error in mm/m"
    assert in_unit("Share", "1") == "Share"
    assert quantity("-0.5", "Cel") == "−0.5 °C"


def test_dates_are_read_the_same_everywhere():
    assert day(date(2026, 3, 2)) == "2 March 2026"
    assert [day(date(2026, m, 1)).split()[1][:3] for m in (1, 5, 8, 12)] == [
        "Jan",
        "May",
        "Aug",
        "Dec",
    ]


UNPRINTABLE = "\x00\x08\t\r\x0b\x1b\x7f\x85\u2028\u202e\u2066\ufeff\ufffe\uffff\ud800"


@pytest.mark.parametrize("sign", UNPRINTABLE)
def test_what_has_no_place_on_paper_is_replaced(sign):
    assert printable(f"a{sign}b") == "a\ufffdb"


@pytest.mark.parametrize("text", ["line\nfeed", "é Å 漢字 עברית 🙂", "~ \u00a0 \ud7ff \ue000"])
def test_every_other_sign_stays(text):
    assert printable(text) == text
