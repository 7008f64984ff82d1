"""The history of checks, and from when to when a head is in doubt."""

import math
import sqlite3
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from calibration.records.text import load_record, seal
from calibration.verification.shift_check import Change, HeadCheck
from ingest.core.ids import HeadId
from ingest.store.checks import PastCheck, PastFigure, StoredChecks
from ingest.store.database import open_database
from ingest.store.doubt import span_of_doubt

ONE, TWO = HeadId("00000000000000a1"), HeadId("00000000000000a2")
RECORDS = Path(__file__).parents[1] / "calibration" / "records"


def checked(head=ONE, moved_deg=0.004, decision="inside"):
    change = Change("incl_y zero", *map(math.radians, (moved_deg, 0.002, 0.02)), decision=decision)
    return HeadCheck("A", head, "cal-2026-0042", (change,), True)


def test_a_check_comes_back_by_its_head_in_the_order_of_time(tmp_path):
    checks = StoredChecks(open_database(tmp_path / "state.db"))
    assert checks.add((checked(), checked(TWO)), 2_000, "KL-BAR-1", "aa") == ()
    outside = checked(moved_deg=0.03, decision="outside")
    assert checks.add((outside,), 1_000, "KL-BAR-1", "bb") == ()
    first, second = StoredChecks(open_database(tmp_path / "state.db")).of(ONE)
    assert (first.performed_ms, first.decision) == (1_000, "outside")
    assert (second.performed_ms, second.decision, second.bar) == (2_000, "inside", "KL-BAR-1")
    figure = second.figures["incl_y zero"]
    assert figure.change_deg == pytest.approx(0.004)
    assert (figure.u_deg, figure.limit_deg) == pytest.approx((0.002, 0.02))
    assert [c.performed_ms for c in checks.of(TWO)] == [2_000]


def test_the_same_readings_are_one_check():
    checks = StoredChecks(open_database(":memory:"))
    assert checks.add((checked(),), 1_000, "KL-BAR-1", "aa") == ()
    (before,) = checks.add((checked(),), 9_000, "KL-BAR-2", "aa")
    assert (before.performed_ms, before.bar) == (1_000, "KL-BAR-1")
    assert len(checks.of(ONE)) == 1


def test_half_a_check_is_never_kept():
    connection = open_database(":memory:")
    twice = HeadCheck("A", ONE, "cal-2026-0042", checked().changes * 2, True)
    with pytest.raises(sqlite3.IntegrityError):
        StoredChecks(connection).add((checked(TWO), twice), 1_000, "KL-BAR-1", "aa")
    assert StoredChecks(connection).of(TWO) == ()


@pytest.mark.parametrize(
    "words",
    [
        "UPDATE head_check SET decision = 'inside'",
        "UPDATE head_check_figure SET change_deg = 0",
        "DELETE FROM head_check",
    ],
)
def test_a_check_is_kept_as_it_was(words):
    connection = open_database(":memory:")
    StoredChecks(connection).add((checked(),), 1_000, "KL-BAR-1", "aa")
    with pytest.raises(sqlite3.IntegrityError, match="a check"):
        connection.execute(words)


def ms(*moment):
    return round(datetime(*moment, tzinfo=UTC).timestamp() * 1000)


NOW = ms(2026, 12, 1, 12)
FIGURE = {"incl_y zero": PastFigure(0.0, 0.002, 0.02, "inside")}


def past(decision, *moment):
    return PastCheck(ms(*moment), "KL-BAR-1", "cal-2026-0042", decision, FIGURE)


def version1(issued=date(2026, 11, 2)):
    kept = load_record((RECORDS / "version-1.json").read_text(encoding="utf-8"))
    return seal(kept.model_copy(update={"issued": issued, "sha256": ""}))


def version2(as_found, found=date(2026, 11, 20), issued=date(2026, 11, 23)):
    kept = load_record((RECORDS / "version-2.json").read_text(encoding="utf-8"))
    verdict = kept.as_found.verdicts[0].model_copy(update={"decision": as_found})
    run = kept.as_found.model_copy(update={"performed": found, "verdicts": (verdict,)})
    return seal(kept.model_copy(update={"as_found": run, "issued": issued, "sha256": ""}))


def span(checks=(), records=()):
    found = span_of_doubt(checks, records, NOW)
    return found.since_ms, found.until_ms


def test_where_nothing_is_known_all_is_in_doubt():
    found = span_of_doubt((), (), NOW)
    assert (found.since_ms, found.until_ms) == (0, NOW)
    assert "no good check" in found.since


def test_where_nothing_is_bad_doubt_begins_with_the_last_good_word():
    good = past("inside", 2026, 11, 25, 7), past("inside", 2026, 11, 26, 7)
    assert span(good, [version1()]) == (ms(2026, 11, 26, 7), NOW)
    assert span((), [version1()]) == (ms(2026, 11, 2), NOW)


def test_a_check_that_could_not_decide_is_no_good_word():
    checks = past("inside", 2026, 11, 25, 7), past("undecided", 2026, 11, 26, 7)
    assert span(checks) == (ms(2026, 11, 25, 7), NOW)


def test_a_bad_check_puts_all_since_the_good_one_before_it_in_doubt():
    checks = (
        past("inside", 2026, 11, 24, 7),
        past("inside", 2026, 11, 25, 7),
        past("outside", 2026, 11, 26, 7),
    )
    assert span(checks) == (ms(2026, 11, 25, 7), NOW)
    # Seats cleaned, checked again: good from then on, but not before.
    checks = (*checks, past("inside", 2026, 11, 26, 8), past("inside", 2026, 11, 27, 7))
    assert span(checks) == (ms(2026, 11, 25, 7), ms(2026, 11, 26, 8))


def test_bad_again_and_again_goes_back_to_the_good_word_before_the_newest():
    checks = (
        past("inside", 2026, 11, 24, 7),
        past("outside", 2026, 11, 25, 7),
        past("outside", 2026, 11, 26, 7),
    )
    assert span(checks) == (ms(2026, 11, 24, 7), NOW)


@pytest.mark.parametrize("word", ["fail", "conditional-fail"])
def test_a_head_that_failed_as_found_was_in_doubt_until_it_was_left_good(word):
    checks = [past("inside", 2026, 11, 10, 7)]
    end_of_issue = ms(2026, 11, 24) - 1
    assert span(checks, [version1(), version2(word)]) == (ms(2026, 11, 10, 7), end_of_issue)
    assert span((), [version1(), version2(word)]) == (ms(2026, 11, 2), end_of_issue)


def test_a_head_that_passed_as_found_has_one_more_good_word():
    assert span((), [version1(), version2("pass")]) == (ms(2026, 11, 23), NOW)


def test_a_good_check_on_the_day_of_a_bad_calibration_settles_nothing():
    day = date(2026, 11, 20)
    checks = [past("inside", 2026, 11, 19, 7), past("inside", 2026, 11, 20, 7)]
    found = span(checks, [version2("fail", day, day)])
    assert found == (ms(2026, 11, 19, 7), ms(2026, 11, 21) - 1)


def test_a_bad_check_on_the_day_of_a_calibration_leaves_what_comes_after_it_in_doubt():
    """A calibration lasts whole days: it may have come before the check, and ends no doubt."""
    day = date(2026, 11, 20)
    checks = [past("inside", 2026, 11, 20, 14), past("outside", 2026, 11, 20, 15)]
    found = span(checks, [version1(), version2("fail", day, day)])
    assert found == (ms(2026, 11, 20, 14), NOW)
    again = [*checks, past("inside", 2026, 11, 21, 7)]
    assert span(again, [version2("fail", day, day)]) == (
        ms(2026, 11, 20, 14),
        ms(2026, 11, 21, 7),
    )
