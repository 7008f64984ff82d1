"""Whatever is asked in whatever order, the job keeps its promises. Asked at random (hypothesis)."""

import contextlib

from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.job.course.acts import (
    Act,
    Back,
    Begin,
    Check,
    Close,
    Finish,
    Refused,
    Replan,
    Skip,
    Turn,
    Upset,
)
from ingest.job.course.events import Done, Turning
from ingest.job.course.guidance import guide
from ingest.job.course.job import Job, Phase
from ingest.job.course.making import replayed
from ingest.job.course.tasks import Doing
from tests.job.course.playing import HEADING_4, TASKS, TOE_1, WHEELS, Played, begun, reading

NEXT = "the current one"
tasks = st.sampled_from([NEXT, NEXT, NEXT, NEXT, *(task.id for task in TASKS), "t-99"])
acts = st.one_of(
    st.builds(Finish, tasks, st.sampled_from(["", "a reason"])),
    st.builds(Finish, st.just(NEXT), st.just("a reason")),
    st.builds(Turn, st.just(NEXT)),
    st.builds(Skip, tasks, st.sampled_from(["", "a reason"])),
    st.builds(Back, tasks),
    st.builds(Replan, st.sampled_from([(), ("adjust axle 4",)])),
    st.builds(Upset, st.sampled_from([(HEADING_4,), (TOE_1, HEADING_4)]), st.just("knocked")),
    st.builds(Close, st.sampled_from(["", "", "", "given up"])),
    st.just(Begin()),
    st.builds(Check, st.just("kingpins"), st.sampled_from(["ok", "fault"]), st.just("play")),
)
facts = st.fixed_dictionaries(
    {},
    optional={
        "wheels": st.sampled_from([WHEELS, frozenset()]),
        "decision": st.sampled_from(["inside", "undecided", "outside"]),
    },
)


def meant(act: Act, job: Job) -> Act:
    """Put the current task in where an act means that."""
    if isinstance(act, Finish | Turn | Skip | Back) and act.task == NEXT:
        current = job.current.id if job.current is not None else "none"
        match act:
            case Finish(note=note):
                return Finish(current, note)
            case Turn():
                return Turn(current)
            case Skip(reason=reason):
                return Skip(current, reason)
            case Back():
                return Back(next(reversed(job.marks), "none"))
    return act


@settings(max_examples=150, deadline=None)
@given(st.lists(st.tuples(acts, facts), max_size=80))
def test_promises_hold(asked: list[tuple[Act, dict[str, object]]]) -> None:
    played = begun()
    for act, known in asked:
        changed = dict(known)
        decision = changed.pop("decision", None)
        if decision is not None:
            changed["readings"] = {
                t: reading(t, played.now, str(decision)) for t in (HEADING_4, TOE_1)
            }
        with contextlib.suppress(Refused):
            played.act(meant(act, played.job), **changed)
        guide(played.job, played.facts())
    promises(played)


def promises(played: Played) -> None:
    job = played.job
    assert replayed(played.events) == job
    found: dict[str, object] = {}
    turned: set[str] = set()
    for event in played.events:
        match event.what:
            case Turning(task=task):
                topics = next(t.topics for t in TASKS if t.id == task)
                assert set(topics) <= set(found), "turned before it was found"
                turned |= set(topics)
            case Done(task=task, readings=readings) if readings:
                if next((t.doing for t in TASKS if t.id == task), None) is Doing.FIND:
                    assert not turned & {r.topic for r in readings}, "found after it was turned"
                    found |= {r.topic: r for r in readings}
            case _:
                pass
    assert dict(job.found) == found
    if job.phase is Phase.OVER and job.closed is not None and job.closed.finished:
        assert job.stale & (set(job.found) | set(job.left)) <= set(job.unread)
        assert all(job.unread.values()), "left without a reason"
        for topic in turned - set(job.unread):
            assert job.left[topic].at > job.found[topic].at


@settings(max_examples=100, deadline=None)
@given(st.lists(st.tuples(acts, facts), max_size=60), st.booleans())
def test_whatever_was_asked_the_job_can_be_brought_to_its_end(
    asked: list[tuple[Act, dict[str, object]]], heads_fail: bool
) -> None:
    """By what guidance asks for, or a reason where the bay tells nothing any more."""
    played = begun()
    for act, known in asked:
        changed = {name: value for name, value in known.items() if name == "wheels"}
        with contextlib.suppress(Refused):
            played.act(meant(act, played.job), **changed)
    fails = {"readings": {}, "wheels": frozenset(), "compensated": {}} if heads_fail else {}
    for _ in range(6 * len(TASKS)):
        task = played.job.current
        if task is None:
            break
        try:
            played.act(Finish(task.id, "a reason"), **fails)
        except Refused:
            played.act(Skip(task.id, "a reason"), **fails)
    if played.job.phase is Phase.INTAKE:
        return
    if played.job.phase is not Phase.OVER:
        played.act(Close(), **fails)
    assert played.job.closed is not None
    promises(played)
