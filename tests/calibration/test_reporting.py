"""Rounding, coverage and print. Vectors: two of GUM 7.2.6, the others ours after its rule."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.measured import Measured
from calibration.reporting import (
    degree_minutes,
    on_screen,
    report,
    report_expanded,
    report_unknown,
    resolution_u,
)
from calibration.units import INCH_PER_MM, Unit, degrees, length_at

VECTORS = [
    (-0.4231, 0.0587, "-0.423", "0.059"),
    (-0.0004, 0.0312, "0.000", "0.032"),
    (10.05762, 0.027, "10.058", "0.027"),  # GUM 7.2.6
    (0.0, 10.47, "0", "11"),  # GUM 7.2.6
    (0.0, 28.05, "0", "28"),  # GUM 7.2.6
    (0.125, 0.0996, "0.12", "0.10"),
    (5.0, 0.00995, "5.000", "0.010"),
    (1234.5, 120.2, "1230", "120"),
    (89.99996, 0.0012, "90.0000", "0.0012"),
]


@pytest.mark.parametrize(("y", "expanded", "value", "printed"), VECTORS)
def test_rounding_vectors(y, expanded, value, printed):
    reported = report_expanded(y, expanded, Unit.DEGREE)
    assert reported.text == f"({value} ± {printed})°"
    assert reported.value == float(value)
    assert float(printed) == reported.U
    assert reported.dp == len(value.partition(".")[2])


@pytest.mark.parametrize(
    ("expanded", "printed"),
    [(0.0105, "0.011"), (0.01005, "0.010"), (0.010051, "0.011"), (0.995, "1.0"), (0.0990, "0.099")],
)
def test_uncertainty_goes_up_unless_a_twentieth_is_cut(expanded, printed):
    assert report_expanded(0.0, expanded, Unit.ONE).text.endswith(f"± {printed})")


@pytest.mark.parametrize(("y", "value"), [(0.125, 0.12), (0.135, 0.14), (-0.125, -0.12)])
def test_ties_go_to_even_by_the_decimal_that_was_typed(y, value):
    # 0.135 lies below the tie in binary, and is a tie to whoever typed it.
    assert report_expanded(y, 0.10, Unit.ONE).value == value


@given(y=st.floats(-1e4, 1e4), expanded=st.floats(1e-6, 1e3))
def test_print_is_never_sharper_than_it_may_be(y, expanded):
    reported = report_expanded(y, expanded, Unit.ONE)
    # 0.05 of a unit of the second digit: half a percent of U at the very most.
    assert 0.995 * expanded <= reported.U <= 1.1 * expanded
    assert abs(reported.value - y) <= 0.051 * reported.U
    assert "-0 " not in reported.text
    assert math.copysign(1, reported.value) == 1 or reported.value < 0


@pytest.mark.parametrize(
    ("unit", "text"),
    [
        (Unit.DEGREE, "(1.20 ± 0.15)°"),
        (Unit.MILLIMETRE, "(1.20 ± 0.15) mm"),
        (Unit.MILLIMETRE_PER_METRE, "(1.20 ± 0.15) mm/m"),
        (Unit.INCH, "(1.20 ± 0.15) in"),
        (Unit.CELSIUS, "(1.20 ± 0.15) °C"),
        (Unit.SECOND, "(1.20 ± 0.15) s"),
        (Unit.PERCENT, "(1.20 ± 0.15) %"),
        (Unit.ONE, "(1.20 ± 0.15)"),
    ],
)
def test_a_space_before_every_unit_but_the_degree(unit, text):
    # SI brochure, 9th edition, 5.4.3.
    assert report_expanded(1.2, 0.15, unit).text == text


def test_unit_codes_are_those_of_ucum():
    assert [u.value for u in Unit] == ["deg", "mm", "mm/m", "[in_i]", "Cel", "s", "%", "1"]


def test_the_screen_has_a_true_minus_and_the_locale_s_mark():
    reported = report_expanded(-0.4231, 0.0587, Unit.DEGREE)
    assert reported.screen() == "(\u22120.423 ± 0.059)°"
    assert reported.screen(",") == "(\u22120,423 ± 0,059)°"
    assert "-" in reported.text


def test_few_degrees_of_freedom_are_printed_as_a_larger_k():
    # GUM table G.2: t at 95.45 % for 5 degrees of freedom is 2.65.
    reported = report(Measured.of(1.0, 0.1, dof=5, source="six stops"), Unit.DEGREE)
    assert (reported.k, reported.p, reported.U) == (2.65, 0.9545, 0.27)


def test_many_degrees_of_freedom_are_printed_as_two():
    reported = report(Measured.of(1.0, 0.1, dof=60, source="a full turn"), Unit.DEGREE)
    assert (reported.k, reported.U) == (2.0, 0.2)


def test_uncertainty_is_never_below_that_of_the_resolution():
    # GUM F.2.2.1: a step d is worth d/sqrt(12); k d/sqrt(12) = 0.0058 for d = 0.01.
    assert resolution_u(0.01) == pytest.approx(0.0028868, abs=5e-8)
    reported = report(Measured.exact(0.12345), Unit.DEGREE, resolution=0.01)
    assert reported.text == "(0.12 ± 0.01)°"
    finer = report_expanded(0.12345, 0.0001, Unit.DEGREE, resolution=0.001)
    assert finer.U == 0.001


def test_nothing_finer_than_the_resolution_is_shown():
    assert report_expanded(1.23456, 0.0123, Unit.DEGREE, resolution=0.01).text == "(1.23 ± 0.02)°"
    assert report_expanded(1.23456, 0.0123, Unit.DEGREE, resolution=0.05).dp == 2
    assert report_expanded(1.23456, 0.123, Unit.DEGREE, resolution=0.001).dp == 2


def test_a_live_screen_may_show_one_digit_of_uncertainty():
    reported = report_expanded(-0.4231, 0.0587, Unit.DEGREE, digits=1)
    assert reported.text == "(-0.42 ± 0.06)°"
    assert report_expanded(1.0, 0.0951, Unit.DEGREE, digits=1).text == "(1.0 ± 0.1)°"


def test_a_digit_is_added_where_the_print_would_contradict_the_decision():
    plain = report_expanded(0.5004, 0.02, Unit.DEGREE)
    assert plain.text == "(0.500 ± 0.020)°"
    against = report_expanded(0.5004, 0.02, Unit.DEGREE, high=0.5)
    assert against.text == "(0.5004 ± 0.0200)°"
    assert report_expanded(-1.0004, 0.02, Unit.DEGREE, low=-1.0).value == -1.0004
    assert report_expanded(0.4996, 0.02, Unit.DEGREE, high=0.5).text == "(0.500 ± 0.020)°"


def test_an_unknown_uncertainty_is_said_so():
    reported = report_unknown(-0.4231, Unit.DEGREE, resolution=0.01)
    assert reported.text == "-0.42° (uncertainty not known)"
    assert (reported.U, reported.k, reported.p, reported.dp) == (None, None, None, 2)


def test_toe_in_millimetres_names_its_length_and_is_rounded_anew():
    toe = Measured.of(math.radians(0.1146), math.radians(0.0143), source="toe")
    reported = report(length_at(toe, 600.0), Unit.MILLIMETRE, reference_mm=600.0)
    assert reported.text == "(1.20 ± 0.30) mm at 600 mm"
    inches = report(length_at(toe, 600.0) * INCH_PER_MM, Unit.INCH, reference_mm=600.0)
    assert inches.text == "(0.047 ± 0.012) in at 600 mm"


def test_length_is_by_the_sine():
    # 1 deg is 17.452406 mm/m by the sine (17.455065 by the tangent).
    angle = Measured.of(math.radians(1.0), math.radians(0.1), source="toe")
    assert length_at(angle, 1000.0).value == pytest.approx(17.452406, abs=5e-7)
    slope = math.radians(0.1) * 1000 * math.cos(angle.value)
    assert length_at(angle, 1000.0).u == pytest.approx(slope)
    assert degrees(angle).u == pytest.approx(0.1)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (-0.08, "-0°05'"),
        (0.9995, "1°00'"),
        (-0.004, "0°00'"),
        (34 + 25 / 60, "34°25'"),
        (-1.5, "-1°30'"),
        (0.0, "0°00'"),
    ],
)
def test_degrees_and_minutes(value, text):
    assert degree_minutes(value) == text


def test_minutes_carry_their_uncertainty_rounded_up():
    assert degree_minutes(-0.4231, 0.0587) == "-0°25' ± 4'"
    assert degree_minutes(0.4231, 0.0052) == "0°25.4' ± 0.4'"
    assert degree_minutes(0.99999, 0.01) == "1°00.0' ± 0.6'"
    assert on_screen(degree_minutes(-0.08), ",") == "\u22120°05'"


def test_an_exact_value_is_printed_without_a_doubt():
    assert report(Measured.exact(2.0), Unit.ONE).U == 0.0


@pytest.mark.parametrize(("y", "expanded"), [(math.nan, 0.1), (0.1, math.inf), (0.1, -0.1)])
def test_refuses_what_cannot_be_reported(y, expanded):
    with pytest.raises(ValueError, match="cannot be reported"):
        report_expanded(y, expanded, Unit.DEGREE)
