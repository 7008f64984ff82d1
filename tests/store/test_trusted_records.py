"""Which record of a head counts: the end of its chain, signed by somebody who is trusted."""

import os
from datetime import timedelta
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from calibration.errors import CalibrationFileError
from calibration.records.chain import link_to
from calibration.records.check import check_record
from calibration.records.ed25519 import signature_of
from calibration.records.keys import key_id, read_public
from calibration.records.signatures import sign, signed_bytes
from calibration.records.text import dump_record, load_record, seal
from ingest.commands.record_folder import take_up
from ingest.core.ids import HeadId
from ingest.store.database import open_database
from ingest.store.records import StoredRecords

KEPT = Path(__file__).parents[1] / "calibration" / "records"
FIRST_TEXT = (KEPT / "version-1.json").read_text(encoding="utf-8")
TEXT = (KEPT / "version-2.json").read_text(encoding="utf-8")
FIRST, SECOND = load_record(FIRST_TEXT), load_record(TEXT)
LAB = read_public((KEPT / "version-2.pub").read_bytes(), "lab")
KEY = Ed25519PrivateKey.from_private_bytes(bytes(32))
HEAD = HeadId(SECOND.head_id)


def after(previous, number, /, **changes):
    """Return a sealed record that follows another one day later."""
    on = previous.issued + timedelta(days=1)
    dates = {"issued": on, "received": None, "due": None, "due_agreed": False}
    link = {"record_id": f"cal-2026-{number:04d}", "previous": link_to(previous)}
    return seal(SECOND.revised(**dates | link | changes))


THIRD = after(SECOND, 200)


def stored(*texts, keys=()):
    records = StoredRecords(open_database(":memory:"), keys)
    for text in texts:
        records.add(text, "here")
    return records


def refused(records, text, where="A.json"):
    """Return what ``add`` says of a text, and then ``newest`` of its head."""
    with pytest.raises(CalibrationFileError) as adding:
        records.add(text, where)
    with pytest.raises(CalibrationFileError) as asking:
        records.newest(HEAD)
    assert str(asking.value) == str(adding.value)
    return str(adding.value)


def test_what_record_check_refuses_is_not_served():
    """Adjusted, and signed by the lab's own key, but without the adjustment as a signed step."""
    whole = load_record((KEPT / "version-3.json").read_text(encoding="utf-8"))
    assert whole.adjusted
    bare = seal(whole.revised(adjustment=None))
    signature = signature_of(signed_bytes(bare), KEY)
    signed = bare.model_copy(update={"signatures": (signature,)})
    records = stored(keys=(KEY.public_key(),))
    with pytest.raises(CalibrationFileError, match="signed, although incomplete"):
        records.add(dump_record(signed), "A.json")
    assert check_record(signed, (KEY.public_key(),)).faults


@pytest.mark.parametrize("order", [(0, 1, 2), (2, 1, 0), (1, 2, 0)])
def test_both_versions_are_kept_and_the_end_of_the_chain_counts(order):
    texts = (FIRST_TEXT, TEXT, dump_record(THIRD))
    assert stored(*(texts[i] for i in order)).newest(HEAD) == THIRD


def test_the_end_of_the_chain_counts_even_when_it_is_not_the_newest_by_date():
    backdated = after(SECOND, 200, issued=SECOND.issued)
    for texts in ((TEXT, dump_record(backdated)), (dump_record(backdated), TEXT)):
        assert stored(*texts).newest(HEAD) == backdated


def test_a_fork_is_refused_by_name():
    records = stored(TEXT, dump_record(THIRD), dump_record(after(SECOND, 201)))
    with pytest.raises(CalibrationFileError, match="cal-2026-0200 and cal-2026-0201 end it"):
        records.newest(HEAD)


def test_a_changed_byte_refuses_the_head_although_an_older_record_is_there():
    text = refused(stored(FIRST_TEXT), TEXT.replace("0.4137", "0.4138"))
    assert text == "A.json: altered after it was sealed: its hash differs; take an unaltered copy"


@pytest.mark.parametrize("at", ['{\n  "accreditation"', '"adjusted": true', '"sha256": "'])
def test_a_file_damaged_beyond_reading_refuses_its_head_too(at):
    damaged = TEXT.replace(at, at[:-1] + "\x00", 1)
    assert damaged != TEXT
    assert refused(stored(FIRST_TEXT), damaged).startswith("A.json: ")


def test_an_altered_copy_of_a_stored_record_refuses_the_head():
    assert "altered" in refused(stored(TEXT), TEXT.replace("0.4137", "0.4138"))


def test_a_damaged_record_that_a_good_one_follows_does_no_harm():
    records = stored(TEXT)
    with pytest.raises(CalibrationFileError):
        records.add(FIRST_TEXT.replace("0.25", "0.26"), "old.json")
    assert records.newest(HEAD) == SECOND
    records = stored(TEXT, dump_record(THIRD))
    with pytest.raises(CalibrationFileError):
        records.add(TEXT.replace("0.4137", "0.4138"), "old.json")
    assert records.newest(HEAD) == THIRD


def test_a_damaged_copy_of_an_older_record_that_is_stored_does_no_harm():
    later = FIRST.model_copy(update={"record_id": "cal-2026-0043", "issued": SECOND.issued})
    records = stored(FIRST_TEXT, dump_record(seal(later)))
    with pytest.raises(CalibrationFileError):
        records.add(FIRST_TEXT.replace("0.25", "0.26"), "copy.json")
    assert records.newest(HEAD).record_id == "cal-2026-0043"


def test_a_damaged_record_of_another_head_does_no_harm():
    records = stored(TEXT)
    other = TEXT.replace(SECOND.head_id, "00000000000000aa")
    with pytest.raises(CalibrationFileError):
        records.add(other, "other.json")
    assert records.newest(HEAD) == SECOND
    with pytest.raises(CalibrationFileError):
        records.newest(HeadId("00000000000000aa"))


def test_a_record_signed_by_a_trusted_key_is_used():
    assert stored(TEXT, keys=[LAB]).newest(HEAD) == SECOND
    both = sign(SECOND, KEY)
    for keys in ([LAB], [KEY.public_key()], [LAB, KEY.public_key()]):
        assert stored(dump_record(both), keys=keys).newest(HEAD) == both


def test_a_record_by_another_key_is_refused_by_name():
    text = refused(stored(keys=[KEY.public_key()]), TEXT)
    assert text.startswith(
        f"A.json: record cal-2026-0107 is signed by {key_id(LAB)}, which is none"
    )


def test_a_record_without_a_signature_is_refused_by_name():
    text = refused(stored(keys=[LAB]), dump_record(THIRD))
    assert text == "A.json: record cal-2026-0200 is not signed"


def test_a_record_of_version_1_is_refused_where_keys_are_asked_for():
    assert "is of version 1" in refused(stored(keys=[LAB]), FIRST_TEXT)


def test_a_forged_record_is_refused_by_name():
    forged = seal(SECOND.model_copy(update={"place": "elsewhere"}))
    assert "the signature fails" in refused(stored(keys=[LAB]), dump_record(forged))


def test_what_was_stored_before_keys_were_asked_for_is_judged_by_them():
    connection = open_database(":memory:")
    StoredRecords(connection).add(dump_record(seal(SECOND.revised())), "before")
    with pytest.raises(CalibrationFileError, match=r"record cal-2026-0107.*not signed"):
        StoredRecords(connection, [LAB]).newest(HEAD)


def test_a_signed_record_takes_the_place_of_its_draft():
    connection = open_database(":memory:")
    records = StoredRecords(connection)
    draft = dump_record(seal(SECOND.revised()))
    records.add(draft, "draft")
    records.add(TEXT, "signed")
    assert StoredRecords(connection, [LAB]).newest(HEAD) == SECOND
    records.add(draft, "draft again")
    assert records.newest(HEAD) == SECOND


def test_an_ancestor_need_not_be_signed_since_its_hash_is():
    connection = open_database(":memory:")
    StoredRecords(connection).add(FIRST_TEXT, "before")
    records = StoredRecords(connection, [LAB])
    records.add(TEXT, "here")
    assert records.newest(HEAD) == SECOND


def test_another_record_with_the_same_id_refuses_the_head():
    other = seal(SECOND.revised(place="elsewhere"))
    assert "another record with the id cal-2026-0107" in refused(stored(TEXT), dump_record(other))


def test_a_file_that_an_editor_marked_as_utf_8_is_read(tmp_path):
    (tmp_path / "2.json").write_bytes(b"\xef\xbb\xbf" + TEXT.encode())
    records = stored()
    assert take_up(records, tmp_path) == []
    assert records.newest(HEAD) == SECOND


def test_a_folder_names_each_record_that_is_not_used(tmp_path):
    (tmp_path / "1.json").write_text(FIRST_TEXT, encoding="utf-8")
    (tmp_path / "2.json").write_bytes(TEXT.encode().replace(b"Harrowmere", b"Harrow\xffere", 1))
    records = stored()
    (line,) = take_up(records, tmp_path)
    assert line.startswith(f"{tmp_path / '2.json'}: altered")
    assert line.endswith("; this record is not used")
    with pytest.raises(CalibrationFileError, match="altered"):
        records.newest(HEAD)


def test_what_is_no_file_is_named_and_the_others_are_used(tmp_path):
    os.mkfifo(tmp_path / "1.json")
    (tmp_path / "2.json").write_text(TEXT, encoding="utf-8")
    (tmp_path / "3.json").mkdir()
    (tmp_path / "4.json").symlink_to(tmp_path / "gone.json")
    records = stored()
    said = take_up(records, tmp_path)
    assert [line.removeprefix(str(tmp_path)) for line in said] == [
        "/1.json: is a named pipe, which may never end; a file is needed; this record is not used",
        "/3.json: is a directory; this record is not used",
        "/4.json: no such file or directory; this record is not used",
    ]
    assert records.newest(HEAD) == SECOND
