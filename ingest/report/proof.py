"""How anybody can check the report."""

from collections.abc import Iterator

from calibration.document.blocks import Block, Facts, Heading, Paragraph
from calibration.document.plain import count
from ingest.job.course.job import Job
from ingest.report.wording import SEAL


def proof(job: Job, sha256: str, signed_by: tuple[str, ...], software: str) -> Iterator[Block]:
    """Yield hash and signatures of the job's record."""
    yield Heading("Integrity", 2)
    yield Facts(
        (
            ("Record", count(job.last, "event")),
            ("SHA-256", sha256 or "not sealed"),
            ("Signed by", "\n".join(signed_by) or "nobody yet"),
            ("Software", software),
        )
    )
    yield Paragraph(SEAL, "small")
