"""What a record must say to be a certificate: ISO/IEC 17025:2017, 7.8, clause by clause.

The clauses are those of a table of 7.8.2.1, 7.8.4.1 and 7.8.6 in our own words.
"""

from datetime import date
from pathlib import Path

import pytest

from calibration.records.complete import missing_for_certificate
from calibration.records.papers import IN_FULL, ITEM_ONLY, NOT_ACCREDITED, STATEMENTS
from calibration.records.record import CalibrationRecord
from calibration.records.text import load_record

KEPT = load_record((Path(__file__).parent / "version-2.json").read_text(encoding="utf-8"))


def within(part, **changes):
    return part.model_copy(update=changes)


def missing(**changes):
    return missing_for_certificate(KEPT.revised(**changes))


def test_a_complete_record_lacks_nothing():
    assert missing_for_certificate(KEPT) == ()


def test_a_new_draft_lacks_much_and_each_once():
    fields = CalibrationRecord.model_fields
    names = ("record_id", "head", "issued", "performed_from", "performed_to")
    assert {name for name in fields if fields[name].is_required()} == set(names)
    draft = CalibrationRecord(**{name: getattr(KEPT, name) for name in names})
    found = missing_for_certificate(draft)
    assert len(found) > 15
    assert len(set(found)) == len(found)


HEAD, LAB, CUSTOMER, METHOD, SOFTWARE = (
    KEPT.head,
    KEPT.lab,
    KEPT.customer,
    KEPT.method,
    KEPT.software,
)
BLANKS = [
    ("7.8.2.1 a: title", {"title": ""}),
    ("7.8.2.1 b: lab.name", {"lab": within(LAB, name="")}),
    ("7.8.2.1 b: lab.address", {"lab": within(LAB, address=" ")}),
    ("7.8.2.1 b: lab.country", {"lab": within(LAB, country="")}),
    ("7.8.2.1 c: place", {"place": ""}),
    ("7.8.2.1 e: customer.name", {"customer": within(CUSTOMER, name="")}),
    ("7.8.2.1 e: customer.contact", {"customer": within(CUSTOMER, contact="")}),
    ("7.8.2.1 f: method.name", {"method": within(METHOD, name="")}),
    ("7.8.2.1 f: method.version", {"method": within(METHOD, version="")}),
    ("7.8.2.1 g: head.model", {"head": within(HEAD, model="")}),
    ("7.8.2.1 g: head.serial", {"head": within(HEAD, serial="")}),
    ("7.8.2.1 g: head.firmware", {"head": within(HEAD, firmware="")}),
    ("7.8.2.1 n: deviations", {"deviations": ""}),
    ("7.8.2.1 o: performed_by", {"performed_by": ""}),
    ("7.8.2.1 o: authorised_by", {"authorised_by": ""}),
    ("7.5.1: software.name", {"software": within(SOFTWARE, name="")}),
    ("7.5.1: software.version", {"software": within(SOFTWARE, version="")}),
    ("7.5.1: software.settings_sha256", {"software": within(SOFTWARE, settings_sha256="")}),
]


@pytest.mark.parametrize(("reason", "changes"), BLANKS)
def test_a_blank_field_is_named_with_its_clause(reason, changes):
    assert missing(**changes) == (f"{reason} is blank",)


USED = KEPT.references[1]


def with_point(run, **changes):
    return within(run, points=(within(run.points[0], **changes), *run.points[1:]))


def with_verdict(run, **changes):
    return within(run, verdicts=tuple(within(v, **changes) for v in run.verdicts))


OTHERS = [
    ("somebody else authorises", {"authorised_by": " ada  BRINDLE"}),
    ("relate to this item only", {"statements": (IN_FULL, NOT_ACCREDITED)}),
    ("how it may be copied", {"statements": (ITEM_ONLY, NOT_ACCREDITED)}),
    ("not issued under accreditation", {"statements": (ITEM_ONLY, IN_FULL)}),
    ("deny the accreditation", {"accreditation": "body 1, number 2"}),
    ("environment is not stated", {"environment": None}),
    ("raw names no file", {"raw": ()}),
    ("references names none", {"references": ()}),
    ("KL-BLK-1 has no certificate number", {"references": (within(USED, certificate=""),)}),
    ("KL-BLK-1 has no hash", {"references": (within(USED, certificate_sha256=""),)}),
    ("KL-BLK-1 does not say who issued", {"references": (within(USED, issuer=""),)}),
    (
        "certified on 2026-11-21, after the work began on 2026-11-20",
        {"references": (within(USED, issued=date(2026, 11, 21)),)},
    ),
    (
        "due on 2026-11-20, before the work ended on 2026-11-21",
        {"references": (within(USED, due=date(2026, 11, 20)),)},
    ),
    ("coefficients has neither", {"coefficients": {}}),
    ("as_left has no verification points", {"as_left": None}),
    ("as_left has no verification points", {"as_left": within(KEPT.as_left, points=())}),
    ("points whose U is zero", {"as_left": with_point(KEPT.as_left, U="0.0000")}),
    ("budgets has none for incl_x", {"budgets": ()}),
    ("adjusted, but the coefficients are", {"coefficients": KEPT.coefficients_before}),
    ("as_found is missing", {"as_found": None}),
    ("does not repeat the points", {"as_left": with_point(KEPT.as_left, nominal="-9")}),
    ("without a decision_rule", {"decision_rule": None}),
    ("not made by the rule simple", {"decision_rule": "simple"}),
    ("without a head_class", {"head_class": ""}),
    (
        "not made by the rule guard-u-4",
        {"as_found": with_verdict(KEPT.as_found, rule="simple")},
    ),
]


@pytest.mark.parametrize(("reason", "changes"), OTHERS)
def test_what_else_is_missing_is_named_alone(reason, changes):
    found = missing(**changes)
    assert len(found) == 1
    assert reason in found[0]


def test_a_reference_counts_on_its_first_and_last_day():
    edge = within(USED, issued=KEPT.performed_from, due=KEPT.performed_to)
    assert missing(references=(edge,)) == ()


def test_as_found_may_be_missing_where_it_is_said_why():
    assert missing(as_found=None, deviations="sensor board replaced before measuring") == ()


def test_a_head_without_a_record_needs_no_as_found():
    assert missing(as_found=None, coefficients_before=None) == ()


def test_what_was_not_adjusted_is_as_found():
    same = {"coefficients": KEPT.coefficients_before, "adjusted": False}
    assert missing(**same, as_left=None) == ()
    assert "as_left is given" in missing(**same)[0]
    changed = missing(adjusted=False, as_left=None)
    assert changed == ("7.8.4.1 d: coefficients were changed, but adjusted says they were not",)


def test_an_accredited_laboratory_may_say_so():
    said = tuple(text for text in STATEMENTS if text != NOT_ACCREDITED)
    assert missing(accreditation="body 1, number 2", statements=said) == ()
