"""What was looked at before anything was measured, and what of it was at fault and repaired."""

from collections.abc import Iterator

from calibration.document.blocks import Block, Column, Heading, Paragraph, Table
from ingest.job.course.intake import BY_ID
from ingest.job.course.job import Job, Look
from ingest.report.work import DASH


def findings(job: Job) -> Iterator[Block]:
    """Yield what the intake found, and of an item that was looked at again how it was then."""
    yield Heading("Intake", 2)
    by_item: dict[str, list[Look]] = {}
    for look in job.looks:
        by_item.setdefault(look.check.item, []).append(look)
    rows = tuple(row for looks in by_item.values() for row in _looked(looks))
    columns = (
        Column("Looked at", width=2),
        Column("Found"),
        Column("Note", width=3),
        Column("UTC"),
        Column("By"),
    )
    if rows:
        yield Table("As it was looked at, in its order", columns, rows)
    else:
        yield Paragraph("Nothing was looked at.")


def _looked(looks: list[Look]) -> Iterator[tuple[str, ...]]:
    """Yield a row for each look at one item. A repair may take days, so each has its date."""
    words = {"ok": "in order", "fault": "at fault", "absent": "does not apply"}
    for number, look in enumerate(looks):
        word = words[look.check.state]
        yield (
            BY_ID[look.check.item].title,
            f"then {word}" if number else word,
            look.check.note or DASH,
            f"{look.at[:10]} {look.at[11:16]}",
            look.by,
        )
