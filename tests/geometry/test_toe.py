"""Toe between angle and length.

Sources: 0.15 deg on 24 in is a workshop's published example (0.062832 in, "about 1/16"); 1/8 in of
total toe on a 26 in tyre (two times 0.138 deg) and 28.648 in (2 deg = 1 in) are from a forum of
body builders, worked out again; Michelin's truck tyre manual: 10 mm over the rim is 1 deg, exact
at 573.0 mm. mm/m worked out by hand; 1/16 in = 1.59 mm as a US technical manual prints it.
"""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.measured import Measured
from calibration.units import length_at
from ingest.geometry.toe import ToeScale, ToeUnit

IN, MM, PER_M, DEG = ToeUnit.INCH, ToeUnit.MILLIMETRE, ToeUnit.MILLIMETRE_PER_METRE, ToeUnit.DEGREE
ONE_INCH_M = 0.0254


def at_inches(unit, diameter_in, wheels=1):
    return ToeScale(unit, wheels, diameter_in * ONE_INCH_M)


@pytest.mark.parametrize(
    ("scale", "number", "deg", "within"),
    [
        (at_inches(IN, 24.0), 0.062832, 0.15, 2e-6),
        (at_inches(IN, 26.0), 0.0625, 0.13773, 5e-6),
        (at_inches(IN, 26.0, wheels=2), 0.125, 2 * 0.13773, 1e-5),
        (at_inches(IN, 28.648), 0.0625, 0.12500, 5e-6),
        (at_inches(IN, 40.0), 0.0625, 0.08952, 5e-6),
        (at_inches(IN, 42.0), 0.0625, 0.08526, 5e-6),
        (ToeScale(PER_M), 1.5, 0.08594, 5e-6),
        (ToeScale(PER_M), 2.3, 0.13178, 5e-6),
        (ToeScale(PER_M), -1.0, -0.05730, 5e-6),
        (ToeScale(MM, 1, 0.5730), 10.0, 1.0, 5e-5),
        (ToeScale(MM, 1, 0.5715), 10.0, 1.00260, 5e-6),
        (at_inches(MM, 40.0), 1.5875, 0.08952, 5e-6),
    ],
)
def test_published_conversions_hold_both_ways(scale, number, deg, within):
    assert math.degrees(scale.rad(number)) == pytest.approx(deg, abs=within)
    assert scale.of(math.radians(deg)) == pytest.approx(number, rel=1e-4)


@pytest.mark.parametrize(("inches", "mm"), [(1 / 16, 1.5875), (1 / 32, 0.79375), (1 / 8, 3.175)])
def test_inches_of_the_manuals_are_their_millimetres(inches, mm):
    # A US technical manual for trucks (printed 1.59 for 1/16).
    toe = at_inches(IN, 40.0).rad(inches)
    assert at_inches(MM, 40.0).of(toe) == pytest.approx(mm, abs=1e-12)


@pytest.mark.parametrize(
    ("inches", "width_in", "deg"), [(1 / 8, 71.5, 0.10017), (1 / 16, 71.5, 0.05008)]
)
def test_a_side_difference_over_a_width_is_its_angle(inches, width_in, deg):
    # A trailer handbook's "0.1 deg or 1/8 in" holds for a width of 71.5 in.
    assert math.degrees(at_inches(IN, width_in).rad(inches)) == pytest.approx(deg, abs=5e-6)


def test_the_published_triple_holds_together_at_no_diameter():
    # "1/16 in = 0.08 deg = 1.5 mm/m" is rounded: 0.08 deg is 1.396 mm/m, and 1/16 in only at 44.76.
    toe = math.radians(0.08)
    assert ToeScale(PER_M).of(toe) == pytest.approx(1.396, abs=5e-4)
    assert at_inches(IN, 44.76).of(toe) == pytest.approx(1 / 16, abs=1e-5)
    assert at_inches(IN, 22.5).of(toe) == pytest.approx(0.0314, abs=1e-4)


@given(
    toe_deg=st.floats(-20.0, 20.0),
    unit=st.sampled_from(list(ToeUnit)),
    wheels=st.sampled_from([1, 2]),
    diameter_m=st.floats(0.1, 2.0),
)
def test_there_and_back_is_the_same(toe_deg, unit, wheels, diameter_m):
    scale = ToeScale(unit, wheels, diameter_m)
    toe = math.radians(toe_deg)
    assert scale.rad(scale.of(toe)) == pytest.approx(toe, rel=1e-12, abs=1e-15)


def test_a_total_is_the_sum_of_its_wheels():
    each = ToeScale(MM, 1, 0.6)
    left, right = math.radians(0.3), math.radians(0.3)
    assert ToeScale(MM, 2, 0.6).of(left + right) == pytest.approx(each.of(left) + each.of(right))


def test_an_unequal_split_changes_a_total_by_nothing_that_is_read():
    # 0.6 deg in all, shared 0.5 and 0.1 or equally, across 600 mm: below 0.0001 mm.
    each = ToeScale(MM, 1, 0.6)
    split = each.of(math.radians(0.5)) + each.of(math.radians(0.1))
    assert ToeScale(MM, 2, 0.6).of(math.radians(0.6)) == pytest.approx(split, abs=1e-4)


def test_uncertainty_is_carried_as_the_reports_carry_it():
    toe = Measured.of(math.radians(0.2), math.radians(0.01), source="x")
    found, known = ToeScale(MM, 1, 0.57).measured(toe), length_at(toe, 570.0)
    assert (found.value, found.u) == (pytest.approx(known.value), pytest.approx(known.u))
    both = ToeScale(MM, 2, 0.57).measured(toe)
    assert both.u == pytest.approx(found.u, rel=1e-4)
    assert ToeScale(DEG).measured(toe).u == pytest.approx(0.01)


@pytest.mark.parametrize(
    ("words", "told"),
    [((IN,), "needs the diameter"), ((MM, 3, 1.0), "two"), ((MM, 1, -1.0), "not possible")],
)
def test_a_scale_that_means_nothing_is_no_scale(words, told):
    with pytest.raises(ValueError, match=told):
        ToeScale(*words)


def test_a_toe_longer_than_its_diameter_is_refused():
    with pytest.raises(ValueError, match="more than"):
        ToeScale(MM, 1, 0.5).rad(501.0)
