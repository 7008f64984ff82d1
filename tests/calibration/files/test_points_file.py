"""``found.csv`` and ``left.csv``: read whole or refused with the row and what to do."""

import math
import re
from datetime import date
from decimal import Decimal

import pytest

from calibration.errors import CalibrationFileError
from calibration.files.points_file import parse_points

HEAD = "00a1b2c3d4e5f607"
TILT = """row,channel,nominal_deg,direction,repeat,height_mm,incl_x_deg,incl_y_deg,temperature_degc
1,incl_y,-5,up,1,17.431,0.01,-5.001,20.1
2,incl_y,0,up,1,0,0.01,0.002,20.1
3,incl_y,5,up,1,17.431,0.01,5.004,20.1
4,incl_y,5,down,1,17.431,0.01,5.003,20.1
5,incl_y,0,down,1,0,0.01,0.001,20.2
6,incl_y,-5,down,1,17.431,0.01,-5.002,20.2
7,incl_y,-5,up,2,17.431,0.01,-5.001,20.2
8,incl_y,0,up,2,0,0.01,0.002,20.2
9,incl_y,5,up,2,17.431,0.01,5.004,20.2
10,incl_y,5,down,2,17.431,0.01,5.003,20.2
11,incl_y,0,down,2,0,0.01,0.001,20.2
12,incl_y,-5,down,2,17.431,0.01,-5.002,20.2
"""
TURN = """row,channel,nominal_deg,direction,repeat,reference_deg,raw_deg,reference_id,head,time
1,rotation,0,up,1,0.001,0.011,KL-ENC-1,00a1b2c3d4e5f607,2026-11-24T23:50:00Z
2,rotation,90,up,1,90.002,90.012,KL-ENC-1,00a1b2c3d4e5f607,2026-11-24T23:55:00Z
3,rotation,90,down,1,90.001,90.011,KL-ENC-1,00a1b2c3d4e5f607,2026-11-25T00:01:00.123456789Z
4,rotation,0,down,1,0.000,0.010,KL-ENC-1,,
5,rotation,0,up,2,0.001,0.011,KL-ENC-1,,
6,rotation,90,up,2,90.002,90.012,KL-ENC-1,,
7,rotation,90,down,2,90.001,90.011,KL-ENC-1,,
8,rotation,0,down,2,0.000,0.010,KL-ENC-1,,
"""

NINE = TILT.replace("incl_y,0,up,1,0,", "incl_y,9,up,1,31,").replace(
    "incl_y,0,up,2,0,", "incl_y,9,up,2,31,"
)

IN_RADIANS = re.sub(
    r"(,0\.01,)(-?5\.00\d)", lambda m: f"{m[1]}{math.radians(round(float(m[2]))):.7f}", TILT
)


def without(text, row):
    lines = [line for line in text.splitlines() if not line.startswith(f"{row},")]
    head, *rows = lines
    return "\n".join([head, *(f"{i},{r.partition(',')[2]}" for i, r in enumerate(rows, 1))]) + "\n"


def with_column(text, title, row, cell, other=""):
    head, *rows = text.strip().splitlines()
    cells = [f"{r},{cell if r.startswith(f'{row},') else other}" for r in rows]
    return "\n".join([f"{head},{title}", *cells]) + "\n"


def test_reads_an_inclinometer_on_a_sine_bar():
    points = parse_points(TILT, "found.csv", HEAD)
    assert points.channels == ("incl_y",)
    first = points.readings[0]
    assert (first.row, first.nominal_deg, first.direction, first.repeat) == (1, -5, "up", 1)
    assert (first.height_mm, first.reference_deg, first.facing) == (17.431, None, "as-marked")
    assert first.raw_rad == {"incl_x": math.radians(0.01), "incl_y": math.radians(-5.001)}
    assert first.temperature_degc == 20.1
    assert points.performed is None


def test_a_nominal_zero_has_no_sign():
    points = parse_points(TILT.replace("incl_y,0,", "incl_y,-0.0,"), "found.csv", HEAD)
    assert f"{points.readings[1].nominal_deg:f}" == "0.0"
    assert parse_points(TILT.replace("incl_y,5,", "incl_y,5E0,"), "found.csv", HEAD)


def test_reads_an_encoder_with_its_reference_and_its_last_day():
    points = parse_points(TURN, "found.csv", HEAD)
    reading = points.readings[2]
    assert (reading.reference_deg, reading.reference_id) == (90.001, "KL-ENC-1")
    assert reading.raw_rad == {"rotation": math.radians(90.011)}
    assert math.isnan(reading.temperature_degc)
    assert points.performed == date(2026, 11, 25)


def test_reads_blocks_and_reversal_and_ignores_strangers():
    text = with_column(TILT, "blocks_mm", "0", "", "")
    text = text.replace(
        "incl_y,5,up,1,17.431,0.01,5.004,20.1,", "incl_y,5,up,1,17.431,0.01,5.004,20.1,10 + 7.431"
    )
    text = text.replace(
        "incl_y,5,up,2,17.431,0.01,5.004,20.2,", "incl_y,5,up,2,17.431,0.01,5.004,20.2,10+7.431"
    )
    text = with_column(text, "colour", "1", "blue")
    reading = parse_points(text, "found.csv", HEAD).readings[2]
    assert reading.blocks_mm == (Decimal(10), Decimal("7.431"))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "found.csv: empty; a header with row, channel"),
        (TILT.splitlines()[0], "found.csv: no rows of data"),
        (TILT.replace("nominal_deg", "nominal"), "column nominal is in a unit that is not read"),
        (TILT.replace("height_mm", "height_in"), "height_in is in a unit that is not read; give h"),
        (TILT.replace("incl_y_deg", "incl_y_rad"), "incl_y_rad is in a unit that is not read"),
        (TILT.replace("temperature_degc", "temperature_degf"), "temperature_degf is in a unit"),
        (TILT.replace("incl_x_deg", "incl_y_deg"), "column incl_y_deg is there twice"),
        (TILT.replace("repeat", "again"), "no column repeat; the header has: row"),
        (TILT.replace(",", ";"), "semicolons? separate by commas"),
        (TILT.replace("17.431,0.01,-5.001", "17,431,0,01,-5,001"), "decimal commas? use points"),
        (TILT.replace("3,incl_y,5", "4,incl_y,5"), "row 4: comes where row 3 is missing"),
        (TILT.replace("3,incl_y,5", "2,incl_y,5"), "row 2: is doubled"),
        (TILT.replace("3,incl_y,5", "x,incl_y,5"), "line 4: row is 'x', not a count"),
        (with_column(TILT, "moved", 4, "1", "0"), "row 4: is marked as moved; take that reading"),
        (with_column(TILT, "spread_deg", 4, "0.051"), "row 4: spread_deg is 0.051, beyond 0.05"),
        (with_column(TILT, "spread_deg", 4, "-1"), "row 4: spread_deg is -1"),
        (with_column(TILT, "head", 4, "ff" * 8), f"row 4: is of head {'ff' * 8}, and this record"),
        (with_column(TILT, "time", 4, "noon"), "row 4: time is 'noon'"),
        (with_column(TILT, "time", 4, "2026-11-25T09:14:03"), "row 4: time is '2026-11-25T09:14"),
        (with_column(TILT, "facing", 4, "back"), "row 4: facing is 'back'; one of as-marked"),
        (TILT.replace("1,incl_y", "1,incl_q", 1), "row 1: channel is 'incl_q'; one of incl_x"),
        (TILT.replace("up,1,", "upward,1,", 1), "row 1: direction is 'upward'; one of up, down"),
        (TILT.replace("up,1,", "up,0,", 1), "row 1: repeat is '0'; a whole number"),
        (TILT.replace("-5.001", "nan", 1), "row 1: incl_y_deg is 'nan', not a finite number"),
        (TILT.replace("-5.001", "5_0", 1), "row 1: incl_y_deg is '5_0', not a finite number"),
        (TILT.replace("-5.001", "1e400", 1), "row 1: incl_y_deg is '1e400', not a finite number"),
        (TILT.replace("-5.001", "-95", 1), "row 1: incl_y_deg is -95, beyond 90 degrees"),
        (TILT.replace("0.01,-5.001", ",-5.001", 1), "row 1: incl_x_deg is empty"),
        (TILT.replace("incl_y,-5,up", "incl_y,-95,up", 1), "row 1: nominal_deg is -95; no more"),
        (TURN.replace("rotation,0,", "rotation,0.0000000001,", 1), "row 1: nominal_deg is 0.00000"),
        (TILT.replace("17.431", "", 1), "row 1: has neither of height_mm and reference_deg"),
        (with_column(TILT, "reference_deg", 1, "5"), "row 1: has both of height_mm and reference"),
        (TILT.replace("17.431", "-17.431", 1), "row 1: height_mm is below 0"),
        (TILT.replace("17.431", "0", 1), "row 1: a stack of 0 mm does not make -5°"),
        (TILT.replace("incl_y,0,up,1,0,", "incl_y,0,up,1,3,"), "row 2: a stack of 3 mm does not"),
        (with_column(TILT, "blocks_mm", 1, "10+7.43"), "row 1: blocks_mm do not add up to height"),
        (with_column(TILT, "blocks_mm", 1, "10;7"), "row 1: blocks_mm is no sum of blocks"),
        (TILT.replace("9,incl_y,5,up,2,17.431", "9,incl_y,5,up,2,17.432"), "row 9 repeats row 3"),
        (TILT.replace("8,incl_y,0,up,2", "8,incl_y,0,up,1"), "row 8 doubles row 2: incl_y 0° up"),
        (without(TILT, 8), "incl_y 0° up lacks repeat 2 of 2; read it"),
        (TILT[: TILT.index("7,incl_y")], "incl_y -5° up lacks repeat 2 of 2"),
        (without(without(TILT, 11), 5), "incl_y 0° up has no reading down"),
        (without(without(TILT, 8), 2), "incl_y 0° down has no reading up"),
        (IN_RADIANS, "row 1: incl_y_deg -0.0872665 at nominal_deg -5 is +4.9 deg off the others"),
        (TURN.replace("90.011", "9.0011", 1), "row 3: raw_deg 9.0011 at nominal_deg 90 is -81"),
        (NINE, "row 3 is marked up, and 5° comes after 9° of row 2"),
        (TURN.replace("90,down,1", "-9,down,1"), "row 4 is marked down, and 0° comes after -9°"),
    ],
)  # fmt: skip
def test_refuses_what_is_no_whole_verification(text, says):
    with pytest.raises(CalibrationFileError) as caught:
        parse_points(text, "found.csv", HEAD)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_reversal_needs_both_ways_round():
    text = with_column(TILT, "facing", 1, "turned", "as-marked")
    text = text.replace(
        "7,incl_y,-5,up,2,17.431,0.01,-5.001,20.2,as-marked",
        "7,incl_y,-5,up,2,17.431,0.01,-5.001,20.2,turned",
    )
    with pytest.raises(CalibrationFileError, match="-5° up turned has no reading as-marked"):
        parse_points(text, "found.csv", HEAD)


def test_stillness_is_judged_by_the_limit_given():
    text = with_column(TILT, "spread_deg", 4, "0.004")
    parse_points(text, "found.csv", HEAD)
    with pytest.raises(CalibrationFileError, match=r"beyond 0\.003: not at rest"):
        parse_points(text, "found.csv", HEAD, still_deg=0.003)
