"""``levelhead certificate``: a calibration record as a certificate, in HTML, PDF and DCC."""

import argparse
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from calibration.document.certificate.compose import certificate
from calibration.document.dcc.export import render_dcc
from calibration.document.dcc.schemas import check_schema
from calibration.document.html import render_html
from calibration.document.pdf import render_pdf
from calibration.errors import DccRefused, RecordAltered
from calibration.records.record import CalibrationRecord
from calibration.records.signatures import distrust
from calibration.records.text import load_record
from ingest.commands.keyfiles import add_public_keys, load_public
from ingest.commands.tables import STANDARD_INPUT, read_text
from ingest.commands.writing import see_replaceable, write_whole
from ingest.core.errors import InputError
from ingest.core.reading import open_file

EXIT_REFUSED = 3
Render = Callable[[CalibrationRecord, argparse.Namespace], tuple[str, bytes]]
"""Gives what to call a form of the certificate, and its content."""

MOST_BYTES = 8 * 1024 * 1024
"""Of a schema; the largest of the set has some 80 000."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the record and where each form of its certificate goes."""
    parser.add_argument("file", metavar="RECORD.json", help="the record; - reads standard input")
    parser.add_argument("--html", type=Path, metavar="FILE", help="write a page for browsers")
    parser.add_argument(
        "--pdf", type=Path, metavar="FILE", help="write PDF/A for paper and keeping"
    )
    parser.add_argument("--dcc", type=Path, metavar="FILE", help="write DCC 3.3.0 XML for machines")
    parser.add_argument(
        "--schemas", type=Path, metavar="DIR", help="folder with dcc.xsd to hold the DCC against"
    )
    add_public_keys(parser)


def run(args: argparse.Namespace) -> int:
    """Render everything asked for, then write it. Exit 3 for a record that does not hold."""
    _check_arguments(args)
    for path, own, what in _kinds(args):
        see_replaceable(path, own, what)
    try:
        record = _record(args.file)
        if args.keys and (reason := distrust(record, load_public(args.keys).values())):
            raise RecordAltered(args.file, reason)
        made = {path: render(record, args) for path, render in _wanted(args).items()}
    except (RecordAltered, DccRefused) as error:
        print(f"levelhead certificate: refused: {error}", file=sys.stderr)
        return EXIT_REFUSED
    for path, (kind, content) in made.items():
        write_whole(path, content)
        print(f"{record.record_id}, {_state(record, bool(args.keys))}: {kind} in {path}")
    return 0


def _check_arguments(args: argparse.Namespace) -> None:
    outputs = [path for path in (args.html, args.pdf, args.dcc) if path is not None]
    if not outputs:
        raise InputError(args.file, None, "nothing asked for; give --html, --pdf or --dcc a FILE")
    if args.schemas is not None and args.dcc is None:
        raise InputError(str(args.schemas), None, "schemas check a DCC; give --dcc a FILE too")
    places = [path.resolve() for path in outputs]
    if args.file != STANDARD_INPUT:
        places.append(Path(args.file).resolve())
    for i, path in enumerate(outputs):
        if path.resolve() in places[i + 1 :]:
            raise InputError(str(path), None, "is named twice; every file needs a name of its own")


def _record(file: str) -> CalibrationRecord:
    name, text = read_text(file)
    record = load_record(text, name)
    if not isinstance(record, CalibrationRecord):
        reason = "is of version 1, which holds coefficients only; calibrate the head anew"
        raise InputError(name, None, reason)
    return record


def _wanted(args: argparse.Namespace) -> dict[Path, Render]:
    forms = ((args.html, _html), (args.pdf, _pdf), (args.dcc, _dcc))
    return {path: render for path, render in forms if path is not None}


def _kinds(args: argparse.Namespace) -> Iterator[tuple[Path, Callable[[bytes], bool], str]]:
    """Give where a file is to lie, and how to tell whether what is there is one like it."""
    kinds: tuple[tuple[Path | None, Callable[[bytes], bool], str], ...] = (
        (args.html, lambda start: start[:14].lower() == b"<!doctype html", "page"),
        (args.pdf, lambda start: start.startswith(b"%PDF-"), "PDF"),
        (args.dcc, lambda start: b"digitalCalibrationCertificate" in start, "DCC"),
    )
    return ((path, own, what) for path, own, what in kinds if path is not None)


def _keys(args: argparse.Namespace) -> tuple[Ed25519PublicKey, ...]:
    return tuple(load_public(args.keys).values())


def _html(record: CalibrationRecord, args: argparse.Namespace) -> tuple[str, bytes]:
    return "HTML", render_html(certificate(record, _keys(args))).encode("utf-8")


def _pdf(record: CalibrationRecord, args: argparse.Namespace) -> tuple[str, bytes]:
    return "PDF", render_pdf(certificate(record, _keys(args)))


def _dcc(record: CalibrationRecord, args: argparse.Namespace) -> tuple[str, bytes]:
    content = render_dcc(record)
    if args.schemas is None:
        return "DCC (not held against schemas, --schemas)", content
    check_schema(content, lambda path: _schema(args.schemas, path))
    return f"DCC, valid against {args.schemas / 'dcc.xsd'},", content


def _schema(folder: Path, path: str) -> bytes:
    place = folder / path
    try:
        with open_file(place) as file:
            content = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise InputError(str(place), None, (error.strerror or "cannot be read").lower()) from error
    if len(content) > MOST_BYTES:
        raise InputError(str(place), None, f"larger than {MOST_BYTES // 2**20} MiB; no schema is")
    return content


def _state(record: CalibrationRecord, keyed: bool) -> str:
    if not record.signatures:
        return "a draft that nobody signed"
    return "signature holds" if keyed else "signature not checked (--key)"
