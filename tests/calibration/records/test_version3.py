"""Version 3 of the record: an adjustment is a step of its own, signed between found and left."""

import base64
import json
from datetime import UTC, datetime
from pathlib import Path

import pytest
import rfc8785
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from pydantic import ValidationError

from calibration.errors import BadBenchData, RecordIncomplete
from calibration.records.adjustment import adjustment_of, holds, verify_adjustment
from calibration.records.check import check_record
from calibration.records.complete import missing_for_certificate
from calibration.records.grown import grown
from calibration.records.keys import key_id, read_public
from calibration.records.signatures import distrust, sign, verify_signatures
from calibration.records.text import dump_record, load_record
from calibration.verification.adjustment import adjusted

FOLDER = Path(__file__).parent
TEXT = (FOLDER / "version-3.json").read_text(encoding="utf-8")
"""Written by the first program with this version. Never write it anew."""
LAB = read_public((FOLDER / "version-3.pub").read_bytes(), "version-3.pub")
KEPT = load_record(TEXT)
SECOND = load_record((FOLDER / "version-2.json").read_text(encoding="utf-8"))
KEY = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
AT = datetime(2026, 11, 20, 16, 40, tzinfo=UTC)


def test_version_3_is_readable_and_written_as_it_was():
    assert (KEPT.version, KEPT.record_id, KEPT.result) == (3, "cal-2026-0108", "pass")
    assert dump_record(KEPT) == TEXT
    assert [each.holds for each in verify_signatures(KEPT, [LAB])] == [True]
    assert distrust(KEPT, [LAB]) is None
    assert missing_for_certificate(KEPT) == ()


def test_its_adjustment_is_signed_on_its_own():
    """By RFC 8785 and RFC 8032 alone, as RECORD.md tells a stranger to check it."""
    raw = json.loads(TEXT)
    step = raw["adjustment"]
    body = {
        "format": "levelhead-adjustment",
        "head_id": raw["head"]["head_id"],
        "at": step["at"],
        "by": step["by"],
    }
    for name in ("record_id", "previous", "coefficients_before", "coefficients", "as_found"):
        body[name] = raw[name]
    signature = base64.b64decode(step["signature"]["value"])
    LAB.verify(signature, rfc8785.dumps(body))
    body["coefficients"]["tilt"]["bias_deg"][0] += 1e-6
    with pytest.raises(InvalidSignature):
        LAB.verify(signature, rfc8785.dumps(body))


def test_the_adjustment_stands_between_found_and_left():
    assert KEPT.as_left.after == KEPT.adjustment.sha256
    found = KEPT.as_found.model_copy(update={"figures": ()})
    assert not holds(KEPT.revised(as_found=found))
    assert holds(KEPT.revised(as_left=None, place="elsewhere"))


@pytest.mark.parametrize(
    "changes",
    [
        {"coefficients_before": None},
        {"coefficients": SECOND.coefficients_before},
        {"as_found": None},
        {"record_id": "cal-2026-0109"},
        {"previous": None},
        {"head": KEPT.head.model_copy(update={"head_id": "f" * 16})},
        {"adjustment": KEPT.adjustment.model_copy(update={"by": "Somebody Else"})},
        {"adjustment": KEPT.adjustment.model_copy(update={"at": "2026-11-20T16:40:01Z"})},
    ],
    ids=lambda changes: next(iter(changes)),
)
def test_whatever_it_was_signed_for_cannot_change(changes):
    """Not even by whoever may sign the record: the step's own signature fails."""
    changed = KEPT.revised(**changes)
    assert not holds(changed)
    assert verify_adjustment(changed, [LAB]).holds is False
    assert any("adjust" in reason for reason in missing_for_certificate(changed))
    with pytest.raises(RecordIncomplete, match="adjustment was signed for other"):
        sign(changed, KEY)


def test_a_forged_step_is_named_by_whoever_has_the_key():
    """Its hash fits what it says, and the signature is another key's under the first's name."""
    step = adjustment_of(KEPT.revised(), KEY, "2026-11-20T16:40:00Z", "Ada Brindle")
    named = step.signature.model_copy(update={"key_id": key_id(LAB)})
    left = KEPT.as_left.model_copy(update={"after": step.sha256})
    forged = KEPT.revised(adjustment=step.model_copy(update={"signature": named}), as_left=left)
    record = sign(forged, KEY)
    found = check_record(record, [LAB, KEY.public_key()])
    assert found.adjustment.holds is False
    assert not found.holds
    assert "its adjustment was altered" in found.faults[0]
    assert distrust(record, [LAB, KEY.public_key()]) == found.faults[0]


def test_two_keys_may_sign_the_step_and_the_whole():
    step = adjustment_of(KEPT.revised(), KEY, "2026-11-20T16:40:00Z", "Ada Brindle")
    left = KEPT.as_left.model_copy(update={"after": step.sha256})
    lab = Ed25519PrivateKey.generate()
    record = sign(KEPT.revised(adjustment=step, as_left=left), lab)
    both = check_record(record, [lab.public_key(), KEY.public_key()])
    assert (both.holds, both.adjustment.holds) == (True, True)
    one = check_record(record, [lab.public_key()])
    assert (one.holds, one.adjustment.holds) == (True, None)


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({"adjustment": None}, "is not a signed step; levelhead record adjust"),
        (
            {"as_left": KEPT.as_left.model_copy(update={"after": None})},
            "as_left was not verified after the adjustment",
        ),
        (
            {
                "as_left": KEPT.as_left.model_copy(
                    update={
                        "taken_from": "2026-11-20T16:39:59Z",
                        "taken_to": "2026-11-20T17:00:00Z",
                    }
                )
            },
            "as_left was taken from 2026-11-20T16:39:59Z on, before the adjustment",
        ),
    ],
    ids=["no step", "left of another step", "left taken before"],
)
def test_a_certificate_needs_the_step(changes, reason):
    found = missing_for_certificate(KEPT.revised(**changes))
    assert any(reason in each for each in found)
    with pytest.raises(RecordIncomplete):
        sign(KEPT.revised(**changes), KEY)


def test_as_found_is_not_taken_after_the_step():
    late = {"taken_from": "2026-11-20T16:00:00Z", "taken_to": "2026-11-20T16:40:01Z"}
    found = KEPT.revised(as_found=KEPT.as_found.model_copy(update=late), adjustment=None)
    step = adjustment_of(found, KEY, "2026-11-20T16:40:00Z", "Ada Brindle")
    missing = missing_for_certificate(found.revised(adjustment=step))
    assert any("as_found was taken until 2026-11-20T16:40:01Z" in each for each in missing)


def test_other_coefficients_need_another_step():
    draft = grown(KEPT)
    assert draft.adjustment == KEPT.adjustment
    fitted = grown(draft, coefficients=SECOND.coefficients_before)
    assert fitted.adjustment is None


def test_adjusting_signs_and_counts_as_a_day_of_the_work():
    draft = KEPT.revised(adjustment=None, as_left=None)
    done = adjusted(draft, KEY, AT.replace(day=25), "Ada Brindle")
    assert (done.adjustment.at, done.adjustment.by) == ("2026-11-25T16:40:00Z", "Ada Brindle")
    assert verify_adjustment(done, [KEY.public_key()]).holds
    assert (done.performed_to.day, done.issued.day) == (25, 25)
    with pytest.raises(BadBenchData, match="was adjusted at 2026-11-25T16:40:00Z by Ada Brindle"):
        adjusted(done, KEY, AT, "Ada Brindle")


@pytest.mark.parametrize(
    ("changes", "by", "reason"),
    [
        ({"adjusted": False}, "Ada Brindle", "has no new coefficients"),
        ({"as_found": None}, "Ada Brindle", "was not verified as found"),
        ({}, " ", "does not say who adjusts"),
    ],
)
def test_what_cannot_be_adjusted_is_refused(changes, by, reason):
    draft = KEPT.revised(**{"adjustment": None, "as_left": None} | changes)
    with pytest.raises(BadBenchData, match=reason):
        adjusted(draft, KEY, AT, by)
    with pytest.raises(BadBenchData, match="is signed and cannot change"):
        adjusted(KEPT, KEY, AT, by)


def test_a_draft_of_version_2_is_lifted_when_it_is_adjusted():
    draft = SECOND.revised(as_left=None)
    assert draft.version == 2
    assert adjusted(draft, KEY, AT, "Ada Brindle").version == 3
    with pytest.raises(ValidationError, match="adjustment belongs to version 3"):
        SECOND.revised(adjustment=KEPT.adjustment)
