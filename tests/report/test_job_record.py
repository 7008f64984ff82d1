"""The record of a job: sealed, signed, read back; any change is found. The job is invented.

Ed25519 and RFC 8785 are held against outside vectors in ``tests/calibration/records``.
"""

import json

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from calibration.errors import CalibrationFileError, RecordAltered
from ingest.cli import main
from ingest.commands.keyfiles import make_key_files
from ingest.payload.job_record import (
    dump_job_record,
    faults,
    job_record,
    load_job_record,
    sealed,
    signed,
)
from ingest.store.database import open_database
from ingest.store.jobs import StoredJobs
from tests.report.sample import finished

KEY, OTHER = Ed25519PrivateKey.generate(), Ed25519PrivateKey.generate()


@pytest.fixture(scope="module")
def record():
    return signed(job_record("w-204", finished().events, "Ostler & Vane"), KEY)


def test_what_was_written_is_read_back_and_makes_the_same_job(record):
    again = load_job_record(dump_job_record(record), "it")
    assert again == record
    assert again.replayed() == finished().job
    assert faults(again, (KEY.public_key(),)) == ()


def test_a_changed_figure_breaks_the_seal_and_a_new_seal_breaks_the_signature(record):
    text = dump_job_record(record)
    value = str(finished().job.left["axle/3/both/heading"].value)
    assert value in text
    forged = text.replace(value, str(float(value) / 2))
    with pytest.raises(RecordAltered):
        load_job_record(forged, "it")
    resealed = sealed(record.model_copy(update={"events": tuple(json.loads(forged)["events"])}))
    (fault,) = faults(load_job_record(dump_job_record(resealed), "it"), (KEY.public_key(),))
    assert "fails" in fault


def test_a_wrong_key_and_no_signature_are_told(record):
    assert "none of the keys" in faults(record, (OTHER.public_key(),))[0]
    assert faults(job_record("w-204", finished().events), (KEY.public_key(),)) == ("is not signed",)
    assert faults(record, ()) == ()


@pytest.mark.parametrize("lost", [0, 3, 10])
def test_a_missing_event_makes_no_job(record, lost):
    events = [e for at, e in enumerate(record.events) if at != lost]
    cut = sealed(record.model_copy(update={"events": tuple(events)}))
    with pytest.raises(CalibrationFileError):
        load_job_record(dump_job_record(cut), "it")


@pytest.mark.parametrize("text", ["{}", '{"format": "levelhead-job"}', '"levelhead-job"', "["])
def test_what_is_no_record_is_refused(text):
    with pytest.raises(CalibrationFileError):
        load_job_record(text, "it")


@pytest.fixture
def kept(tmp_path):
    path = tmp_path / "bay.db"
    with open_database(path) as connection:
        StoredJobs(connection).add("w-204", finished().events, None, None)
    connection.close()
    return path


def test_a_report_is_written_signed_and_checked_offline(kept, tmp_path, capsys):
    make_key_files(tmp_path / "key")
    key, public = str(tmp_path / "key"), str(tmp_path / "key.pub")
    out = tmp_path / "out"
    out.mkdir()
    asked = ["job", "report", "--state", str(kept), "--key", key, "-o", str(out)]
    assert main(asked) == 0
    assert {p.suffix for p in out.iterdir()} == {".json", ".pdf", ".html"}
    capsys.readouterr()
    assert main(["record", "check", str(out / "w-204.json"), "--key", public]) == 0
    assert "It holds." in capsys.readouterr().out
    assert main(["record", "check", str(out / "w-204.json")]) == 0
    unkeyed = capsys.readouterr().out
    assert "It holds." not in unkeyed
    assert "no signature of it was checked" in unkeyed
    damaged = (out / "w-204.json").read_text().replace("alder", "birch", 1)
    (out / "w-204.json").write_text(damaged)
    assert main(["record", "check", str(out / "w-204.json"), "--key", public]) == 3
    assert "altered" in capsys.readouterr().err


def test_figures_are_exported_with_limits_and_decisions(kept, capsys):
    assert main(["job", "export", "--state", str(kept), "--as", "json"]) == 0
    rows = {row["result"]: row for row in json.loads(capsys.readouterr().out)}
    heading = rows["axle/3/both/heading"]
    assert heading["found"] == pytest.approx(-0.15)
    assert (heading["found_decision"], heading["left_decision"]) == ("outside", "inside")
    assert main(["job", "export", "--state", str(kept)]) == 0
    assert capsys.readouterr().out.splitlines()[0].startswith("job,result,unit,found")


def test_the_history_of_a_vehicle_says_what_moved_since(kept, capsys):
    with open_database(kept) as connection:
        StoredJobs(connection).add("w-300", finished().events, None, None)
    connection.close()
    assert main(["job", "list", "--state", str(kept), "--vehicle", "rigid-6x4"]) == 0
    out = capsys.readouterr().out
    assert "w-204" in out
    assert "w-300" in out
    assert "axle/3/both/heading: left" in out
    assert "axle/1/left/camber" not in out


@pytest.mark.parametrize("asked", [["report", "nobody"], ["export", "nobody"]])
def test_a_job_that_there_is_not_is_told(kept, capsys, asked):
    assert main(["job", *asked, "--state", str(kept)]) == 2
    assert "there are: w-204" in capsys.readouterr().err
