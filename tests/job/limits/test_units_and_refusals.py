"""Limits in every unit, held to published conversions, and what cannot be a limit.

Sources: 0.15 deg on 24 in is a workshop's published example (0.062832 in); 1/8 in of total toe on
26 in (two times 0.138 deg) is from a forum of body builders, worked out again; a trailer handbook
takes 0.1 deg and 1/8 in for the same, which holds across 71.5 in; 1/16 in = 1.59 mm as a US
technical manual prints it; mm/m worked out by hand.
"""

import math

import pytest

from ingest.core.frames import Side
from ingest.job.limits.faults import LimitsError
from ingest.job.limits.units import common


def nominal(made):
    return common(made.key.quantity, made.nominal)


@pytest.mark.parametrize(
    ("quantity", "text", "unit", "across", "wanted", "within"),
    [
        ("toe", "0.062832", "in", "24 in", 0.15, 2e-6),
        ("toe", "1/16", "in", "26 in", 0.13773, 5e-6),
        ("total_toe", "1/8", "in", "26 in", 2 * 0.13773, 1e-5),
        # Each wheel has half of it.
        ("total_toe", "90", "mm", "571.5 mm", 2 * math.degrees(math.asin(45 / 571.5)), 1e-9),
        ("toe", "1/16", "in", "40 in", 0.08952, 5e-6),
        ("toe", "10", "mm", "571.5 mm", 1.00260, 5e-6),
        ("toe", "1.5", "mm/m", None, 0.08594, 5e-6),
        ("total_toe", "2.3", "mm/m", None, 0.13178, 5e-6),
        ("scrub", "1/8", "in", "71.5 in", 0.10017, 5e-6),
        ("scrub", "-1/16", "in", "71.5 in", -0.05008, 6e-6),
        ("scrub", "1/8", "in", "77.5in", 0.09241, 5e-6),
        ("lateral_offset", "1/16", "in", None, 1.5875, 1e-9),
        ("lateral_offset", "1 1/8", "in", None, 28.575, 1e-9),
        ("cross_caster", "-0:30", "deg-min", None, -0.5, 1e-12),
        ("caster", "+3.50", "deg", None, 3.5, 1e-12),
        ("camber", "-15", "arcmin", None, -0.25, 1e-12),
    ],
)
def test_a_figure_is_worth_what_is_published(limit, quantity, text, unit, across, wanted, within):
    axle = 1
    made = limit(axle, quantity, None, text, None, unit, across)
    assert nominal(made) == pytest.approx(wanted, abs=within)
    assert made.figures.nominal == text


def test_the_printed_triple_of_a_recommended_practice_is_three_different_angles(limit):
    # TMC RP 642A prints 1/16 in, 0.08 deg and 1.5 mm/m for one toe; 22.5 in is a usual rim.
    told = [("1/16", "in", "22.5 in"), ("0.08", "deg", None), ("1.5", "mm/m", None)]
    angles = [nominal(limit(1, "toe", None, text, None, *rest)) for text, *rest in told]
    assert max(angles) - min(angles) > 0.005
    assert angles[1] == pytest.approx(math.degrees(math.asin(1.396e-3)), abs=2e-5)


BAD = {
    "swap them": (1, "camber", "0.5", None, "0.1"),
    "nominal 0.6 is above high": (1, "camber", "0", "0.6", "0.5"),
    "nominal -1/2 is below low": (1, "camber", "0", "-1/2", "0.5"),
    "give nominal alone": (1, "camber", "0.0", None, "0"),
    "no figure is given": (1, "camber", None, None, None),
    "without its reference diameter": (1, "total_toe", None, "1/16", None, "in"),
    "leave across out": (1, "total_toe", None, "0.1", None, "deg", "22.5 in"),
    "is a length": (1, "lateral_offset", None, "0", None, "deg"),
    "not in mm/m": (1, "caster", None, "3", None, "mm/m"),
    "low: 'nan' is not a finite number": (1, "camber", "nan", None, None),
    "high: 'inf' is not": (1, "camber", None, None, "inf"),
    "not a comma": (1, "camber", "0,5", None, None),
    "'1e-999' is not": (1, "camber", "1e-999", None, None),
    "'1/0' is not": (1, "camber", "1/0", None, None),
    "a degree has 60": (1, "camber", "0:75", None, None, "deg-min"),
    "is the unit right?": (1, "camber", "15", None, None),
    "more than it is measured across": (1, "toe", "800", None, None, "mm", "571.5 mm"),
    "across is 22.5 mm": (1, "toe", "1", None, None, "mm", "22.5 mm"),
    "write 571.5 mm or 22.5 in": (1, "toe", "1", None, None, "mm", "571.5"),
    "'0' is no axle": (0, "camber", "0", None, None),
    "'21' is no axle": (21, "camber", "0", None, None),
    "'front' is no axle": ("front", "camber", "0", None, None),
    "of the whole vehicle": (1, "thrust", None, "0", None),
    "is of an axle": ("vehicle", "camber", None, "0", None),
    "one line": (1, "camber", "0:05\n", None, None, "deg-min"),
}


@pytest.mark.parametrize("says", BAD)
def test_what_cannot_be_a_limit_is_refused_in_one_line(limit, says):
    with pytest.raises(LimitsError) as refused:
        limit(*BAD[says])
    assert says in str(refused.value)
    assert "\n" not in str(refused.value)


def test_an_axle_as_a_whole_has_no_sides(limit):
    with pytest.raises(LimitsError, match="has no sides"):
        limit(1, "total_toe", None, "0", None, side=Side.LEFT)


def test_two_figures_for_one_thing_are_refused(limit, limit_set):
    twice = (limit(1, "camber", "0", None, None), limit(1, "camber", "0.1", None, None))
    with pytest.raises(LimitsError, match="axle 1 camber has two figures"):
        limit_set(*twice)
    limit_set(twice[0], limit(1, "camber", "0.1", None, None, load="laden"))
