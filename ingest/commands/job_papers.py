"""The papers of a job from the store: record, report, figures, and a vehicle's history."""

import argparse
import csv
import io
import json
from collections.abc import Iterator
from datetime import date
from importlib.metadata import version
from pathlib import Path
from typing import Any

from calibration.document.html import render_html
from calibration.document.pdf import render_pdf
from ingest.commands.headstate import STATE, opened
from ingest.commands.keyfiles import load_private, load_public
from ingest.commands.record_check import state as known_of
from ingest.commands.writing import see_replaceable, write_whole
from ingest.core.errors import InputError
from ingest.job.course.job import Job
from ingest.job.course.making import replayed
from ingest.payload.job_record import (
    JobRecord,
    dump_job_record,
    job_record,
    signed,
    verified,
)
from ingest.report.document import Seal, Workshop, report
from ingest.report.figures import in_print, lines, printed
from ingest.store.jobs import StoredJobs

COLUMNS = (
    *("job", "result", "unit", "found", "found_U", "found_decision"),
    *("left", "left_U", "left_decision", "low", "high", "stale"),
)


def software() -> str:
    """Return what a record says that it was made with."""
    return f"levelhead {version('levelhead')}"


def add_papers(actions: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Declare what is made of jobs that are in a store."""
    listing = actions.add_parser("list", help="list the jobs of a store, or of one vehicle")
    listing.add_argument("--vehicle", help="only those of this vehicle, with what moved since")
    writing = actions.add_parser("report", help="write record, PDF and HTML of a job")
    writing.add_argument("--key", type=Path, help="private key to sign the record with")
    writing.add_argument("--workshop", default="", help="who did it: stands at the head")
    writing.add_argument("--address", default="", help="and where")
    writing.add_argument("-o", "--output", type=Path, default=Path(), help="folder (default: here)")
    exporting = actions.add_parser("export", help="print the figures of a job as CSV or JSON")
    exporting.add_argument("--as", dest="form", choices=("csv", "json"), default="csv")
    for action in (writing, exporting):
        action.add_argument("name", nargs="?", help="which job (default: the newest)")
    for action in (listing, writing, exporting):
        action.add_argument("--state", type=Path, default=STATE, help="the bay's database")


def make(args: argparse.Namespace) -> int:
    """Make what was asked for."""
    with opened(args.state) as connection:
        store = StoredJobs(connection)
        if args.action == "list":
            print("\n".join(_listed(store, args.vehicle)) or "no jobs yet")
            return 0
        name = args.name or store.newest()
        if name is None or not store.taken(name):
            known = ", ".join(store.jobs()[-8:]) or "none yet"
            raise InputError(f"job {name or ''}".strip(), None, f"no such job; there are: {known}")
        events = store.events(name)
    if args.action == "export":
        print(_export(name, replayed(events), args.form), end="")
        return 0
    record = job_record(name, events, args.workshop, args.address, software())
    print(write_report(record, args.key, args.output))
    return 0


def write_report(record: JobRecord, key: Path | None, folder: Path) -> str:
    """Write record, PDF and HTML of a job, signed where a key is given; say so in one line.

    Raises ``InputError`` where one of them cannot be written.
    """
    if not folder.is_dir():
        raise InputError(str(folder), None, "no such folder; make it first")
    if key is not None:
        record = signed(record, load_private(key))
    document = document_of(record)
    parts: tuple[tuple[str, str | bytes, bytes], ...] = (
        (".json", dump_job_record(record), b"{"),
        (".pdf", render_pdf(document), b"%PDF-"),
        (".html", render_html(document), b"<!DOCTYPE html>"),
    )
    for suffix, _, start in parts:
        see_replaceable(folder / f"{record.job}{suffix}", _begins(start), f"{suffix[1:].upper()}")
    for suffix, content, _ in parts:
        write_whole(folder / f"{record.job}{suffix}", content)
    names = ", ".join(f"{record.job}{suffix}" for suffix, _, _ in parts)
    unsigned = "" if key is not None else "; not signed: give --key to seal it"
    return f"{names} in {folder}; SHA-256 {record.sha256}{unsigned}"


def _begins(start: bytes) -> Any:
    return lambda data: data.startswith(start)


def document_of(record: JobRecord) -> Any:
    """Return the report of a record."""
    job = record.replayed()
    signers = tuple(f"key {each.key_id} (Ed25519)" for each in record.signatures)
    at = job.closed_at or record.happened()[-1].at
    seal = Seal(record.sha256, signers, record.software)
    shop = Workshop(record.workshop, record.address)
    return report(record.job, job, date.fromisoformat(at[:10]), shop, seal)


def check(record: JobRecord, keys: dict[Path, Any]) -> Iterator[str]:
    """Yield what is to be said of a record and its signatures."""
    job = record.replayed()
    state = "open" if job.closed is None else "finished" if job.closed.finished else "given up"
    yield f"job {record.job}: order {job.opened.order}, {job.opened.vehicle_id}, {state}"
    yield f"  content    unaltered; {job.last} events; SHA-256 {record.sha256}"
    yield f"  people     {', '.join(job.people)}"
    if not record.signatures:
        yield "  signature  none"
    for each in verified(record, keys.values()):
        yield f"  signature  {known_of(each)}: key {each.key_id}"


def keys_of(paths: list[Path]) -> dict[Path, Any]:
    """Return public keys by their files."""
    return dict(load_public(paths))


def _listed(store: StoredJobs, vehicle: str | None) -> Iterator[str]:
    before: Job | None = None
    for name in store.jobs():
        job = replayed(store.events(name))
        if vehicle is not None and job.opened.vehicle_id.partition("@")[0] != vehicle:
            continue
        state = "open" if job.closed is None else "finished" if job.closed.finished else "given up"
        opened_on = job.opened_at[:10]
        yield f"{name:24} {opened_on}  {job.opened.vehicle_id:20} {job.opened.order:20} {state}"
        if vehicle is not None and before is not None:
            yield from (f"    {line}" for line in moved_since(before, job))
        before = job


def moved_since(before: Job, now: Job) -> Iterator[str]:
    """Yield what was found otherwise than it had been left at the visit before, beyond both U."""
    for line in lines(now):
        was, found = before.left_of(line.topic), line.found
        if was is None or found is None:
            continue
        if abs(found.value - was.value) > (found.U**2 + was.U**2) ** 0.5:
            yield f"{line.topic}: left {printed(was).screen()}, found {printed(found).screen()}"


def _rows(name: str, job: Job) -> Iterator[dict[str, Any]]:
    for line in lines(job):
        first = line.found or line.left
        assert first is not None
        times, unit = in_print(first.angular)
        row: dict[str, Any] = {"job": name, "result": line.topic, "unit": unit.value}
        for state, reading in (("found", line.found), ("left", None if line.stale else line.left)):
            row[state] = None if reading is None else reading.value * times
            row[f"{state}_U"] = None if reading is None else reading.U * times
            row[f"{state}_decision"] = None if reading is None else reading.decision
        limit = first.limit
        row["low"] = None if limit is None or limit.low is None else limit.low * times
        row["high"] = None if limit is None or limit.high is None else limit.high * times
        row["stale"] = line.stale
        yield row


def _export(name: str, job: Job, form: str) -> str:
    rows = list(_rows(name, job))
    if form == "json":
        return json.dumps(rows) + "\n"
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()
