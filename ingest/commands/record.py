"""``levelhead record``: check, adjust, sign and show calibration records; make keys.

A signature here is an integrity seal: it shows that nothing was changed since somebody who had
the key signed. It is no qualified electronic signature.
"""

import argparse
import hashlib
import sys
from pathlib import Path

from calibration.errors import CalibrationFileError, RecordAltered, RecordIncomplete
from calibration.records.check import check_record
from calibration.records.keys import key_id
from calibration.records.record import CalibrationRecord
from calibration.records.signatures import sign
from calibration.records.text import dump_record, load_record
from ingest.commands import record_adjust
from ingest.commands.daycheck import see_no_day_ahead
from ingest.commands.draft_file import read_record, see_draft_place
from ingest.commands.job_papers import check, keys_of
from ingest.commands.keyfiles import (
    add_public_keys,
    load_private,
    load_public,
    make_key_files,
)
from ingest.commands.record_check import UNKEYED, as_json, as_text
from ingest.commands.record_show import summary
from ingest.commands.tables import STANDARD_INPUT, read_text
from ingest.commands.writing import write_whole
from ingest.core.errors import InputError
from ingest.core.reading import open_file
from ingest.payload.job_record import faults, is_job_record, load_job_record

SEAL = "This is an integrity seal, no qualified electronic signature."
EXIT_DOES_NOT_HOLD = 3
UNSIGNED = "is unaltered, but nobody signed it"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the actions, each with its arguments."""
    actions = parser.add_subparsers(dest="action", required=True, metavar="ACTION")
    _check_arguments(actions.add_parser("check", help="say whether a record holds, and who signed"))
    adjusting = actions.add_parser(
        "adjust", help=f"put a draft's new coefficients in force, as a signed step. {SEAL}"
    )
    record_adjust.add_arguments(adjusting)
    adjusting.set_defaults(act=record_adjust.adjust)
    signing = actions.add_parser("sign", help=f"sign a complete draft. {SEAL}")
    signing.add_argument("file", metavar="R.json", help="the record; - reads standard input")
    signing.add_argument("--key", type=Path, required=True, help="file of the private key")
    signing.add_argument(
        "-o", "--output", metavar="FILE", help="where to write it (default: in its own place)"
    )
    signing.set_defaults(act=_sign)
    key = actions.add_parser("key", help="make a key pair: PATH (private) and PATH.pub (public)")
    key.add_argument("--make", type=Path, metavar="PATH", required=True)
    key.set_defaults(act=_key)
    show = actions.add_parser("show", help="sum a record up for people")
    show.add_argument("file", metavar="R.json", help="the record; - reads standard input")
    show.set_defaults(act=_show)


def _check_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="R.json", help="the record; - reads standard input")
    add_public_keys(parser)
    parser.add_argument(
        "--raw", type=Path, action="append", default=[], help="file of readings that it names"
    )
    parser.add_argument(
        "--previous",
        action="append",
        default=[],
        metavar="P.json",
        help="the head's record before it; several, for a longer chain",
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.set_defaults(act=_check)


def run(args: argparse.Namespace) -> int:
    """Do the action. Exit 3 when a record does not hold, or is not complete enough to sign."""
    try:
        return int(args.act(args))
    except RecordAltered as error:
        print(f"levelhead record: refused: {error}", file=sys.stderr)
    except RecordIncomplete as error:
        print(f"levelhead record: refused: {error.record_id} lacks", file=sys.stderr)
        print(*(f"  {reason}" for reason in error.missing), sep="\n", file=sys.stderr)
    return EXIT_DOES_NOT_HOLD


def _check(args: argparse.Namespace) -> int:
    where, text = read_text(args.file)
    if is_job_record(text):
        return _check_job(where, text, args.keys)
    record = load_record(text, where)
    keys = load_public(args.keys)
    raw = {str(path): _sha256(path) for path in args.raw}
    found = check_record(record, keys.values(), raw, [read_record(p) for p in args.previous])
    names = {key_id(key): str(path) for path, key in keys.items()}
    print(as_json(found) if args.json else as_text(found, names))
    if found.signatures and not args.json:
        print(SEAL)
    return 0 if found.holds else EXIT_DOES_NOT_HOLD


def _check_job(where: str, text: str, key_files: list[Path]) -> int:
    record, keys = load_job_record(text, where), keys_of(key_files)
    against = faults(record, tuple(keys.values()))
    lines = [*check(record, keys), *(f"  FAULT      {each}" for each in against)]
    holds = "holds" if keys else UNKEYED if record.signatures else UNSIGNED
    print(*lines, f"It {'does NOT hold' if against else holds}.", SEAL, sep="\n")
    return EXIT_DOES_NOT_HOLD if against else 0


def _sign(args: argparse.Namespace) -> int:
    record = read_record(args.file)
    if not isinstance(record, CalibrationRecord):
        raise InputError(args.file, None, "is of version 1, which has no signature")
    see_no_day_ahead(args.file, "the record", record.issued)
    key = load_private(args.key)
    signed = dump_record(sign(record, key))
    output = args.output or args.file
    if output == STANDARD_INPUT:
        print(signed, end="")
        return 0
    if Path(output).exists() and not _same_content(output, record):
        see_draft_place(Path(output), record.head_id)
    write_whole(Path(output), signed)
    print(f"{record.record_id} signed with key {key_id(key.public_key())}: {output}\n{SEAL}")
    return 0


def _same_content(path: str, record: CalibrationRecord) -> bool:
    """Say whether a file holds what is being signed: a signature more takes nothing from it."""
    try:
        return read_record(path).sha256 == record.sha256
    except (InputError, CalibrationFileError):
        return False


def _key(args: argparse.Namespace) -> int:
    public, public_path = make_key_files(args.make)
    print(
        f"key {key_id(public)}\n"
        f"  private  {args.make}: signs records; keep it to yourself, with a copy in a safe place\n"
        f"  public   {public_path}: give it to whoever checks, and to the service"
    )
    return 0


def _show(args: argparse.Namespace) -> int:
    print(summary(read_record(args.file)))
    return 0


def _sha256(path: Path) -> str:
    try:
        with open_file(path) as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise InputError(str(path), None, (error.strerror or "cannot be read").lower()) from error
