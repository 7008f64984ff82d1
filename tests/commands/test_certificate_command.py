"""``levelhead certificate``: from a record file to the files that leave the house."""

import json
from datetime import date

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from calibration.records.keys import public_pem
from calibration.records.record import CalibrationRecord
from calibration.records.signatures import sign
from calibration.records.text import dump_record, seal
from calibration.records.version1 import CalibrationRecord1
from ingest.cli import main

KEY = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
OTHER = Ed25519PrivateKey.from_private_bytes(bytes(range(1, 33)))
SHA = "ab" * 32


def record():
    """The least that a certificate may be made of."""
    point = {"channel": "incl_y", "direction": "up", "repeats": 3, "unit": "deg", "k": "2"}
    angles = {"nominal": "0", "reference": "0.000", "indication": "0.002", "error": "0.002"}
    line = {"source": "repeatability", "estimate": "0", "u": "0.003", "distribution": "normal"}
    factors = {"divisor": "1", "sensitivity": "1", "contribution": "0.003", "dof": None}
    budget = {"channel": "incl_y", "at": "", "unit": "deg", "u": "0.003", "dof": None, "k": "2"}
    reference = {
        "id": "KL-BAR-1",
        "kind": "bar",
        "certificate": "FMO-26-0118",
        "certificate_sha256": SHA,
        "issuer": "Fenmoor Metrology Office",
        "value": "2000.0",
        "unit": "mm",
        "U": "0.1",
        "k": "2",
        "issued": date(2026, 3, 2),
        "due": date(2027, 3, 2),
    }
    return CalibrationRecord.model_validate(
        {
            "record_id": "cal-2026-0042",
            "head": {
                "head_id": "00a1b2c3d4e5f607",
                "serial": "0007",
                "model": "LH-2",
                "firmware": "1.4",
            },
            "issued": date(2026, 11, 25),
            "performed_from": date(2026, 11, 24),
            "performed_to": date(2026, 11, 24),
            "lab": {"name": "Kestrel Lane Works", "address": "Harrowmere", "country": "GB"},
            "place": "laboratory",
            "customer": {"name": "Bay 2", "contact": "Mira Tolland"},
            "method": {"name": "KL-M-03", "version": "2"},
            "performed_by": "Ada Brindle",
            "authorised_by": "Jonas Wexcombe",
            "deviations": "none",
            "environment": {"temperature": {"value": "20", "U": "1", "k": "2", "unit": "Cel"}},
            "references": [reference],
            "raw": [{"what": "left.csv", "sha256": SHA, "bytes": 10}],
            "coefficients": {"encoders": {"rotation": {"zero_deg": 0.1, "u_zero_deg": 0.01}}},
            "as_found": {
                "performed": date(2026, 11, 24),
                "points": [point | angles | {"U": "0.006"}],
            },
            "budgets": [budget | {"U": "0.006", "lines": [line | factors]}],
            "software": {"name": "levelhead", "version": "0.1.0", "settings_sha256": SHA},
        }
    )


@pytest.fixture
def signed(tmp_path):
    path = tmp_path / "record.json"
    path.write_text(dump_record(sign(record(), KEY)), encoding="utf-8")
    return path


@pytest.fixture
def draft(tmp_path):
    path = tmp_path / "draft.json"
    path.write_text(dump_record(seal(record())), encoding="utf-8")
    return path


@pytest.fixture
def key(tmp_path):
    path = tmp_path / "lab.pub"
    path.write_bytes(public_pem(KEY.public_key()))
    return path


@pytest.fixture
def outputs(tmp_path):
    return {form: tmp_path / f"out.{form}" for form in ("html", "pdf", "dcc")}


def asked(outputs):
    return [word for form, path in outputs.items() for word in (f"--{form}", str(path))]


def left(outputs):
    """What lies beside the record and key afterwards."""
    folder = outputs["html"].parent
    return {p.name for p in folder.iterdir()} - {"record.json", "draft.json", "lab.pub"}


def certificate(*words):
    return main(["certificate", *map(str, words)])


def test_writes_all_three_and_says_so(signed, key, outputs, capsys):
    assert certificate(signed, *asked(outputs), "--key", key) == 0
    assert outputs["html"].read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert outputs["pdf"].read_bytes().startswith(b"%PDF-")
    assert outputs["dcc"].read_bytes().startswith(b"<?xml")
    said = capsys.readouterr().out.splitlines()
    assert said == [
        f"cal-2026-0042, signature holds: HTML in {outputs['html']}",
        f"cal-2026-0042, signature holds: PDF in {outputs['pdf']}",
        "cal-2026-0042, signature holds: DCC (not held against schemas, --schemas) in "
        f"{outputs['dcc']}",
    ]
    assert left(outputs) == {"out.html", "out.pdf", "out.dcc"}


def test_says_that_a_signature_was_not_checked(signed, key, outputs, capsys):
    assert certificate(signed, "--html", outputs["html"]) == 0
    assert "signature not checked (--key)" in capsys.readouterr().out
    assert "NOT CHECKED" in outputs["html"].read_text(encoding="utf-8")
    assert certificate(signed, "--html", outputs["html"], "--key", key) == 0
    assert "NOT CHECKED" not in outputs["html"].read_text(encoding="utf-8")


def test_holds_the_dcc_against_schemas(signed, outputs, dcc_schemas, capsys):
    assert certificate(signed, "--dcc", outputs["dcc"], "--schemas", dcc_schemas) == 0
    assert f"DCC, valid against {dcc_schemas / 'dcc.xsd'}, in" in capsys.readouterr().out


def test_renders_a_draft_marked_as_one(draft, outputs, capsys):
    assert certificate(draft, "--html", outputs["html"]) == 0
    assert "a draft that nobody signed" in capsys.readouterr().out
    assert "DRAFT, not signed" in outputs["html"].read_text(encoding="utf-8")


def test_gives_no_machine_a_draft(draft, outputs, capsys):
    assert certificate(draft, *asked(outputs)) == 3
    assert "refused: no DCC: cal-2026-0042 is a draft; sign it first" in capsys.readouterr().err
    assert left(outputs) == set()


def test_refuses_an_altered_record(signed, outputs, capsys):
    text = signed.read_text(encoding="utf-8")
    signed.write_text(text.replace("Ada Brindle", "Ada Bridle"), encoding="utf-8")
    assert certificate(signed, *asked(outputs)) == 3
    assert "altered after it was sealed" in capsys.readouterr().err
    assert left(outputs) == set()


def test_refuses_a_record_sealed_anew_by_a_stranger(signed, key, outputs, capsys):
    raw = json.loads(signed.read_text(encoding="utf-8"))
    forged = CalibrationRecord.model_validate_json(json.dumps(raw | {"place": "elsewhere"}))
    signed.write_text(dump_record(seal(forged)), encoding="utf-8")
    assert certificate(signed, *asked(outputs), "--key", key) == 3
    assert "signature fails" in capsys.readouterr().err
    assert left(outputs) == set()


def test_refuses_a_record_that_another_key_signed(tmp_path, key, outputs, capsys):
    path = tmp_path / "record.json"
    path.write_text(dump_record(sign(record(), OTHER)), encoding="utf-8")
    assert certificate(path, "--pdf", outputs["pdf"], "--key", key) == 3
    assert "none of the keys that are trusted" in capsys.readouterr().err


def test_refuses_an_unsigned_record_where_a_key_is_given(draft, key, outputs, capsys):
    assert certificate(draft, "--pdf", outputs["pdf"], "--key", key) == 3
    assert "is not signed" in capsys.readouterr().err
    assert left(outputs) == set()


def test_asks_for_a_form(signed, capsys):
    assert certificate(signed) == 2
    assert "give --html, --pdf or --dcc a FILE" in capsys.readouterr().err


def test_never_writes_over_the_record(signed, capsys):
    before = signed.read_bytes()
    assert certificate(signed, "--html", signed.parent / "." / "record.json") == 2
    assert "is named twice" in capsys.readouterr().err
    assert signed.read_bytes() == before


def test_never_writes_two_forms_into_one_file(signed, outputs, capsys):
    assert certificate(signed, "--html", outputs["pdf"], "--pdf", outputs["pdf"]) == 2
    assert "is named twice" in capsys.readouterr().err
    assert left(outputs) == set()


def test_schemas_without_a_dcc_are_a_mistake(signed, outputs, tmp_path, capsys):
    assert certificate(signed, "--html", outputs["html"], "--schemas", tmp_path) == 2
    assert "give --dcc a FILE too" in capsys.readouterr().err


def test_names_a_missing_schema(signed, outputs, tmp_path, capsys):
    assert certificate(signed, *asked(outputs), "--schemas", tmp_path) == 2
    assert f"{tmp_path / 'dcc.xsd'}: no such file" in capsys.readouterr().err
    assert left(outputs) == set()


def test_a_dcc_that_breaks_its_schema_is_not_written(signed, outputs, tmp_path, capsys):
    folder = tmp_path / "schemas"
    folder.mkdir()
    namespace = "http://www.w3.org/2001/XMLSchema"
    text = f'<xs:schema xmlns:xs="{namespace}"><xs:element name="a"/></xs:schema>'
    (folder / "dcc.xsd").write_text(text, encoding="utf-8")
    assert certificate(signed, *asked(outputs), "--schemas", folder) == 3
    assert "refused: no DCC: not valid against dcc.xsd" in capsys.readouterr().err
    assert left(outputs) == {"schemas"}


def test_version_one_makes_no_certificate(tmp_path, outputs, capsys):
    old = {
        "format": "levelhead-calibration",
        "version": 1,
        "record_id": "cal-2025-0001",
        "head_id": "00a1b2c3d4e5f607",
        "issued": "2025-01-01",
        "due": None,
        "tilt": None,
        "encoders": {},
        "ports": {},
        "stub_m": 0.25,
        "u_stub_m": 0.001,
        "channels": {},
    }
    path = tmp_path / "old.json"
    path.write_text(dump_record(seal(CalibrationRecord1.model_validate(old))), encoding="utf-8")
    assert certificate(path, "--html", outputs["html"]) == 2
    assert "is of version 1, which holds coefficients only" in capsys.readouterr().err


def test_names_a_record_that_is_not_there(tmp_path, outputs, capsys):
    assert certificate(tmp_path / "gone.json", "--html", outputs["html"]) == 2
    assert "gone.json: no such file" in capsys.readouterr().err


@pytest.mark.parametrize("form", ["html", "pdf", "dcc"])
def test_a_form_goes_over_its_like_and_over_nothing_else(signed, outputs, capsys, form):
    assert certificate(signed, *asked(outputs)) == 0
    made = {path: path.read_bytes() for path in outputs.values()}
    assert certificate(signed, *asked(outputs)) == 0
    for other in set(outputs) - {form}:
        code = certificate(signed, f"--{form}", outputs[other])
        assert (code, "is there already and is no" in capsys.readouterr().err) == (2, True)
    readings = signed.parent / "steps.csv"
    readings.write_text("row,axis,height_mm,sign\n1,x,0,1\n")
    assert certificate(signed, f"--{form}", readings) == 2
    assert "steps.csv: is there already and is no" in capsys.readouterr().err
    assert readings.read_text().startswith("row,axis")
    assert {path: path.read_bytes() for path in outputs.values()} == made


def test_no_form_is_written_where_another_has_no_folder(signed, outputs, tmp_path, capsys):
    words = ["--html", outputs["html"], "--pdf", tmp_path / "none" / "x.pdf"]
    assert certificate(signed, *words) == 2
    assert "no such folder" in capsys.readouterr().err
    assert left(outputs) == set()
