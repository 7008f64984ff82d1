"""What was done and on what it stands: adjustments, run-out, heads, tapes, limits."""

from collections.abc import Iterator

from calibration.document.blocks import Block, Column, Facts, Heading, Paragraph, Points, Table
from calibration.document.plain import count
from ingest.job.course.job import Job, Mark
from ingest.job.course.tasks import NEEDLESS, Doing, Task
from ingest.report.wording import topic_name

DASH = "\u2013"
LEAST_DEG = 0.001
"""A run-out and its uncertainty are told to this."""


def _when(at: str) -> str:
    return at[11:16]


def work(job: Job) -> Iterator[Block]:
    """Yield what was adjusted, and what was left out."""
    yield Heading("Work done")
    if job.adjustments:
        rows = tuple(
            (_when(a.at), a.task.title, " ".join(a.advice) or DASH, a.by) for a in job.adjustments
        )
        columns = (
            Column("UTC"),
            Column("What", width=2),
            Column("Advice of the program", width=3),
            Column("By"),
        )
        yield Table("Adjustments", columns, rows)
    else:
        yield Paragraph("Nothing was adjusted.")
    left_out = [
        f"{task.title}: {mark.skipped or mark.note}"
        for task in job.tasks
        if (mark := job.marks.get(task.id)) is not None and _is_left_out(task, mark)
    ]
    if left_out:
        yield Paragraph("Left out:")
        yield Points(tuple(dict.fromkeys(left_out)))
    noted = [
        f"{task.title}: {mark.note}"
        for task in job.tasks
        if (mark := job.marks.get(task.id)) is not None
        and mark.note
        and not _is_left_out(task, mark)
    ]
    if noted:
        yield Paragraph("Said with it:")
        yield Points(tuple(noted))
    if any(t.doing is Doing.ADJUST for t in job.tasks) and job.cannot:
        yield Paragraph("Could not be done:")
        yield Points(job.cannot)


def _is_left_out(task: Task, mark: Mark) -> bool:
    """Say whether a task was left out by somebody, for a reason; what then falls away by itself is
    no news, nor is what was inside and needed nothing."""
    untouched = task.doing is Doing.ADJUST and not mark.turned
    return (untouched and bool(mark.note)) or mark.skipped not in ("", NEEDLESS)


def run_outs(job: Job) -> Iterator[Block]:
    """Yield the run-out that each turn of a wheel found; it was taken out of all results."""
    if not job.runouts:
        return
    yield Heading("Run-out found", 2)
    rows = tuple(
        (
            f"Axle {r.axle} {r.side}",
            r.head,
            f"{r.runout_deg:.3f}\u00b0",
            _uncertainty(r.u_deg),
            r.how,
        )
        for r in job.runouts
    )
    columns = (
        Column("Wheel", width=1),
        Column("Head"),
        Column("Run-out", "right"),
        Column("u", "right"),
        Column("Turned", width=1),
    )
    note = "Run-out of rim, clamp and shaft together, found by turning the wheel, and taken out."
    yield Table("Run-out of each mounting", columns, rows, note=note)


def _uncertainty(u_deg: float | None) -> str:
    """Return an uncertainty as told; none is ever nothing."""
    if u_deg is None:
        return DASH
    return f"{u_deg:.3f}\u00b0" if u_deg >= LEAST_DEG else f"< {LEAST_DEG:.3f}\u00b0"


def heads(job: Job) -> Iterator[Block]:
    """Yield the heads that measured, with their calibration records."""
    used = {
        pair
        for readings in (job.found, job.left)
        for reading in readings.values()
        for pair in reading.heads
    }
    if not used:
        return
    yield Heading("Heads", 2)
    rows = tuple((name, record or "no record: not calibrated") for name, record in sorted(used))
    columns = (Column("Head", width=1), Column("Calibration record", width=2))
    yield Table("Heads and the records that corrected them", columns, rows)
    stands = sorted(
        {
            what
            for readings in (job.found, job.left)
            for reading in readings.values()
            for what in reading.stands_on
        }
    )
    if stands:
        yield Paragraph("The uncertainties stand on: " + "; ".join(stands) + ".", "small")


def tapes(job: Job) -> Iterator[Block]:
    """Yield the tape check."""
    if not job.tapes:
        return
    yield Heading("Tape check", 2)
    rows = tuple(
        (
            t.line,
            f"{t.measured_m * 1e3:.1f} mm",
            DASH if t.predicted_m is None else f"{t.predicted_m * 1e3:.1f} mm",
            DASH if t.u_predicted_m is None else f"{2 * t.u_predicted_m * 1e3:.1f} mm",
            {True: "agrees", False: "does not agree", None: "not compared"}[t.agrees],
        )
        for t in job.tapes
    )
    columns = (
        Column("From hub to hub", width=1),
        Column("By tape", "right"),
        Column("By the heads", "right"),
        Column("U", "right"),
        Column("", width=1),
    )
    yield Table("Distances by tape and by the heads", columns, rows)


def limits(job: Job) -> Iterator[Block]:
    """Yield each limit as it was entered, with its source."""
    entered: dict[tuple[str, str], list[str]] = {}
    for readings in (job.found, job.left):
        for topic, reading in readings.items():
            if reading.limit is not None:
                key = (reading.limit.entered, reading.limit.source)
                names = entered.setdefault(key, [])
                if topic_name(topic) not in names:
                    names.append(topic_name(topic))
    if not entered:
        return
    yield Heading("Limits and their sources", 2)
    rows = tuple(
        ("; ".join(names) if len(names) < 5 else count(len(names), "result"), text, source)
        for (text, source), names in entered.items()
    )
    columns = (Column("Of", width=2), Column("As entered", width=2), Column("Source", width=3))
    yield Table("As they were entered", columns, rows)


def remarks(job: Job) -> Iterator[Block]:
    """Yield what people wrote down."""
    if job.remarks:
        yield Heading("Remarks", 2)
        yield Facts(tuple((f"{_when(at)} {by}", text) for at, by, text in job.remarks))
