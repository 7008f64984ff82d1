"""``levelhead shift-check``: two heads on the bar before a shift, charted against before."""

import argparse
import hashlib
import json
import math
import time
from collections.abc import Collection, Iterator, Sequence
from datetime import UTC, datetime
from pathlib import Path

from calibration.files.check_rows import parse_check_rows
from calibration.files.references import Register, parse_references
from calibration.records.record import CalibrationRecord
from calibration.records.text import AnyRecord
from calibration.verification.head_class import BUILT_IN, HeadClass, head_class_named
from calibration.verification.shift_check import HeadCheck, disagreement, shift_check
from ingest.commands.check_bar import USUAL_MM, bar_length_m
from ingest.commands.check_charts import Chart, chart_of, write_chart
from ingest.commands.headstate import STATE, head_called, opened
from ingest.commands.tables import read_text
from ingest.core.errors import InputError, MeasurementRefused
from ingest.core.ids import HeadId
from ingest.store.checks import Kept, StoredChecks
from ingest.store.records import StoredRecords

DEFAULT_CLASS = "H0.02"
AHEAD_MS = 5 * 60 * 1000
"""How far the clock that the time was read from may go before this one."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("file", metavar="CHECK.csv", help="raw readings; - for stdin")
    parser.add_argument("--a", required=True, metavar="HEAD", help="head on the bar's end 1")
    parser.add_argument("--b", required=True, metavar="HEAD", help="head on the bar's end 2")
    parser.add_argument("--bar", required=True, metavar="ID", help="the bar, as registered")
    parser.add_argument(
        "--references",
        metavar="REF.toml",
        help="its register; needed for a bar that neither a record nor an earlier check names",
    )
    parser.add_argument(
        "--bar-mm",
        type=float,
        metavar="MM",
        help=f"its length (default: that of register or record, else {USUAL_MM:g})",
    )
    parser.add_argument(
        "--class", dest="head_class", metavar="NAME", help=f"class of the heads ({DEFAULT_CLASS})"
    )
    parser.add_argument("--at", metavar="TIME", help="when it was done (default: now)")
    parser.add_argument("--state", type=Path, default=STATE, help="database (default %(default)s)")
    parser.add_argument("--charts", type=Path, metavar="DIR", help="draw control charts (SVG)")
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace) -> int:
    """Check, keep it in the history, say how it lies there. A head outside is a result."""
    at_ms = _moment(args.at)
    register = _register(args.references)
    where, text = read_text(args.file)
    readings = parse_check_rows(text, where).readings
    with opened(args.state) as connection:
        heads = {
            h: head_called(getattr(args, h.lower()), connection, f"--{h.lower()}") for h in "AB"
        }
        if heads["A"] == heads["B"]:
            raise InputError("--a, --b", None, "are one and the same head; two are needed")
        records = {h: _record(StoredRecords(connection), head) for h, head in heads.items()}
        history = StoredChecks(connection)
        length_m = bar_length_m(
            args.bar, args.bar_mm, register, records.values(), history.bars(), at_ms
        )
        moved = disagreement(readings, records)
        if moved is not None:
            raise _refused(moved.what, moved.difference_rad, moved.limit_rad)
        limits = _class(args.head_class, records["A"])
        checks = shift_check(readings, records, limits, args.bar, length_m)
        kept = history.add(checks, at_ms, args.bar, hashlib.sha256(text.encode()).hexdigest())
        if kept:
            _see_that_alike(where, checks, args.bar, kept)
        charts = {c.head_id: chart_of(history.of(HeadId(c.head_id)), args.bar, c) for c in checks}
    if args.charts is not None:
        for chart in charts.values():
            write_chart(args.charts, chart)
    if args.json:
        print(json.dumps([_object(c, charts[c.head_id]) for c in checks]))
        return 0
    if kept:
        print("these readings are in the history already; nothing was added")
    for check in checks:
        print("\n".join(_lines(check, charts[check.head_id])))
    return 0


def now_ms() -> int:
    """Return the present time, UTC, ms since 1970."""
    return time.time_ns() // 1_000_000


def _moment(text: str | None) -> int:
    if text is None:
        return now_ms()
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is None:
        reason = f"{text!r} is no time; write it as 2026-11-20T06:45:00Z"
        raise InputError("--at", None, reason)
    at_ms = round(moment.timestamp() * 1000)
    if at_ms > now_ms() + AHEAD_MS:
        raise InputError("--at", None, f"{text} is yet to come; mend it, or this clock")
    return at_ms


def _register(path: str | None) -> Register | None:
    if path is None:
        return None
    name, text = read_text(path)
    return parse_references(text, name)


def _see_that_alike(
    where: str, checks: Sequence[HeadCheck], bar: str, kept: Collection[Kept]
) -> None:
    """Refuse readings that are in the history as another check: they can be only one of them."""
    asked = {(bar, check.head_id, check.record_id) for check in checks}
    before = {(each.bar, each.head_id, each.record_id) for each in kept}
    if asked != before:
        first = next(iter(kept))
        when = datetime.fromtimestamp(first.performed_ms / 1000, UTC)
        whose = " and ".join(f"{each.head_id} ({each.record_id})" for each in kept)
        reason = (
            f"these readings are in the history as a check of {when:%Y-%m-%d %H:%M} UTC on bar "
            f"{first.bar} of heads {whose}; for another check take new readings"
        )
        raise InputError(where, None, reason)


def _record(records: StoredRecords, head: HeadId) -> AnyRecord:
    found = records.newest(head)
    if found is None:
        reason = f"head {head} has no calibration record; a check holds it against one"
        raise InputError("--a, --b", None, reason)
    return found


def _class(name: str | None, record: AnyRecord) -> HeadClass:
    """Return the class asked for, else that of the record, else the usual one."""
    if name is not None:
        return head_class_named(name, "--class")
    own = record.head_class if isinstance(record, CalibrationRecord) else ""
    return BUILT_IN.get(own, BUILT_IN[DEFAULT_CLASS])


def _refused(what: str, difference_rad: float, limit_rad: float) -> MeasurementRefused:
    figure, limit = math.degrees(abs(difference_rad)), math.degrees(limit_rad)
    return MeasurementRefused(
        "bar-moved",
        f"{what} differs by {figure:.4f} deg, limit {limit:.4f} deg; a head or the bar moved: "
        "clean the seats, tighten, take both attitudes again",
        figure=figure,
        limit=limit,
    )


def _lines(check: HeadCheck, chart: Chart) -> Iterator[str]:
    yield f"head {check.head} ({check.head_id}, {check.record_id}): {check.decision}"
    for change in check.changes:
        moved, u, limit = map(math.degrees, (change.change_rad, change.u_rad, change.limit_rad))
        yield (
            f"  {change.quantity:<18}{moved:>+9.4f} deg since the record, U {2.0 * u:.4f}, "
            f"limit {limit:g}: {change.decision}{chart.said(change.quantity)}"
        )
    if not check.form_known:
        yield "  the record does not know this bar's own form; it is in the changes, and in U"
    if check.decision == "outside":
        yield (
            f"  do not measure with it; what it measured since its last good check: "
            f"levelhead affected {check.head_id} --since-last-good"
        )


def _object(check: HeadCheck, chart: Chart) -> dict[str, object]:
    return {
        "head": check.head_id,
        "record": check.record_id,
        "decision": check.decision,
        "bar_form_known": check.form_known,
        "changes": [
            {
                "quantity": c.quantity,
                "change_deg": math.degrees(c.change_rad),
                "u_change_deg": math.degrees(c.u_rad),
                "limit_deg": math.degrees(c.limit_rad),
                "decision": c.decision,
                **chart.figures(c.quantity),
            }
            for c in check.changes
        ],
    }
