"""What the results stand on: references, conditions, files of readings, software, signatures."""

from collections.abc import Iterator

from calibration.document.blocks import Block, Heading, Paragraph, Points, Table
from calibration.document.certificate import wording
from calibration.document.certificate.face import columns, known
from calibration.document.plain import day, expanded, factor, number, quantity
from calibration.records.papers import ReferenceUse, Stated
from calibration.records.record import CalibrationRecord

TRACED = "Each value below is tied to the International System of Units by the certificate named."


def proof(record: CalibrationRecord) -> Iterator[Block]:
    """Yield traceability, environment, and how anybody can check the record."""
    yield Heading("Traceability")
    if record.references:
        yield Paragraph(TRACED)
        yield Points(tuple(map(traced, record.references)))
        yield _certificates(record)
    else:
        yield Paragraph(wording.NOT_TRACEABLE)
    yield from _environment(record)
    yield from _integrity(record)


def traced(used: ReferenceUse) -> str:
    """Return where one reference's value comes from."""
    also = "".join(
        f"; {more.what} {quantity(more.value, more.unit)} with U = {quantity(more.U, more.unit)}"
        for more in used.also
    )
    return (
        f"{used.id}, {wording.kind_name(used.kind)}: {quantity(used.value, used.unit)} with "
        f"U = {quantity(used.U, used.unit)}{also} (k = {factor(used.k)}), by certificate "
        f"{used.certificate or '(no number)'} of {used.issuer or '(no issuer)'}, "
        f"issued {day(used.issued)}, due {day(used.due)}."
    )


def _certificates(record: CalibrationRecord) -> Table:
    rows = tuple((used.id, used.certificate, used.certificate_sha256) for used in record.references)
    titles = ("Reference", "Certificate", "SHA-256 of the certificate's file")
    shares = {"Reference": 2, "Certificate": 2, titles[2]: 7}
    return Table("Certificates of the references", columns(titles, shares), rows)


def _environment(record: CalibrationRecord) -> Iterator[Block]:
    yield Heading("Environment")
    conditions = record.environment
    if conditions is None:
        yield Paragraph("The conditions are not stated yet.")
        return
    humidity = conditions.humidity
    yield known(
        (
            ("Temperature", _stated(conditions.temperature)),
            ("Rel. humidity", _stated(humidity) if humidity else None),
        )
    )


def _stated(value: Stated) -> str:
    return f"{expanded(value.value, value.U, value.unit)}, k = {factor(value.k)}"


def _integrity(record: CalibrationRecord) -> Iterator[Block]:
    yield Heading("Integrity")
    software = record.software
    yield known(
        (
            ("Record", record.record_id),
            ("SHA-256", record.sha256),
            ("Signed by", "\n".join(f"key {s.key_id} ({s.algorithm})" for s in record.signatures)),
            ("Follows", record.previous.record_id if record.previous else None),
            ("Software", " ".join(part for part in (software.name, software.version) if part)),
            ("Settings", software.settings_sha256 and f"SHA-256 {software.settings_sha256}"),
        )
    )
    if record.raw:
        rows = tuple((file.what, number(str(file.bytes)), file.sha256) for file in record.raw)
        titles = ("Readings", "Bytes", "SHA-256")
        shares = {"Readings": 2, "SHA-256": 6}
        yield Table("Files of readings", columns(titles, shares, {"Bytes"}), rows)
    if record.signatures:
        yield Paragraph(how_to_check(record))
        yield Paragraph(wording.SEAL, "small")
    else:
        yield Paragraph(wording.UNSIGNED)


def how_to_check(record: CalibrationRecord) -> str:
    """Return what to do to see that record and certificate are what the laboratory issued."""
    return (
        f"This document is a rendering of the record {record.record_id}. To check it, ask the "
        f"laboratory for its public key and run: levelhead record check {record.record_id}.json "
        "--key KEY.pub. The SHA-256 that it shows must be the one above, and the key that "
        "signed the one named here."
    )
