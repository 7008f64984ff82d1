"""What a later adjustment needs is measured before, or left with a reason. The job is invented."""

from dataclasses import replace

import pytest

from ingest.job.course.acts import Close, Finish, Plan, Refused
from ingest.job.course.guidance import lacking
from ingest.job.course.job import Phase
from ingest.job.course.making import replayed
from ingest.job.course.tasks import NEEDLESS, Doing, Task
from tests.job.course.playing import OPENED, TASKS, Played, begun_with, reading
from tests.job.course.test_course import work_to

PARALLEL = "vehicle/parallelism"
WHERE = "s1-5"


def played(*more: Task) -> Played:
    """Return a job at its first measurement as found, which tells PARALLEL where it is known; what
    ``more`` asks for ends its first set-up."""
    tasks = [
        replace(task, also=(PARALLEL,)) if task.doing is Doing.FIND else task for task in TASKS
    ]
    place = sum(task.set_up == 1 for task in tasks)
    tasks = [*tasks[:place], *more, *tasks[place:]]
    played = begun_with(OPENED, Plan(tuple(tasks), 2))
    work_to(played, WHERE)
    return played


LINK = Task("s1-90", Doing.ADJUST, 1, (1,), (PARALLEL,), quantity="steer_parallelism")


def known(played: Played, **changed: object) -> dict[str, object]:
    facts = played.facts()
    told = replace(reading(PARALLEL, played.now), **changed)  # type: ignore[arg-type]
    return {"readings": {**facts.readings, PARALLEL: told}}


def test_what_is_adjusted_later_is_waited_for_as_found() -> None:
    job = played(LINK)
    task = job.job.current
    assert task is not None
    assert list(lacking(job.job, task, job.facts())) == [PARALLEL]
    with pytest.raises(Refused, match=PARALLEL) as caught:
        job.act(Finish(WHERE))
    assert caught.value.code == "not-found"
    assert job.job.current is not None
    assert job.job.current.id == WHERE
    job.act(Finish(WHERE), **known(job))
    assert PARALLEL in job.job.found


def test_a_reading_that_is_not_trusted_does_not_do() -> None:
    job = played(LINK)
    with pytest.raises(Refused, match=PARALLEL):
        job.act(Finish(WHERE), **known(job, quality="stale", why="moving"))


def test_with_a_reason_it_is_left_as_it_is_and_the_job_ends() -> None:
    job = played(LINK)
    job.act(Finish(WHERE, "no sightline over the gearbox"))
    assert job.job.marks[LINK.id].skipped.endswith("no sightline over the gearbox")
    assert PARALLEL not in job.job.found
    work_to(job, "")
    job.act(Close())
    assert job.job.phase is Phase.OVER
    assert replayed(job.events) == job.job


def test_what_proves_it_falls_away_with_it() -> None:
    alone = (replace(LINK, id="s1-91"), Task("s1-92", Doing.TIGHTEN, 1, (1,)))
    found = Task("s1-89", Doing.FIND, 1, (1,), (), (PARALLEL,))
    job = played(found, *alone)
    work_to(job, found.id)
    job.act(Finish(found.id, "hidden"))
    assert job.job.marks["s1-91"].skipped == "not measured as found: hidden"
    assert job.job.marks["s1-92"].skipped == NEEDLESS


def test_it_is_not_asked_for_where_a_later_measurement_tells_it_in_time() -> None:
    again = Task("s1-89", Doing.FIND, 1, (1,), (), (PARALLEL,))
    job = played(again, LINK)
    job.act(Finish(WHERE))
    work_to(job, again.id)
    with pytest.raises(Refused, match=PARALLEL):
        job.act(Finish(again.id))


def test_what_nobody_turns_is_not_asked_for() -> None:
    job = played()
    job.act(Finish(WHERE))
    assert PARALLEL not in job.job.found
