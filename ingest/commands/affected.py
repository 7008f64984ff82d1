"""``levelhead affected``: what was measured with a head while nobody can say that it was good."""

import argparse
import json
import time
from collections.abc import Iterator
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path

from calibration.errors import CalibrationFileError
from ingest.commands.headstate import STATE, head_called, opened
from ingest.core.errors import InputError
from ingest.core.ids import HeadId
from ingest.core.published import PublishedResult
from ingest.store.checks import StoredChecks
from ingest.store.doubt import Span, span_of_doubt
from ingest.store.published import StoredResults
from ingest.store.records import StoredRecords

DAY_MS = 86_400_000


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("head", metavar="HEAD", help="its name in the bay, or its id")
    parser.add_argument(
        "--since-last-good",
        action="store_true",
        help="from its last good check or calibration (this is what is taken without --since)",
    )
    parser.add_argument("--since", metavar="WHEN", help="a day, or a time with its offset")
    parser.add_argument("--until", metavar="WHEN", help="likewise; a day is counted in")
    parser.add_argument("--state", type=Path, default=STATE, help="database (default %(default)s)")
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace) -> int:
    """List results. Exit 0 also where there are none."""
    if args.since is not None and args.since_last_good:
        raise InputError("--since", None, "not with --since-last-good; give one of them")
    now_ms = time.time_ns() // 1_000_000
    with opened(args.state) as connection:
        head = head_called(args.head, connection, "HEAD")
        span = _span(args, StoredChecks(connection), StoredRecords(connection), head, now_ms)
        if span.since_ms > span.until_ms:
            reason = f"{_told(span.since_ms)} is after {_told(span.until_ms)}; swap them"
            raise InputError("--since, --until", None, reason)
        log = StoredResults(connection)
        results, oldest_ms = log.of(head, span.since_ms, span.until_ms), log.oldest_ms()
    gone = oldest_ms is None or oldest_ms > span.since_ms
    if args.json:
        print(json.dumps(_object(head, span, results, oldest_ms)))
    else:
        print("\n".join(_lines(head, span, results)))
        if gone:
            begins = "is empty" if oldest_ms is None else f"begins at {_told(oldest_ms)}"
            print(f"note: the log {begins}; what was measured before is not in it")
    return 0


def _span(
    args: argparse.Namespace,
    checks: StoredChecks,
    records: StoredRecords,
    head: HeadId,
    now_ms: int,
) -> Span:
    if args.since is not None:
        until_ms = now_ms if args.until is None else _moment("--until", args.until, DAY_MS - 1)
        return Span(_moment("--since", args.since), until_ms, "as asked for", "as asked for")
    try:
        found = span_of_doubt(checks.of(head), records.all_of(head), now_ms)
    except CalibrationFileError as error:
        reason = f"{error}; its calibrations cannot be trusted, so give --since"
        raise InputError("--since-last-good", None, reason) from error
    if args.until is None:
        return found
    return Span(
        found.since_ms, _moment("--until", args.until, DAY_MS - 1), found.since, "as asked for"
    )


def _moment(option: str, text: str, day_ms: int = 0) -> int:
    """Return a time in ms UTC; of a day its beginning, plus ``day_ms``."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        moment = None
    if moment is not None and len(text) == len("2026-11-20"):
        return round(moment.replace(tzinfo=UTC).timestamp() * 1000) + day_ms
    if moment is None or moment.tzinfo is None:
        reason = f"{text!r} is no time; write 2026-11-20 or 2026-11-20T08:30:00Z"
        raise InputError(option, None, reason)
    return round(moment.timestamp() * 1000)


def _told(at_ms: int) -> str:
    return datetime.fromtimestamp(at_ms / 1000, UTC).strftime("%Y-%m-%d %H:%M:%S UTC")


def _lines(head: HeadId, span: Span, results: tuple[PublishedResult, ...]) -> Iterator[str]:
    many = "" if len(results) == 1 else "s"
    yield f"head {head}: {len(results)} result{many} to look at again"
    yield f"  from {_told(span.since_ms)}: {span.since}"
    yield f"  to   {_told(span.until_ms)}: {span.until}"
    for each in results:
        U = "unknown" if each.U_deg is None else f"{each.U_deg:g}"  # noqa: N806
        records = ", ".join(record or "none" for _, record in each.heads)
        yield (
            f"{_told(each.said_ms)}  {each.bay}  {each.topic}  {each.value_deg:g} deg, U {U} deg, "
            f"{each.quality}; records {records}; {each.spread}"
        )


def _object(
    head: HeadId, span: Span, results: tuple[PublishedResult, ...], oldest_ms: int | None
) -> dict[str, object]:
    return {
        "head": head,
        **asdict(span),
        "log_begins_ms": oldest_ms,
        "results": [
            {**asdict(each), "heads": [{"head": h, "record": r} for h, r in each.heads]}
            for each in results
        ],
    }
