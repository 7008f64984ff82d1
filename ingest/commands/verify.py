"""``levelhead verify``: verification points to errors, budgets and verdicts, into a draft."""

import argparse
import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from calibration.files.points_file import parse_points
from calibration.files.references import parse_references
from calibration.records.papers import RawFile
from calibration.records.record import CalibrationRecord
from calibration.records.text import load_record
from calibration.verification.adjustment import (
    UNCHANGED,
    Taken,
    coefficients_at,
    measured_apart,
    same_points,
)
from calibration.verification.into_record import recorded, run_of
from calibration.verification.plan import Plan, plan_of
from calibration.verification.record_budgets import Tried, budget_of, tried
from calibration.verification.run import Verification, verify
from calibration.verification.setup import References
from calibration.verification.verdicts import impact
from ingest.commands.daycheck import see_no_day_ahead
from ingest.commands.draft_file import write_draft_file
from ingest.commands.tables import STANDARD_INPUT, as_utf8, read_bytes, read_text
from ingest.commands.verify_bar import read_bar, with_bar
from ingest.commands.verify_text import as_json, as_text
from ingest.core.errors import InputError

MOST_SEED = 2**53 - 1


@dataclass(frozen=True, slots=True)
class Work:
    """One run of the command: what was asked, and the draft before it."""

    when: str
    plan: Plan
    performed: date
    raw: tuple[RawFile, ...]
    draft: CalibrationRecord
    taken: Taken


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument(
        "file", metavar="FILE.csv", help="readings at known angles; - reads standard input"
    )
    parser.add_argument("--record", required=True, metavar="DRAFT.json", help="the head's draft")
    parser.add_argument(
        "--bar", metavar="BAR.csv", help="both heads on the bar, both ways round: the zero of toe"
    )
    parser.add_argument(
        "--head", choices=("A", "B"), help="which of the bar's heads it is (default: by the sheet)"
    )
    parser.add_argument(
        "--references", required=True, metavar="REF.toml", help="the register of references"
    )
    parser.add_argument(
        "--sheet",
        metavar="SHEET.toml",
        help="which references were used, the head's class, the decision rule",
    )
    parser.add_argument(
        "--as",
        dest="when",
        choices=("found", "left"),
        default="found",
        help="before or after an adjustment (default: %(default)s)",
    )
    parser.add_argument(
        "-o", "--output", metavar="OUT.json", help="where to write (default: the draft's place)"
    )
    parser.add_argument(
        "--seed", type=int, default=1, help="of the Monte Carlo (default: %(default)s)"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace) -> int:
    """Verify, write the draft and print. A verdict of ``fail`` is a result."""
    if not 0 <= args.seed <= MOST_SEED:
        raise InputError("--seed", None, f"{args.seed} is not between 0 and {MOST_SEED}")
    draft = _draft(args.record)
    name, content = read_bytes(args.file)
    points = parse_points(as_utf8(name, content), name, draft.head_id)
    where, sheet = read_text(args.sheet) if args.sheet else (args.record, None)
    register_name, register = read_text(args.references)
    plan = plan_of(sheet, where, draft, args.when)
    bar = None if args.bar is None else read_bar(args.bar, args.head, sheet, args.when, draft)
    files = [(_raw(content, args.when), points.where, points.taken)]
    if bar is not None:
        files.append((bar.raw, bar.rows.where, bar.rows.taken))
    taken = _span([each[2] for each in files])
    on_bar = None if bar is None or bar.rows.taken is None else bar.rows.taken[1].date()
    work = Work(
        when=args.when,
        plan=plan,
        performed=max(filter(None, (points.performed, on_bar)), default=draft.performed_to),
        raw=tuple(each[0] for each in files),
        draft=draft,
        taken=taken,
    )
    see_no_day_ahead(args.file, "the verification", work.performed)
    for file in files:
        measured_apart(draft, args.when, *file)
    references = References.of(
        parse_references(register, register_name), work.plan.references, work.performed
    )
    coefficients = coefficients_at(draft, args.when)
    result = verify(
        points, coefficients, references, work.plan.head_class, work.plan.rule, work.plan.setup
    )
    if bar is not None:
        result = with_bar(result, bar, draft, coefficients, references, work.plan)
    if args.when == "left":
        same_points(draft, result)
    budgets = tried(result, args.seed)
    _write(args.output or args.record, work, result, budgets)
    print(_said(work, result, budgets, as_object=args.json))
    return 0


def _draft(path: str) -> CalibrationRecord:
    name, text = read_text(path)
    record = load_record(text, name)
    if not isinstance(record, CalibrationRecord):
        raise InputError(name, None, "is of version 1; a new calibration makes a draft to verify")
    if record.signatures:
        raise InputError(name, None, "is signed and cannot change; begin a new draft")
    return record


def _span(taken: Sequence[Taken]) -> Taken:
    """Return from the first to the last reading of all files; None where none tells."""
    told = [each for each in taken if each is not None]
    return (min(t[0] for t in told), max(t[1] for t in told)) if told else None


def _raw(content: bytes, when: str) -> RawFile:
    return RawFile(
        what=f"verification as {when}",
        sha256=hashlib.sha256(content).hexdigest(),
        bytes=len(content),
    )


def _write(path: str, work: Work, result: Verification, budgets: Sequence[Tried]) -> None:
    record = recorded(
        work.draft,
        result,
        budgets,
        when=work.when,
        performed=work.performed,
        raw=work.raw,
        rule=work.plan.rule,
        head_class=work.plan.head_class.name,
        taken=work.taken,
    )
    if path == STANDARD_INPUT:
        raise InputError("--output", None, "the draft came from standard input; name a file")
    write_draft_file(Path(path), record)


def _said(work: Work, result: Verification, budgets: Sequence[Tried], *, as_object: bool) -> str:
    if as_object:
        return json.dumps(as_json(result, budgets, work.when))
    parts = [budget_of(one, work.when) for one in budgets]
    head = (
        f"{work.draft.record_id}, head {work.draft.head_id}, as {work.when}, {work.performed}\n"
        f"references {', '.join(r.id for r in result.references)}; class "
        f"{work.plan.head_class.name}; rule {work.plan.rule}"
    )
    text = as_text(run_of(result, work.performed), parts, budgets)
    notice = impact(result.verdicts) if work.when == "found" else None
    unchanged = UNCHANGED if not work.draft.adjusted else None
    return "\n\n".join(part for part in (head, text, notice, unchanged) if part)
