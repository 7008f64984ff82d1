"""What is done to a set: new versions, with the old ones as they were."""

import datetime
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.decision import Rule
from ingest.core.frames import Side
from ingest.job.limits.changes import (
    By,
    Change,
    imported,
    narrowed,
    new_set,
    on_every_axle,
    saved_as,
    undone,
    with_figure,
    with_rule,
    without,
)
from ingest.job.limits.comparing import compare
from ingest.job.limits.faults import LimitsError
from ingest.job.limits.limit import Figures, Key, Limit, Load, Origin
from ingest.job.limits.limitset import LimitSet, Version
from ingest.job.limits.quantities import Quantity
from ingest.job.limits.units import EnteredUnit

DAY = datetime.date(2026, 11, 28)
BY = By("J. Birch", DAY)
TOE = Key(1, Quantity.TOTAL_TOE)


def entered(source="another sheet", **figures):
    return Change(figures, source)


def bounds(limits, key):
    found = limits.find(key).figures
    return found.low, found.nominal, found.high


def test_a_set_from_nothing_gets_its_limits_one_by_one():
    empty = new_set("ash", BY, note="a note", rule=Rule.SIMPLE)
    made = with_figure(empty, TOE, entered(unit=EnteredUnit.DEGREE, low="0", high="0.2"), BY)
    assert bounds(made, TOE) == ("0", None, "0.2")
    assert made.find(TOE).origin == Origin("another sheet", DAY, "J. Birch")
    assert (made.number, made.predecessor, made.rule) == (2, Version("ash", 1), Rule.SIMPLE)
    assert empty.limits == ()
    assert without(made, TOE, BY).limits == ()


def test_one_figure_changes_and_the_others_stay_as_they_were_entered(limit, limit_set):
    base = limit_set(
        limit(1, "total_toe", "1/32", "1/16", "3/32", "in", "22.5 in"),
        limit(2, "camber", "-0:30", None, "0:30", "deg-min"),
    )
    made = with_figure(base, TOE, entered(high="1/8", nominal=None), BY)
    assert bounds(made, TOE) == ("1/32", None, "1/8")
    assert made.limits[1] is base.limits[1]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"unit": EnteredUnit.MILLIMETRE_PER_METRE, "high": "2"}, "another unit changes what low"),
        ({"across": "24 in"}, "another across changes what low and nominal and high"),
        ({"low": "1"}, "above high"),
    ],
)
def test_a_change_that_would_alter_the_meaning_of_the_rest_is_refused(
    limit, limit_set, change, says
):
    base = limit_set(limit(1, "total_toe", "1/32", "1/16", "3/32", "in", "22.5 in"))
    with pytest.raises(LimitsError, match=says):
        with_figure(base, TOE, entered(**change), BY)


def test_a_limit_that_is_not_there_yet_needs_a_unit_and_one_to_take_out_must_be_there(limit_set):
    with pytest.raises(LimitsError, match="give its unit"):
        with_figure(limit_set(), TOE, entered(low="0"), BY)
    with pytest.raises(LimitsError, match="no limit for axle 1 total toe"):
        without(limit_set(), TOE, BY)


def test_one_change_reaches_every_axle_that_has_the_limit(limit, limit_set):
    base = limit_set(
        limit("steer", "camber", "-0.5", None, "0.5"),
        limit(3, "camber", "-0.25", "0", "0.25"),
        limit(3, "total_toe", "0", None, "0.2"),
    )
    made = on_every_axle(base, lambda key: key.quantity == "camber", entered(high="0.3"), BY)
    assert [each.figures.high for each in made.limits] == ["0.3", "0.3", "0.2"]
    assert [each.figures.low for each in made.limits] == ["-0.5", "-0.25", "0"]
    with pytest.raises(LimitsError, match="no axle has such a limit"):
        on_every_axle(base, lambda key: key.quantity == "caster", entered(high="4"), BY)


def test_narrowing_by_hand(limit, limit_set):
    base = limit_set(
        limit(1, "total_toe", "1/32", "1/16", "3/16", "in", "22.5 in"),
        limit(2, "camber", "-0:30", None, "0:45.5", "deg-min"),
        limit(3, "scrub", None, None, "1.5", "mm/m"),
        limit(3, "setback", None, "0", "1.5", "mm/m"),
    )
    made = narrowed(base, "0.5", BY)
    told = [(e.figures.low, e.figures.nominal, e.figures.high) for e in made.limits.limits]
    assert told == [
        ("0.046875", "1/16", "0.125"),
        ("-0:11.125", None, "0:26.625"),
        (None, None, "1.5"),
        (None, "0", "0.75"),
    ]
    assert made.left == (Key(3, Quantity.SCRUB),)
    again = narrowed(made.limits, "0.5", BY).limits.limits[0]
    assert again.origin.source == "a sheet; narrowed to 0.25 of it"


def test_what_twelve_decimals_cannot_hold_is_rounded_inward(limit, limit_set):
    base = limit_set(
        limit(1, "camber", "-1/3", "0", "1/3"),
        limit(2, "camber", "-0:10", "0:00", "0:10", "deg-min"),
    )
    thirds = narrowed(base, "0.5", BY).limits.limits[0]
    assert (thirds.figures.low, thirds.figures.high) == ("-0.166666666666", "0.166666666666")
    minutes = narrowed(base, "1/3", BY).limits.limits[1]
    assert (minutes.figures.low, minutes.figures.high) == (
        "-0:03.333333333333",
        "0:03.333333333333",
    )


@pytest.mark.parametrize("factor", ["0", "-0.5", "1.01", "nan", "half", "1e999", ""])
def test_a_factor_that_does_not_narrow_is_refused(limit, limit_set, factor):
    with pytest.raises(LimitsError, match=r"^factor: "):
        narrowed(limit_set(limit(1, "camber", "0", None, "1")), factor, BY)


def test_there_must_be_something_to_narrow(limit, limit_set):
    with pytest.raises(LimitsError, match="no tolerance"):
        narrowed(limit_set(limit(1, "camber", None, "0.1", None)), "0.5", BY)


minutes = st.integers(-9 * 60 * 8, 9 * 60 * 8)
UNITS = [EnteredUnit.DEGREE, EnteredUnit.DEGREES_MINUTES, EnteredUnit.INCH]


def spelt(eighths_of_a_minute, unit):
    """Write a number of n eighths of a minute (of the unit / 60) in the unit."""
    if unit is EnteredUnit.INCH:
        return f"{'-' if eighths_of_a_minute < 0 else ''}{abs(eighths_of_a_minute)}/3000"
    if unit is EnteredUnit.DEGREE:
        return f"{eighths_of_a_minute / 480:.9f}"
    whole, rest = divmod(abs(eighths_of_a_minute) / 8, 60)
    return f"{'-' if eighths_of_a_minute < 0 else ''}{whole:.0f}:{rest:06.3f}"


@given(
    st.lists(minutes, min_size=3, max_size=3, unique=True).map(sorted),
    st.sampled_from(UNITS),
    st.sampled_from([(0, 2), (0, 1, 2), (1, 2), (0, 1)]),
    st.lists(st.sampled_from(["1", "0.9", "1/3", "0.123456789", "7/8"]), min_size=1, max_size=5),
)
def test_narrowing_never_lets_in_what_was_outside(edges, unit, there, factors):
    texts = [spelt(n, unit) if i in there else None for i, n in enumerate(edges)]
    across = "1000 mm" if unit is EnteredUnit.INCH else None
    limit = Limit(
        Key(1, Quantity.TOTAL_TOE),
        Figures(unit, *texts, across),
        Origin("a sheet", DAY, "R. Alder"),
    )
    one = LimitSet(Version("ash", 1), "R. Alder", DAY, limits=(limit,))
    for factor in factors:
        before, one = one, narrowed(one, factor, BY).limits
        old, new = before.limits[0], one.limits[0]
        assert old.low is None or new.low >= old.low
        assert old.high is None or new.high <= old.high
        assert new.figures.nominal == old.figures.nominal
        assert factor != "1" or new == old


def content(limits):
    return limits.limits, limits.rule, limits.note


def test_undo_brings_back_what_was_there_bit_by_bit(limit, limit_set):
    first = limit_set(limit(1, "total_toe", "1/32", "+1/16", "3/32", "in", "22.50 in"), note="n")
    second = narrowed(first, "1/3", BY).limits
    third = with_rule(second, Rule.SIMPLE, BY)
    history = [first, second, third]
    for wanted in (second, first):
        history.append(undone(history[-1], history, BY))
        assert content(history[-1]) == content(wanted)
        assert history[-1].restores == wanted.number
    with pytest.raises(LimitsError, match="version 1 is its first"):
        undone(history[-1], history, BY)
    redone = undone(history[-1], history, BY, to=3)
    assert content(redone) == content(third)
    assert (redone.number, redone.predecessor) == (6, Version("ash", 5))


def test_a_change_after_an_undo_can_be_undone_too(limit, limit_set):
    first = limit_set(limit(1, "camber", "0", None, "1"))
    second = narrowed(first, "0.5", BY).limits
    third = undone(second, [first, second], BY)
    fourth = narrowed(third, "0.9", BY).limits
    fifth = undone(fourth, [first, second, third, fourth], BY)
    assert content(fifth) == content(first)
    with pytest.raises(LimitsError, match="has no version 9; there are 1, 2"):
        undone(second, [first, second], BY, to=9)
    with pytest.raises(LimitsError, match="is as version 2 was"):
        undone(second, [first, second], BY, to=2)


def test_a_set_saved_under_a_new_name_begins_anew_and_knows_where_it_is_from(limit, limit_set):
    base = limit_set(limit(1, "camber", "0", None, "1"), number=7, note="n", rule=Rule.SIMPLE)
    made = saved_as(base, "birch", BY)
    assert content(made) == content(base)
    assert (made.version, made.predecessor) == (Version("birch", 1), Version("ash", 7))
    with pytest.raises(LimitsError, match="nothing to undo"):
        undone(made, [made], BY)
    with pytest.raises(LimitsError, match="cannot name a set"):
        saved_as(base, "Ash tree", BY)


def test_an_imported_set_becomes_the_next_version_of_its_name(limit, limit_set):
    read = limit_set(limit(1, "camber", "0", None, "1"), number=3, rule=Rule.SIMPLE)
    assert imported(read, None) is read
    newest = limit_set(number=8)
    made = imported(read, newest)
    assert content(made) == content(read)
    assert (made.number, made.predecessor) == (9, Version("ash", 8))


def test_two_sets_are_compared_in_words_and_one_unit(limit, limit_set):
    first = limit_set(
        limit(1, "total_toe", None, "1.5", "2.5", "mm/m"),
        limit(1, "camber", "-0:30", None, "0:30", "deg-min"),
        limit(2, "camber", "0", None, "1"),
        limit(2, "caster", "1", "2", "3"),
        limit(3, "lateral_offset", None, "0", "1/4", "in"),
    )
    second = limit_set(
        limit(1, "total_toe", None, "1.5", "2.0", "mm/m"),
        limit(1, "camber", "-0.5", None, "1/2"),
        limit(2, "camber", "0.5", None, "1.5"),
        limit(2, "caster", "1", "2.5", "3"),
        limit(3, "setback", "0", None, "1"),
        number=2,
        rule=Rule.SIMPLE,
    )
    found = compare(first, second)
    told = {str(each.key): each for each in found.differences}
    assert told["axle 1 total toe"].text.endswith(": narrower")
    assert told["axle 1 total toe"].second[2] == pytest.approx(0.11459, abs=5e-6)
    assert "which is the same" in told["axle 1 camber"].text
    assert told["axle 2 camber"].text.endswith(": elsewhere")
    assert told["axle 2 caster"].text.endswith(": another nominal")
    assert "only in the first" in told["axle 3 lateral offset"].text
    assert told["axle 3 lateral offset"].first == (None, 0.0, pytest.approx(6.35))
    assert told["axle 3 lateral offset"].unit == "mm"
    assert "only in the second" in told["axle 3 setback"].text
    assert found.settings == ("decision rule guard-u → simple",)
    assert compare(first, first).differences == ()
    assert compare(first, first).same == 5
    wider = compare(second, replace(first, limits=first.limits[:1])).differences[0]
    assert wider.text.endswith(": wider")


def test_the_key_of_a_limit_says_what_it_is_of():
    key = Key("second_steer", Quantity.LOCK_ANGLE, Side.LEFT, Load.LADEN)
    assert str(key) == "axle second_steer turning angle at the stop left laden"
