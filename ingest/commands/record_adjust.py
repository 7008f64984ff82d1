"""``levelhead record adjust``: a draft's new coefficients put in force, as a step signed alone."""

import argparse
from datetime import UTC, datetime
from pathlib import Path

from calibration.records.keys import key_id
from calibration.records.record import CalibrationRecord
from calibration.verification.adjustment import adjusted
from ingest.commands.draft_file import read_record, write_draft_file
from ingest.commands.keyfiles import load_private
from ingest.commands.tables import STANDARD_INPUT
from ingest.core.errors import InputError


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the draft, the key and who adjusts."""
    parser.add_argument("file", metavar="DRAFT.json", help="the draft with the new coefficients")
    parser.add_argument("--key", type=Path, required=True, help="file of the private key")
    parser.add_argument("--by", metavar="NAME", help="who adjusts (default: who performs the work)")
    parser.add_argument(
        "--at", metavar="TIME", help="when, such as 2026-11-25T09:30:00Z (default: now)"
    )
    parser.add_argument(
        "-o", "--output", metavar="FILE", help="where to write it (default: in its own place)"
    )


def adjust(args: argparse.Namespace) -> int:
    """Sign the adjustment, write the draft and say so."""
    record = read_record(args.file)
    if not isinstance(record, CalibrationRecord):
        raise InputError(args.file, None, "is of version 1, which nobody adjusts; calibrate anew")
    output = args.output or args.file
    if output == STANDARD_INPUT:
        raise InputError("--output", None, "the draft came from standard input; name a file")
    key = load_private(args.key)
    by = record.performed_by if args.by is None else args.by
    done = adjusted(record, key, _moment(args.at), by)
    write_draft_file(Path(output), done)
    step = done.adjustment
    assert step is not None
    print(
        f"{done.record_id}: adjusted at {step.at} by {step.by}, signed with key "
        f"{key_id(key.public_key())}: {output}"
    )
    return 0


def _moment(text: str | None) -> datetime:
    if text is None:
        return datetime.now(UTC)
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is None:
        reason = f"{text!r} is no time with its zone, such as 2026-11-25T09:30:00Z"
        raise InputError("--at", None, reason)
    return moment
