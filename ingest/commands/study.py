"""``levelhead study``: a bay as a gauge, from the results of its study."""

import argparse
import hashlib
import importlib.metadata
import sys
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path

from pydantic import ValidationError

from calibration.faults import fault_of
from calibration.files.study_rows import parse_study_rows
from calibration.study import (
    BayStudy,
    Quantity,
    RawReadings,
    Spread,
    dump_study,
    quantities_of,
    seal_study,
)
from ingest.commands.tables import as_utf8, read_bytes
from ingest.commands.writing import write_whole
from ingest.core.errors import InputError


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("file", metavar="FILE.csv", help="results of the study; - for stdin")
    parser.add_argument("--bay", required=True, help="name of the bay, as its configuration says")
    parser.add_argument("--by", default="", metavar="NAME", help="who answers for the study")
    parser.add_argument("--date", metavar="DAY", help="last day of the study (default: today)")
    parser.add_argument("-o", "--output", type=Path, metavar="STUDY.json", help="keep it, sealed")
    parser.add_argument("--json", action="store_true", help="print the study as JSON")


def run(args: argparse.Namespace) -> int:
    """Analyse the study. Raises ``CalibrationFileError`` or ``InputError`` for bad input."""
    where, raw = read_bytes(args.file)
    quantities = quantities_of(parse_study_rows(as_utf8(where, raw), where), where)
    technicians = dict.fromkeys(t for each in quantities for t in each.technicians)
    found = {
        "bay": args.bay,
        "performed": _day(args.date),
        "studied_by": args.by or ", ".join(technicians)[:80],
        "raw": RawReadings(
            name=Path(where).name[:80],
            sha256=hashlib.sha256(raw).hexdigest(),
        ),
        "quantities": quantities,
        "software": f"levelhead {importlib.metadata.version('levelhead')}",
    }
    try:
        study = seal_study(BayStudy.model_validate(found))
    except ValidationError as error:
        raise InputError("--bay, --by", None, str(fault_of(error, found, BayStudy))) from error
    if args.output is not None:
        write_whole(args.output, dump_study(study))
    if args.json:
        sys.stdout.write(dump_study(study))
        return 0
    print("\n".join(_told(study)))
    if args.output is not None:
        print(f'kept in {args.output}; name it in the configuration: [bay] study = "..."')
    return 0


def _day(text: str | None) -> date:
    if text is None:
        return datetime.now(UTC).date()
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise InputError("--date", None, f"{text!r} is no day; write it as 2026-11-20") from None


def _told(study: BayStudy) -> Iterator[str]:
    yield f"bay {study.bay}, {study.name}, by {study.studied_by}"
    for each in study.quantities:
        yield from _quantity(each)
    for remark in study.remarks:
        yield f"note: {remark}"


def _quantity(each: Quantity) -> Iterator[str]:
    yield ""
    yield (
        f"{each.quantity}: {len(each.wheels)} x {len(each.technicians)} technicians x "
        f"{each.mountings} mountings x {each.settlings} settlings"
    )
    yield f"  {'cause':<12}{'dof':>6}{'SS / deg2':>14}{'MS / deg2':>14}"
    for row in each.table:
        yield f"  {row.cause:<12}{row.dof:>6}{row.ss:>14.4g}{row.ss / row.dof:>14.4g}"
    yield f"  {'spread':<12}{'u / deg':>10}{'dof':>8}   95 % interval / deg"
    for spread in each.components:
        yield _spread(spread)
    dof = "" if each.dof is None else f"{each.dof:.1f}"
    yield f"  {'one result':<12}{each.u_deg:>10.4f}{dof:>8}"


def _spread(spread: Spread) -> str:
    dof = "" if spread.dof is None else f"{spread.dof:.1f}"
    ends = f"{spread.low_deg:.4f} to {spread.high_deg:.4f}"
    return f"  {spread.cause:<12}{spread.u_deg:>10.4f}{dof:>8}   {ends}"
