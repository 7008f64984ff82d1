"""A head's records in their order: gaps, forks, other heads, and which one is the newest."""

import itertools
from datetime import date, timedelta
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from calibration.errors import BadBenchData, CalibrationFileError
from calibration.records.chain import (
    chain_end,
    check_chain,
    coefficients_of,
    follows,
    link_to,
)
from calibration.records.papers import RecordLink
from calibration.records.signatures import sign
from calibration.records.text import load_record, seal

FOLDER = Path(__file__).parent
FIRST = load_record((FOLDER / "version-1.json").read_text(encoding="utf-8"))
SECOND = load_record((FOLDER / "version-2.json").read_text(encoding="utf-8"))
KEY = Ed25519PrivateKey.from_private_bytes(bytes(32))


def after(previous, number, /, *, days=30, **changes):
    """Return a sealed record that follows another."""
    on = previous.issued + timedelta(days=days)
    dates = {"issued": on, "performed_from": on, "performed_to": on, "received": None}
    runs = {"as_found": None, "as_left": None, "due": None, "due_agreed": False}
    link = {"record_id": f"cal-2026-{number:04d}", "previous": link_to(previous)}
    return seal(SECOND.revised(**dates, **runs, **link | changes))


THIRD = after(SECOND, 200)
FOURTH = after(THIRD, 300)
CHAIN = (FIRST, SECOND, THIRD, FOURTH)


@pytest.mark.parametrize("given", list(itertools.permutations(CHAIN)))
def test_a_whole_chain_is_put_in_order(given):
    found = check_chain(given)
    assert found.records == CHAIN
    assert found.faults == ()
    assert chain_end(given) is FOURTH


def test_the_oldest_may_follow_what_is_not_here():
    assert check_chain([THIRD, FOURTH]).faults == ()
    assert check_chain([FOURTH]).faults == ()


def test_a_gap_is_found():
    found = check_chain([FIRST, SECOND, FOURTH])
    assert found.faults == (
        "cal-2026-0300 follows cal-2026-0200, which is missing or not what it was",
    )


def test_a_record_that_was_exchanged_leaves_a_gap():
    other = after(SECOND, 200, place="elsewhere")
    (fault,) = check_chain([SECOND, other, FOURTH]).faults
    assert "follows cal-2026-0200, which is missing or not what it was" in fault


def test_a_fork_is_found_and_refused():
    rival = after(SECOND, 201)
    assert check_chain([*CHAIN, rival]).faults == (
        "cal-2026-0200 and cal-2026-0201 both follow cal-2026-0107",
    )
    with pytest.raises(CalibrationFileError, match="cal-2026-0201 and cal-2026-0300 end it"):
        chain_end([*CHAIN, rival])


def test_a_fork_from_a_record_that_is_not_here_is_refused():
    with pytest.raises(CalibrationFileError, match="forks"):
        chain_end([THIRD, after(SECOND, 201)])


def test_a_fork_is_healed_by_a_record_that_amends_one_branch():
    rival = after(SECOND, 201)
    healing = after(FOURTH, 400, amends=link_to(rival))
    assert chain_end([*CHAIN, rival, healing]) is healing
    assert check_chain([*CHAIN, rival, healing]).faults == ()


def test_the_end_counts_and_not_the_date():
    for days in (0, -1):
        early = after(SECOND, 200, days=days)
        for given in itertools.permutations([SECOND, early]):
            assert chain_end(given) is early


def test_a_record_that_was_amended_is_not_the_end():
    amending = after(FIRST, 199, days=1, amends=link_to(SECOND))
    assert chain_end([FIRST, SECOND, amending]) is amending


def test_of_two_chains_the_newer_counts():
    alone = after(FOURTH, 900, days=1, previous=None)
    assert chain_end([*CHAIN, alone]) is alone
    (fault,) = check_chain([*CHAIN, alone]).faults
    assert fault == "cal-2026-0900 names no record before it, although there are"


def test_of_two_records_of_one_day_the_last_given_counts():
    one = after(FIRST, 901, previous=None)
    two = after(FIRST, 902, previous=None)
    assert chain_end([one, two]) is two
    assert chain_end([two, one]) is one


def test_records_of_version_1_follow_their_dates():
    later = seal(
        FIRST.model_copy(update={"issued": date(2026, 12, 1), "record_id": "cal-2026-0043"})
    )
    for given in itertools.permutations([FIRST, later]):
        assert chain_end(given) is later
        assert check_chain(given).faults == ()


def test_a_later_record_of_version_1_beside_a_chain_is_a_fork():
    later = seal(
        FIRST.model_copy(update={"issued": date(2026, 12, 1), "record_id": "cal-2026-0043"})
    )
    with pytest.raises(CalibrationFileError, match="forks"):
        chain_end([FIRST, SECOND, later])


def test_no_records_have_no_end():
    assert chain_end([]) is None
    assert check_chain([]).faults == ()


def test_a_record_of_another_head_is_found():
    head = SECOND.head.model_copy(update={"head_id": "00000000000000aa"})
    (fault,) = check_chain([SECOND, after(SECOND, 200, head=head)]).faults
    assert fault == "cal-2026-0200 is of head 00000000000000aa, not 00a1b2c3d4e5f607"


def test_an_id_that_was_given_twice_is_found():
    twice = after(THIRD, 107)
    assert "cal-2026-0107 is given 2 times" in check_chain([SECOND, THIRD, twice]).faults


def test_the_same_record_twice_is_one():
    assert check_chain([SECOND, THIRD, SECOND]).records == (SECOND, THIRD)
    assert chain_end([THIRD, SECOND, THIRD]) is not None


def test_a_record_older_than_the_one_it_follows_is_found():
    (fault,) = check_chain([SECOND, after(SECOND, 200, days=-1)]).faults
    assert fault == "cal-2026-0200 is older than cal-2026-0107 before it"


def test_a_draft_begins_with_the_coefficients_in_force():
    draft = follows(SECOND, "cal-2026-0108", date(2026, 12, 1))
    assert draft.coefficients == draft.coefficients_before == SECOND.coefficients
    assert draft.previous == RecordLink(record_id=SECOND.record_id, sha256=SECOND.sha256)
    assert draft.head == SECOND.head.model_copy(update={"condition": ""})
    assert (draft.adjusted, draft.signatures, draft.as_found) == (False, (), None)
    assert check_chain([SECOND, seal(draft)]).faults == ()


def test_a_draft_may_follow_a_record_of_version_1():
    draft = follows(FIRST, "cal-2026-0108", date(2026, 12, 1))
    assert draft.coefficients_before == coefficients_of(FIRST)
    assert (draft.tilt, draft.ports, draft.stub_m) == (FIRST.tilt, FIRST.ports, FIRST.stub_m)
    assert draft.head.head_id == FIRST.head_id


@pytest.mark.parametrize(
    ("previous", "number", "on", "reason"),
    [
        (seal(SECOND.revised()), "cal-2026-0108", date(2026, 12, 1), "nobody signed"),
        (SECOND, "cal-2026-0107", date(2026, 12, 1), "has this id already"),
        (SECOND, "cal-2026-0108", date(2026, 11, 22), "2026-11-22 is before that"),
    ],
)
def test_what_a_draft_cannot_follow_is_refused(previous, number, on, reason):
    with pytest.raises(BadBenchData, match=reason):
        follows(previous, number, on)


def test_a_whole_life_holds_together():
    records = [FIRST]
    for year in range(2027, 2031):
        draft = follows(records[-1], f"cal-{year}-0001", date(year, 3, 1))
        whole = {name: getattr(SECOND, name) for name in type(SECOND).model_fields}
        kept = {"record_id", "previous", "issued", "performed_from", "performed_to", "coefficients"}
        kept |= {"coefficients_before", "head"}
        papers = {name: value for name, value in whole.items() if name not in kept}
        run = SECOND.as_left.model_copy(update={"performed": draft.performed_from})
        used = tuple(
            each.model_copy(update={"issued": date(year, 1, 1), "due": date(year, 12, 31)})
            for each in SECOND.references
        )
        papers |= {"as_found": run, "as_left": None, "adjusted": False, "references": used}
        papers |= {"received": None, "due": None, "due_agreed": False, "sha256": ""}
        head = SECOND.head
        records.append(sign(draft.revised(**papers | {"signatures": ()}, head=head), KEY))
    assert check_chain(records[::-1]).faults == ()
    assert chain_end(records[::-1]) is records[-1]
