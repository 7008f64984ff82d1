"""What the results stand on: references, conditions, files of readings, software, signatures."""

import re
from collections.abc import Iterator, Sequence

from calibration.document.blocks import Block, Heading, Paragraph, Points, Table
from calibration.document.certificate import wording
from calibration.document.certificate.judged import Judged, by_key
from calibration.document.certificate.parts import columns, known
from calibration.document.plain import day, expanded, factor, number, quantity
from calibration.records.papers import ReferenceUse, Stated
from calibration.records.record import CalibrationRecord

BLOCK = re.compile(r"block ([0-9.]+) mm, deviation$")
"""What the register calls a block of a set."""
TRACED = "Each value below is tied to the International System of Units by the certificate named."


def proof(record: CalibrationRecord, signed: Judged) -> Iterator[Block]:
    """Yield traceability, environment, and how anybody can check the record."""
    yield Heading("Traceability")
    if record.references:
        yield Paragraph(wording.SIMULATED_TRACED if record.simulated else TRACED)
        yield Points(tuple(map(traced, record.references)))
        yield _certificates(record)
    else:
        yield Paragraph(wording.NOT_TRACEABLE)
    yield from _environment(record)
    yield from _integrity(record, signed)


def traced(used: ReferenceUse) -> str:
    """Return where one reference's value comes from."""
    also = "".join(f"; {what} {value}" for value, what in _also(used).items())
    return (
        f"{used.id}, {wording.kind_name(used.kind)}: {quantity(used.value, used.unit)} with "
        f"U = {quantity(used.U, used.unit)}{also} (k = {factor(used.k)}), by certificate "
        f"{used.certificate or '(no number)'} of {used.issuer or '(no issuer)'}, "
        f"issued {day(used.issued)}, due {day(used.due)}."
    )


def _also(used: ReferenceUse) -> dict[str, str]:
    """Return a reference's further values, each with all that it is the value of."""
    found: dict[str, list[str]] = {}
    for more in used.also:
        value = f"{quantity(more.value, more.unit)} with U = {quantity(more.U, more.unit)}"
        found.setdefault(value, []).append(more.what)
    return {value: _listed(names) for value, names in found.items()}


def _listed(names: Sequence[str]) -> str:
    """Return names in one phrase; blocks of a set are named by their sizes."""
    sizes = [match[1] for name in names if (match := BLOCK.match(name))]
    if len(names) < 2 or len(sizes) < len(names):
        return ", ".join(names)
    return f"blocks {', '.join(sizes)} mm, deviation of each"


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
    read = [used.id for used in record.references if used.kind == "thermometer"]
    yield known(
        (
            ("Temperature", _stated(conditions.temperature)),
            ("Thermometer", ", ".join(read) or wording.NO_THERMOMETER),
            ("Rel. humidity", _stated(humidity) if humidity else None),
        )
    )


def _stated(value: Stated) -> str:
    return f"{expanded(value.value, value.U, value.unit)}, k = {factor(value.k)}"


def _integrity(record: CalibrationRecord, signed: Judged) -> Iterator[Block]:
    yield Heading("Integrity")
    software, step, mine = record.software, record.adjustment, signed.adjustment
    yield known(
        (
            ("Record", record.record_id),
            ("SHA-256", record.sha256),
            ("Signed by", "\n".join(map(by_key, signed.whole))),
            ("Adjustment", f"SHA-256 {step.sha256}" if step else None),
            ("Adjusted by", f"{step.by}, {by_key(mine)}" if step and mine else None),
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
