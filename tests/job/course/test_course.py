"""The course of a job: what may happen when, and what it leaves. The job played is invented."""

from dataclasses import replace

import pytest

from ingest.job.course.acts import (
    Back,
    Begin,
    Check,
    Close,
    Finish,
    Plan,
    Refused,
    Remark,
    Replan,
    Skip,
    Turn,
    Upset,
)
from ingest.job.course.events import Planned
from ingest.job.course.guidance import guide
from ingest.job.course.job import Phase
from ingest.job.course.making import replayed
from ingest.job.course.tasks import Doing
from tests.job.course.playing import (
    COMPENSATED,
    HEADING_4,
    OPENED,
    TASKS,
    TOE_1,
    Played,
    begun,
    begun_with,
    reading,
    stamp,
)


def work_to(played: Played, task: str) -> None:
    """Finish tasks until one is the current one; adjustments are turned at."""
    while (current := played.job.current) is not None and current.id != task:
        if current.doing is Doing.ADJUST:
            played.act(Turn(current.id))
        played.act(Finish(current.id))


def refused(played: Played, act: object, **facts: object) -> Refused:
    before = played.job
    with pytest.raises(Refused) as caught:
        played.act(act, **facts)  # type: ignore[arg-type]
    assert played.job is before
    return caught.value


def test_a_job_runs_from_intake_to_close() -> None:
    played = begun()
    work_to(played, "")
    played.act(Close())
    job = played.job
    assert job.phase is Phase.OVER
    assert job.closed is not None
    assert job.closed.finished
    assert set(job.found) == set(job.left) == {HEADING_4, TOE_1}
    assert [a.task.id for a in job.adjustments] == ["s1-6", "s2-6"]


def test_the_events_alone_make_the_same_job() -> None:
    played = begun()
    work_to(played, "s2-4")
    assert replayed(played.events) == played.job


def test_work_waits_for_the_intake() -> None:
    played = begun(skip=["kingpins"])
    assert "kingpins" in refused(played, Begin()).text
    played.act(Check("kingpins", "fault", "left, 1 mm at the tyre"))
    assert refused(played, Begin()).code == "intake"
    assert refused(played, Finish("s1-1")).code == "not-begun"
    played.act(Check("kingpins", "ok", "renewed"))
    played.act(Begin())
    assert played.job.phase is Phase.WORK


def test_a_fault_wants_words() -> None:
    played = begun(skip=["kingpins"])
    assert refused(played, Check("kingpins", "fault", " ")).code == "bad-field"
    assert refused(played, Check("kingpins", "fine")).code == "bad-field"
    assert refused(played, Check("horn", "ok")).code == "bad-field"


def test_only_the_current_task_can_be_finished_so_two_displays_do_not_finish_two() -> None:
    played = begun()
    played.act(Finish("s1-1"))
    again = refused(played, Finish("s1-1"))
    assert again.code == "out-of-order"
    assert "s1-2" in again.text


@pytest.mark.parametrize(
    ("task", "facts", "says"),
    [
        ("s1-1", {"wheels": frozenset({(4, "left")})}, "axle 4 right"),
        ("s1-2", {"compensated": {(4, "right"): COMPENSATED[4, "right"]}}, "axle 4 left"),
        ("s1-5", {"readings": {}}, HEADING_4),
    ],
)
def test_a_task_waits_for_what_the_bay_must_know(
    task: str, facts: dict[str, object], says: str
) -> None:
    played = begun()
    work_to(played, task)
    assert says in refused(played, Finish(task), **facts).text


def test_a_reading_from_before_the_vehicle_moved_proves_nothing() -> None:
    played = begun()
    work_to(played, "s1-9")
    old = {HEADING_4: reading(HEADING_4, stamp(3))}
    assert refused(played, Finish("s1-9"), readings=old).code == "not-settled"
    stale = {HEADING_4: replace(reading(HEADING_4, played.now), quality="stale", why="moving")}
    assert refused(played, Finish("s1-9"), readings=stale).code == "not-settled"


def test_nothing_is_turned_before_it_was_found() -> None:
    played = begun()
    work_to(played, "s1-5")
    played.act(Skip("s1-5", "sensor cable torn"))
    assert played.job.marks["s1-6"].skipped == "not measured as found: sensor cable torn"
    played.act(Back("s1-6"))
    assert refused(played, Turn("s1-6")).code == "not-found"
    told = guide(played.job, played.facts())
    assert "job-adjust" not in told.asks
    assert "go back and measure it" in told.text
    assert "not measured" in refused(played, Finish("s1-6")).text


@pytest.mark.parametrize("decision", ["outside", "undecided", "none"])
def test_what_is_advised_is_turned_or_left_with_a_reason(decision: str) -> None:
    played = begun()
    work_to(played, "s1-5")
    found = {HEADING_4: reading(HEADING_4, played.now, decision)}
    played.act(Finish("s1-5"), readings=found)
    assert refused(played, Finish("s1-6"), readings=found).code == "outside"
    played.act(Finish("s1-6", "the maker allows it"), readings=found)
    assert played.job.marks["s1-6"].note == "the maker allows it"
    assert not played.job.marks["s1-6"].turned


def test_a_turned_adjuster_makes_results_stale_until_they_are_measured() -> None:
    played = begun()
    work_to(played, "s1-6")
    played.act(Turn("s1-6"))
    assert played.job.stale == {HEADING_4}
    assert played.job.left_of(HEADING_4) is None
    work_to(played, "s2-1")
    assert played.job.stale == frozenset()
    assert played.job.left_of(HEADING_4) is not None


def test_what_was_turned_is_tightened_and_measured() -> None:
    played = begun()
    work_to(played, "s1-7")
    for task in ("s1-7", "s1-9"):
        work_to(played, task)
        assert refused(played, Skip(task, "in a hurry")).code == "out-of-order"


def test_inside_and_untouched_needs_no_second_measurement() -> None:
    played = begun()
    work_to(played, "s1-6")
    played.act(Finish("s1-6"))
    job = played.job
    assert job.current is not None
    assert job.current.id == "s2-1"
    assert job.left_of(HEADING_4) == job.found[HEADING_4]
    assert "nothing was turned" in job.marks["s1-9"].skipped


def test_what_holds_no_longer_is_measured_again_though_nothing_was_turned_here() -> None:
    """Two axles are told against each other; the other one was turned since this one was found."""
    beside = [replace(t, topics=(), also=t.topics) if t.id == "s2-9" else t for t in TASKS]
    played = begun_with(OPENED, Plan(tuple(beside), 2))
    work_to(played, "s2-6")
    played.act(Upset((TOE_1,), "another axle was turned"))
    played.act(Finish("s2-6"))
    assert played.job.marks["s2-7"].skipped
    assert "s2-9" not in played.job.marks
    work_to(played, "")
    played.act(Close())


def test_outside_is_left_only_with_a_reason() -> None:
    played = begun()
    work_to(played, "s1-5")
    outside = {HEADING_4: reading(HEADING_4, played.now, "outside", 0.01)}
    played.act(Finish("s1-5"), readings=outside)
    assert refused(played, Finish("s1-6")).code == "outside"
    played.act(Turn("s1-6"))
    work_to(played, "s1-9")
    outside = {HEADING_4: reading(HEADING_4, played.now, "outside", 0.01)}
    assert refused(played, Finish("s1-9"), readings=outside).code == "outside"
    played.act(Finish("s1-9", note="arm at its end; the owner knows"), readings=outside)
    assert played.job.marks["s1-9"].note.startswith("arm")


def test_what_was_found_stands_for_good_once_something_was_turned() -> None:
    played = begun()
    work_to(played, "s1-7")
    found = played.job.found
    assert refused(played, Back("s1-5")).code == "out-of-order"
    played.act(Back("s1-1", "head slipped"))
    assert played.job.current is not None
    assert played.job.current.id == "s1-1"
    work_to(played, "s1-6")
    assert played.job.found == found


def test_going_back_to_an_earlier_set_up_mounts_the_later_one_anew() -> None:
    played = begun()
    work_to(played, "s2-6")
    played.act(Back("s1-6", "it must be better"))
    work_to(played, "s2-1")
    assert played.job.current is not None
    assert played.job.current.doing is Doing.MOUNT
    work_to(played, "s2-6")
    assert played.job.left[HEADING_4].at > played.job.found[HEADING_4].at


def test_a_job_with_stale_results_is_not_finished() -> None:
    played = begun()
    work_to(played, "")
    played.act(Upset((TOE_1, "axle/9/left/camber"), "a head was knocked"))
    assert played.job.stale == {TOE_1}
    assert refused(played, Close()).code == "out-of-order"
    played.act(Close(give_up="shift is over"))
    assert played.job.closed is not None
    assert not played.job.closed.finished
    assert refused(played, Remark("one more thing")).code == "job-over"


def test_a_new_plan_keeps_what_is_done() -> None:
    played = begun()
    work_to(played, "s1-6")
    played.act(Replan(("adjust axle 4: arm seized",)))
    what = played.events[-1].what
    assert isinstance(what, Planned)
    assert what.cannot == ("adjust axle 4: arm seized",)
    assert [task.id for task in what.tasks[:5]] == [f"s1-{n}" for n in range(1, 6)]
    assert played.job.current is not None
    assert played.job.current.id == "s1-6"


def test_a_skip_wants_a_reason() -> None:
    assert refused(begun(), Skip("s1-1", "  ")).code == "bad-field"


def test_what_holds_no_longer_at_the_end_is_asked_for() -> None:
    played = begun()
    work_to(played, "")
    played.act(Upset((TOE_1,), "a head was knocked"))
    task = played.job.current
    assert task is not None
    assert (task.doing, task.topics) == (Doing.LEAVE, (TOE_1,))
    played.act(Finish(task.id))
    played.act(Close())
    assert not played.job.stale


def test_or_it_is_left_with_a_reason_that_the_job_keeps() -> None:
    played = begun()
    work_to(played, "")
    played.act(Upset((TOE_1,), "a head was knocked"))
    task = played.job.current
    assert task is not None
    assert refused(played, Skip(task.id, " ")).code == "bad-field"
    played.act(Skip(task.id, "the head fell and broke"))
    assert dict(played.job.unread) == {TOE_1: "the head fell and broke"}
    played.act(Close())
    assert played.job.left_of(TOE_1) is None


def test_a_measurement_that_cannot_be_taken_is_left_with_a_reason_though_something_was_turned() -> (
    None
):
    played = begun()
    work_to(played, "s1-6")
    played.act(Turn("s1-6"))
    work_to(played, "s1-9")
    assert refused(played, Skip("s1-9", "no head")).code == "out-of-order"
    played.act(Skip("s1-9", "no head"), readings={})
    work_to(played, "")
    assert dict(played.job.unread) == {HEADING_4: "no head"}
    played.act(Close())
