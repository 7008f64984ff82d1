"""From a job to its report: the result first, then what it stands on, then what proves it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from calibration.document.blocks import (
    Block,
    Chart,
    Column,
    Columns,
    Document,
    EndMark,
    Facts,
    Heading,
    NewPage,
    Notice,
    Outcome,
    Paragraph,
    People,
    Points,
    Spring,
    Table,
)
from calibration.document.plain import count, day
from ingest.job.course.events import Opened
from ingest.job.course.job import Job
from ingest.job.vehicle.vehicle import Vehicle
from ingest.payload.vehicle_file import parse_vehicle
from ingest.report import wording
from ingest.report.charts import AxleAt, axle_lines, intervals
from ingest.report.figures import Line, bounds, lines, printed
from ingest.report.intake import findings
from ingest.report.proof import proof
from ingest.report.work import heads, limits, remarks, run_outs, tapes, work

MARK_OPEN = "NOT FINISHED"
MARK_DRAFT = "DRAFT"
MARK_SIMULATED = "SIMULATED"
DASH = "\u2013"


@dataclass(frozen=True, slots=True)
class Seal:
    """What proves a report: the record's hash, who signed it, with which program it was made."""

    sha256: str
    signed_by: tuple[str, ...]
    software: str


@dataclass(frozen=True, slots=True)
class Workshop:
    """Who did the job."""

    name: str = ""
    address: str = ""


def report(name: str, job: Job, dated: date, workshop: Workshop, seal: Seal) -> Document:
    """Return a job as a document; marked where it was not finished or is not signed."""
    told = lines(job)
    blocks = (
        *_notices(job, told, seal),
        Columns(((_vehicle(job.opened),), (_order(job),))),
        _outcome(job, told),
        _results(told),
        Paragraph(wording.SIGNS, "small"),
        Paragraph(wording.UNCERTAINTY, "small"),
        Points((wording.MAKER_FIRST, wording.CAUTION)),
        Spring(),
        People((("Done by", _people(job)), ("Seen by", ""))),
        NewPage(),
        *_charts(job, told),
        *work(job),
        *run_outs(job),
        *heads(job),
        *tapes(job),
        *findings(job),
        *limits(job),
        *remarks(job),
        *proof(job, seal.sha256, seal.signed_by, seal.software),
        EndMark(f"End of report {name}"),
    )
    return Document(
        title="Alignment report",
        number=name,
        subtitle=vehicle_of(job.opened).name,
        issuer=tuple(
            part for part in (workshop.name or "(workshop not named)", workshop.address) if part
        ),
        dated=dated,
        blocks=blocks,
        mark=_mark(job, seal),
    )


def _mark(job: Job, seal: Seal) -> str:
    if job.opened.simulated:
        return MARK_SIMULATED
    if job.closed is None or not job.closed.finished:
        return MARK_OPEN
    return "" if seal.signed_by else MARK_DRAFT


def _notices(job: Job, told: Sequence[Line], seal: Seal) -> Iterator[Block]:
    if job.closed is None:
        yield Notice("Not finished", wording.OPEN, "attention")
    elif not job.closed.finished:
        text = wording.NOT_FINISHED.format(reason=job.closed.reason)
        yield Notice("Not finished", text, "attention")
    if job.opened.simulated:
        yield Notice("Simulated", wording.SIMULATED, "attention")
    reasons = dict.fromkeys(line.unread for line in told if line.stale)
    for why in reasons:
        stale = [wording.topic_name(x.topic) for x in told if x.stale and x.unread == why]
        said = wording.UNREAD if why else wording.STALE
        text = said.format(topics="; ".join(stale), reason=why)
        yield Notice("Not measured again" if why else "Holds no longer", text, "attention")
    if not seal.signed_by:
        yield Notice("Draft", wording.UNSIGNED, "attention")


def vehicle_of(opened: Opened) -> Vehicle:
    """Return the vehicle as the job has it."""
    return parse_vehicle(opened.vehicle, f"vehicle {opened.vehicle_id}")


def _vehicle(opened: Opened) -> Facts:
    vehicle = vehicle_of(opened)
    tyres = dict.fromkeys(axle.tyre.size for axle in vehicle.axles)
    items = (
        ("Vehicle", f"{vehicle.name}, {vehicle.configuration}"),
        ("Kept as", opened.vehicle_id),
        ("Axles", ", ".join(f"{axle.number} {axle.role.in_words}" for axle in vehicle.axles)),
        ("Tyres", ", ".join(tyres)),
        ("Odometer", opened.odometer),
        ("Load", opened.load_state),
    )
    return Facts(tuple((label, value) for label, value in items if value))


def _order(job: Job) -> Facts:
    opened, closed = job.opened, job.closed
    items = (
        ("Order", opened.order),
        ("Begun", moment(job.opened_at)),
        ("Closed", moment(job.closed_at) if closed is not None else ""),
        ("Limits", opened.limits_name),
        ("Rule", opened.rule),
        ("Bay's level", _level(job)),
    )
    return Facts(tuple((label, value) for label, value in items if value))


def _level(job: Job) -> str:
    level = job.level
    if level is None or not level.record:
        return "not recorded: camber stands on gravity alone"
    age = "" if level.age_days is None else f", {level.age_days:.0f} days old"
    return f"{level.record}{age}"


def moment(at: str) -> str:
    """Return a moment for people, to the minute, in UTC."""
    when = date.fromisoformat(at[:10])
    return f"{day(when)}, {at[11:16]} UTC"


def _people(job: Job) -> str:
    return ", ".join(job.people)


def axles_of(opened: Opened) -> tuple[AxleAt, ...]:
    """Return where the axles stand, as the vehicle's file has it."""
    return tuple(
        AxleAt(axle.number, axle.behind_m, axle.track_m, axle.role.in_words)
        for axle in vehicle_of(opened).axles
    )


def _outcome(job: Job, told: Sequence[Line]) -> Outcome:
    decided = [line for line in told if line.last is not None and line.last.decision != "none"]
    found = [line.found for line in decided if line.found is not None]
    was = sum(reading.decision == "inside" for reading in found)
    now = [line.last.decision for line in decided if line.last is not None and not line.stale]
    text = (
        f"As found {was} of {count(len(found), 'result')} with limits inside; "
        f"as left {now.count('inside')} of {len(decided)}."
    )
    if not decided:
        return Outcome("Measured", "No result has a limit to be held against.", None)
    if "outside" in now:
        return Outcome("Not all inside", text, False)
    if len(now) < len(decided) or "undecided" in now:
        return Outcome("Not all decided", text, None)
    return Outcome("All inside", text, job.closed is not None and job.closed.finished)


def _results(told: Sequence[Line]) -> Table:
    columns = (
        Column("Result", width=2),
        Column("As found", "right"),
        Column(""),
        Column("As left", "right"),
        Column(""),
        Column("Limits"),
    )
    return Table("As found and as left", columns, tuple(map(_row, told)))


def _row(line: Line) -> tuple[str, ...]:
    found, left = line.found, line.left
    limit = next((r.limit for r in (left, found) if r is not None and r.limit is not None), None)
    angular = all(reading.angular for reading in (found, left) if reading is not None)
    now, decision = DASH, DASH
    if line.stale:
        now, decision = "not measured again" if line.unread else "no longer holds", ""
    elif line.untouched:
        now = "as found"
    elif left is not None:
        now = printed(left).screen()
    if left is not None and not line.stale:
        decision = wording.DECISIONS[left.decision]
    return (
        wording.topic_name(line.topic),
        DASH if found is None else printed(found).screen(),
        DASH if found is None else wording.DECISIONS[found.decision],
        now,
        decision,
        bounds(limit, angular=angular),
    )


def _charts(job: Job, told: Sequence[Line]) -> Iterator[Block]:
    axles = axles_of(job.opened)
    if axles and any(line.topic.endswith("/heading") for line in told):
        yield Heading("Pictures")
        yield Chart(
            axle_lines(axles, told),
            "Axle lines to the centre line, angles exaggerated",
            "Each axle as a line across the centre line, as found and as left.",
        )
    if any(line.last is not None and line.last.limit is not None for line in told):
        yield Chart(
            intervals(told),
            "Results with U, each against its own limits",
            "Each result as an interval between or beyond its two limits.",
        )
