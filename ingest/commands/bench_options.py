"""What the bench's arguments mean, each seen to be usable before anything is read."""

import argparse
import contextlib
import io
from collections.abc import Sequence
from pathlib import Path
from typing import TextIO

from calibration.files.sheet import Sheet
from ingest.commands.bench_folder import Folder
from ingest.commands.draft_file import read_record
from ingest.commands.keyfiles import load_private
from ingest.core.errors import InputError
from ingest.core.reading import open_file

OVEN_DEGC = (-40.0, 85.0)
LEAST_SPAN_DEGC = 5.0
"""What an oven may be set to, and how far apart at least (our own choice)."""


def see_key(args: argparse.Namespace) -> None:
    """See now, rather than hours later, that the key can sign."""
    if args.key is not None:
        load_private(args.key)
    elif args.by_itself:
        reason = "missing; signing needs a private key (levelhead record key --make FILE makes one)"
        raise InputError("--key", None, reason)


def oven_degc_of(text: str | None) -> tuple[float, ...]:
    """Return the temperatures of --oven, none where it was not given."""
    if text is None:
        return ()
    try:
        degc = tuple(float(each) for each in text.split(","))
    except ValueError:
        raise InputError("--oven", None, f"{text!r} is no list such as 5,20,35") from None
    low, high = OVEN_DEGC
    if not all(low <= each <= high for each in degc) or len(set(degc)) < len(degc):
        reason = f"{text!r}: temperatures from {low:g} to {high:g} °C, each of them once"
        raise InputError("--oven", None, reason)
    if max(degc) - min(degc) < LEAST_SPAN_DEGC:
        reason = f"{text!r}: a drift is told by two temperatures, {LEAST_SPAN_DEGC:g} °C apart"
        raise InputError("--oven", None, f"{reason} or more")
    return degc


def see_which(args: argparse.Namespace, folder: Folder, sheet: Sheet) -> None:
    """See to it that a certificate of simulated heads says so, and one of real heads does not."""
    if args.simulated and not sheet.simulated:
        reason = "does not say simulated = true, as it has to with --simulated; add the line"
        raise InputError(str(folder.sheet), None, f"{reason}, or take another folder")
    if sheet.simulated and not args.simulated:
        reason = "says simulated = true, and these heads are real; take another folder"
        raise InputError(str(folder.sheet), None, reason)


def previous_of(paths: Sequence[str], sheet: Sheet) -> dict[str, str]:
    """Return the last records by the letter of the head that each is of."""
    letters = {head.head_id: head.letter for head in sheet.head}
    found: dict[str, str] = {}
    for path in paths:
        head = read_record(path).head_id
        if head not in letters or letters[head] in found:
            why = "is not in the sheet" if head not in letters else "has one already"
            raise InputError(path, None, f"is a record of head {head}, which {why}")
        found[letters[head]] = path
    return found


def answers_of(path: str | None) -> contextlib.AbstractContextManager[TextIO | None]:
    if path is None:
        return contextlib.nullcontext()
    try:
        return io.TextIOWrapper(open_file(Path(path)), encoding="utf-8")
    except OSError as error:
        raise InputError(path, None, (error.strerror or "cannot be read").lower()) from error
