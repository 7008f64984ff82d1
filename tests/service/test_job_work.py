"""A job asked for over MQTT: committed before it is answered, whole after any crash."""

import contextlib
import json
import os
import shutil
import signal
import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest

from ingest.job.course.acts import SIDES, Upset
from ingest.job.course.cautions import cautions
from ingest.job.course.events import BAY
from ingest.job.course.job import Phase
from ingest.job.course.restart import TODO
from ingest.job.course.tasks import Doing, Task
from ingest.payload.base import DISPLAY_LIMIT_BYTES
from ingest.store.database import open_database
from ingest.store.jobs import StoredJobs
from tests.job.course.playing import TASKS
from tests.service.job_rig import FakeView, JobRig

OPEN = {"vehicle": "pellowmere-17", "limits": "invented", "order": "W-118"}


@pytest.fixture
def rig() -> JobRig:
    return JobRig(open_database(":memory:"))


def test_a_display_that_joins_sees_that_no_job_is_open(rig: JobRig) -> None:
    assert rig.last("job/state")["phase"] == "none"
    assert rig.last("job/guidance")["asks"] == "job-open"


def test_guidance_alone_leads_through_a_whole_job(rig: JobRig) -> None:
    while rig.go_on():
        pass
    assert rig.work.job is not None
    assert rig.work.job.phase is Phase.OVER
    assert rig.last("job/state")["finished"] is True
    numbers = [m["number"] for topic, m in rig.said if topic == "evt/job"]
    assert numbers == list(range(1, len(numbers) + 1))
    settles = [t for t in TASKS if t.doing in (Doing.TIGHTEN, Doing.SETTLE)]
    why = {Doing.TIGHTEN: "adjusted", Doing.SETTLE: "moving"}  # to settle adjusts nothing
    anew = [f"anew {task.axles} {why[task.doing]}" for task in settles]
    assert [each for each in rig.view.done if each.startswith("anew")] == anew


def test_what_is_said_fits_small_displays(rig: JobRig) -> None:
    while rig.go_on():
        pass
    for topic, message in rig.said:
        size = len(json.dumps(message, separators=(",", ":")).encode())
        assert size <= (1024 if topic in ("job/caution", "job/advice") else DISPLAY_LIMIT_BYTES), (
            topic
        )


def test_every_wheel_that_lacks_its_head_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    mount = next(task for task in TASKS if task.doing is Doing.MOUNT)
    wide = replace(mount, axles=(1, 2, 3))
    monkeypatch.setattr("tests.service.job_rig.TASKS", (wide,))
    rig = JobRig(open_database(":memory:"))
    rig.view.wheels = frozenset({(2, "left")})
    while not rig.last("job/guidance")["task"]:
        rig.go_on()
    wheels = ((1, "left"), (1, "right"), (2, "right"), (3, "left"), (3, "right"))
    wanted = "; ".join(f"head on axle {axle} {side}" for axle, side in wheels)
    assert rig.last("job/guidance")["lacks"] == wanted


@pytest.mark.parametrize("quantity", ["", "lock_angle"])
def test_a_sweep_says_before_why_it_would_be_refused_and_how_far_it_goes(
    monkeypatch: pytest.MonkeyPatch, quantity: str
) -> None:
    topics = tuple(f"axle/1/{side}/{what}" for side in SIDES for what in ("caster", "lock-angle"))
    sweep = Task("s1-1", Doing.SWEEP, 1, (1,), topics, quantity=quantity)
    monkeypatch.setattr("tests.service.job_rig.TASKS", (sweep,))
    rig = JobRig(open_database(":memory:"))
    rig.view.lacks = tuple(f"turn plate or sightline of axle 1 {side}" for side in SIDES)
    while not rig.last("job/guidance")["task"]:
        rig.go_on()
    told = rig.last("job/guidance")
    assert str(told["waits"]).startswith(rig.view.lacks[0])
    assert told["ready"] is False
    assert len(json.dumps(told, separators=(",", ":")).encode()) <= DISPLAY_LIMIT_BYTES
    assert rig.last("job/step")["stops"] is (quantity == "lock_angle")
    rig.view.lacks = ()
    rig.work.tell()
    assert rig.last("job/guidance")["waits"] == ""


def lines_told(rig: JobRig) -> dict[str, dict[str, object]]:
    """Return the lines that stand, by their topics."""
    told = {topic: message for topic, message in rig.said if topic.startswith("job/line-")}
    return {topic: message for topic, message in told.items() if message}


def test_every_result_is_told_as_found_and_as_left_until_the_next_job(rig: JobRig) -> None:
    while rig.go_on():
        pass
    job = rig.work.job
    assert job is not None
    lines = lines_told(rig)
    assert list(lines) == [f"job/line-{at}" for at in range(1, len(lines) + 1)]
    by_topic = {str(line["topic"]): line for line in lines.values()}
    assert set(by_topic) == {*job.found, *job.left}
    for topic, line in by_topic.items():
        turned = topic in job.left
        assert line["untouched"] is (not turned and topic not in job.stale)
        assert (line["found"] is None) is (topic not in job.found)
        assert line["found_dec"] == (job.found[topic].decision if topic in job.found else "none")
        assert line["stale"] is (topic in job.stale)
    assert any(not line["untouched"] for line in by_topic.values())
    assert rig.ask("job-open", vehicle="pellowmere-17", limits="invented", order="W-119").ok
    assert lines_told(rig) == {}


def test_after_a_restart_it_says_that_heads_are_to_be_named_and_wheels_turned_again() -> None:
    """What a service knew of clamps ends with it: nobody saw them while it was away."""
    connection = open_database(":memory:")
    rig = JobRig(connection)
    while rig.work.job is None or rig.work.job.current is None or rig.work.job.current.id != "s1-6":
        rig.go_on()
    later = JobRig(connection, view=FakeView(wheels=frozenset(), compensated={}), boot="b-2")
    told = later.last("job/guidance")
    assert str(told["text"]).startswith(TODO)
    upsets = [event for event in later.work.events() if event.by == BAY]
    assert {(e.what.axle, e.what.side) for e in upsets} == {(4, "left"), (4, "right")}
    again = JobRig(connection, view=FakeView(wheels=frozenset(), compensated={}), boot="b-3")
    assert len(again.work.events()) == len(later.work.events())
    put_right = JobRig(connection, boot="b-4")
    assert TODO not in str(put_right.last("job/guidance")["text"])


def test_no_caution_is_cut_short(rig: JobRig) -> None:
    told = {}
    while rig.go_on():
        step = rig.last("job/step")
        told[step["doing"]] = str(rig.last("job/caution")["text"]).splitlines()
    for doing in {task.doing for task in TASKS}:
        assert told[doing.value] == list(cautions(doing))


def test_a_repeat_gets_the_same_answer_and_no_second_action_even_after_a_restart(
    tmp_path: Path,
) -> None:
    path = tmp_path / "store.db"
    rig = JobRig(open_database(path))
    first = rig.ask("job-open", id_="d-1", **OPEN)
    assert first.ok
    again = JobRig(open_database(path), boot="b-2")
    before = len(again.store.events("w-118"))
    assert again.ask("job-open", id_="d-1", **OPEN) == first
    assert len(again.store.events("w-118")) == before


def test_two_displays_that_finish_the_same_task_finish_one(rig: JobRig) -> None:
    while rig.work.job is None or rig.work.job.current is None:
        rig.go_on()
    assert rig.ask("job-done", client="left-hand", task="s1-1").ok
    second = rig.ask("job-done", client="right-hand", task="s1-1")
    assert (second.ok, second.code) == (False, "out-of-order")
    assert rig.work.job.current.id == "s1-2"


def test_only_technicians_may_ask(rig: JobRig) -> None:
    guarded = JobRig(open_database(":memory:"), people=("ines",))
    # Where the answer goes is what a message says; only the topic's user is what a broker holds.
    for client, user in (("display-2", None), ("ines", None), ("ines", "display")):
        refused = guarded.ask("job-open", client=client, user=user, **OPEN)
        assert (refused.ok, refused.code) == (False, "not-permitted")
    assert guarded.work.job is None
    assert guarded.ask("job-open", client="ines", user="ines", **OPEN).ok


@pytest.mark.parametrize(
    ("name", "fields", "code"),
    [
        ("job-done", {"task": "s1-1"}, "no-job"),
        ("job-open", {**OPEN, "vehicle": "unicorn"}, "unknown-vehicle"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_kept(
    rig: JobRig, name: str, fields: dict[str, object], code: str
) -> None:
    assert rig.ask(name, **fields).code == code
    assert rig.store.jobs() == ()


def test_one_job_at_a_time_and_names_that_never_come_twice(rig: JobRig) -> None:
    assert rig.ask("job-open", **OPEN).ok
    assert rig.ask("job-open", **OPEN).code == "job-open"
    assert rig.ask("job-remark", job="w-9", text="hm").code == "no-job"
    assert rig.ask("job-close", give_up="wrong vehicle").ok
    assert rig.ask("job-open", **OPEN).ok
    assert rig.store.jobs() == ("w-118", "w-118-2")


def test_events_can_be_asked_for_again(rig: JobRig) -> None:
    rig.ask("job-open", **OPEN)
    rig.ask("job-check", item="tyres", state="ok")
    rig.ask("job-remark", text="rain")
    rig.said.clear()
    assert rig.ask("job-events", since=1).ok
    told = [m for topic, m in rig.said if topic == "evt/job"]
    assert [(m["number"], m["kind"], m["again"]) for m in told] == [
        (2, "checked", True),
        (3, "remarked", True),
    ]


def test_a_full_disk_is_said_and_the_job_stands(tmp_path: Path) -> None:
    connection = open_database(tmp_path / "store.db")
    rig = JobRig(connection)
    assert rig.ask("job-open", **OPEN).ok
    pages = connection.execute("PRAGMA page_count").fetchone()[0]
    connection.execute(f"PRAGMA max_page_count = {pages}")
    before = rig.work.job
    full = None
    for _ in range(200):
        answer = rig.ask("job-remark", text="x" * 190)
        if not answer.ok:
            full = answer
            break
        before = rig.work.job
    assert full is not None
    assert full.code == "store"
    assert "make room" in full.text
    assert rig.work.job is before
    connection.execute(f"PRAGMA max_page_count = {pages + 100}")
    assert rig.ask("job-remark", text="there is room again").ok


@pytest.mark.parametrize(
    ("line", "metres", "agrees"),
    [("L1-L4", 6.574, True), ("L1-L4", 6.590, False), ("L1-R1", 2.04, None), ("P-L1", 3.0, None)],
)
def test_a_tape_between_axles_is_held_against_the_heads(
    rig: JobRig, line: str, metres: float, agrees: bool | None
) -> None:
    """Foretold 6.571 m, u 2 mm; read with u 1 mm: 2 sqrt(5) = 4.5 mm may lie between."""
    rig.ask("job-open", **OPEN)
    assert rig.ask("job-tape", line=line, metres=metres, u_mm=1.0).ok
    assert rig.work.job is not None
    (taped,) = rig.work.job.tapes
    assert taped.agrees is agrees
    assert rig.ask("job-tape", line="L1-L9", metres=2.0).code == "bad-field"


def test_a_tape_that_does_not_agree_is_told_at_once_and_taken(rig: JobRig) -> None:
    """Foretold 6.571 m, u 2 mm; 4.8 m is 1771 mm off, where 2 sqrt(5) = 4.5 mm may lie between."""
    while rig.work.job is None or rig.work.job.current is None:
        rig.go_on()
    fine = rig.ask("job-tape", line="L1-L4", metres=6.574).text
    assert fine.startswith("noted; still: ")
    wrong = rig.ask("job-tape", line="L1-L4", metres=4.8)
    assert wrong.ok
    assert wrong.text == (
        "L1-L4 does not agree: 4800.0 mm by tape, 6571.0 mm by the heads, "
        f"1771.0 mm apart where 4.5 mm may be; tape it again. N{fine[1:]}"
    )
    assert len(wrong.text) <= 200
    assert [taped.measured_m for taped in rig.work.job.tapes] == [6.574, 4.8]


def test_what_was_knocked_is_stale_and_the_job_says_so(rig: JobRig) -> None:
    while rig.work.job is None or rig.work.job.current is None or rig.work.job.current.set_up == 1:
        rig.go_on()
    rig.work.upset(Upset(("axle/4/both/heading",), "a head was knocked"))
    rig.work.tell()
    assert rig.last("job/state")["stale"] == 1
    assert rig.last("evt/job")["by"] == "the bay"


def events_of_a_whole_job() -> int:
    rig = JobRig(open_database(":memory:"))
    while rig.go_on():
        pass
    assert rig.work.job is not None
    return rig.work.job.last


def run_until_killed(path: Path, number: int) -> None:
    """Do a job in a process that is killed the moment its store has kept an event."""
    child = os.fork()
    if child == 0:
        try:
            rig = JobRig(open_database(path), boot=f"b-{number}")
            add = rig.store.add

            def add_and_die(job: str, events: list, *rest: object) -> None:  # type: ignore[type-arg]
                add(job, events, *rest)  # type: ignore[arg-type]
                if events[-1].number >= number:
                    os.kill(os.getpid(), signal.SIGKILL)

            rig.store.add = add_and_die  # type: ignore[method-assign]
            while rig.go_on():
                pass
        finally:
            os._exit(3)
    _, status = os.waitpid(child, 0)
    assert os.WIFSIGNALED(status)
    assert os.WTERMSIG(status) == signal.SIGKILL


def test_killed_after_every_single_event_nothing_is_lost_and_nothing_happens_twice(
    tmp_path: Path,
) -> None:
    """One run for each event; each goes on where the kill left the job, to the same end.

    A run begins where the kill of the one before left the store.
    """
    last = events_of_a_whole_job()
    before = tmp_path / "0.db"
    for number in range(1, last + 1):
        path = tmp_path / f"{number}.db"
        if before.exists():
            shutil.copy(before, path)
        if kept(path) >= number:
            continue  # kept together with the one before: no kill comes between
        run_until_killed(path, number)
        before = tmp_path / f"killed-{number}.db"
        copy(path, before)
        rig = JobRig(open_database(path), boot="b-after")
        assert rig.work.job is not None
        assert rig.work.job.last >= number
        while rig.go_on():
            pass
        events = rig.store.events("w-118")
        assert [event.number for event in events] == list(range(1, last + 1))
        assert rig.store.jobs() == ("w-118",)
        done = [e.what.task for e in events if e.what.kind == "done"]
        assert len(done) == len(set(done)) == len(rig.work.job.tasks)
        assert len(rig.work.job.tasks) == len(TASKS)


def kept(path: Path) -> int:
    with contextlib.closing(open_database(path)) as connection:
        return len(StoredJobs(connection).events("w-118"))


def copy(path: Path, to: Path) -> None:
    """Copy a store as a killed process left it, its journal included."""
    with (
        contextlib.closing(sqlite3.connect(path)) as source,
        contextlib.closing(sqlite3.connect(to)) as target,
    ):
        source.backup(target)
