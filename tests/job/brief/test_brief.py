"""What a plan comes to as tasks, and what a job's brief says of results. Vehicles are shipped."""

import math

import pytest

from calibration.measured import Measured
from ingest.job.brief.advising import NOT_TOLD_APART, in_words
from ingest.job.brief.brief import JobBrief
from ingest.job.brief.standing import Standing
from ingest.job.brief.topics import place_of
from ingest.job.course.acts import Back, Close, Facts, Finish, Refused, Replan, Turn, Upset
from ingest.job.course.deciding import decide
from ingest.job.course.events import Planned, Taped
from ingest.job.course.job import Job
from ingest.job.course.making import replayed
from ingest.job.course.tasks import Doing, Task, mountings_of
from ingest.job.limits.limit import Load
from ingest.simulator.adjusting.advice import read
from ingest.store.shipped_limits import shipped
from tests.job.course.playing import OPENED, Played, begun_with, run_out
from tests.job.vehicles import SHIPPED, vehicle

DEG = math.pi / 180.0


def brief_of(name: str, limits: str = "general", pairs: int = 2) -> JobBrief:
    found = shipped(limits)
    assert found is not None
    return JobBrief(vehicle(name), found, Load.UNLADEN, pairs)


def standing(value: float, u: float, at: str = "", angular: bool = True) -> Standing:
    measured = Measured.of(value, u, source="noise")
    return Standing(measured, angular, at, "good", "", (("alder", "cal-1"),))


def opened_job(brief: JobBrief) -> Played:
    """Return a job of that vehicle whose work has begun."""
    played = begun_with(OPENED, brief.plan(bare_job(), ()))
    axles = range(1, len(brief.of.axles) + 1)
    played.wheels = frozenset((axle, side) for axle in axles for side in ("left", "right"))
    return played


def bare_job() -> Job:
    return Job(OPENED, "", "")


def facts(played: Played, brief: JobBrief) -> Facts:
    """Return a bay in which all that a task wants stands, a little off where it should be."""
    task = played.job.current
    wanted = () if task is None else (*task.topics, *task.also)
    read = {
        t: brief.judged(t, standing(0.001, 1e-4, played.now, not t.endswith("offset")))
        for t in wanted
    }
    run_outs = {wheel: run_out(*wheel) for wheel in played.wheels}
    return Facts(
        played.wheels, run_outs, read, stale=brief.stale, plan=brief.plan, again=brief.again
    )


def go_on(played: Played, brief: JobBrief, turn: bool = True) -> None:
    """Finish the present task."""
    task = played.job.current
    assert task is not None
    if task.doing is Doing.ADJUST and turn:
        for what in decide(played.job, Turn(task.id), facts(played, brief)):
            played.tell(what)
    for line in task.tapes:
        played.tell(Taped(line, 5.2, 0.001, None, None, None))
    for what in decide(played.job, Finish(task.id, "a reason"), facts(played, brief)):
        played.tell(what)


@pytest.mark.parametrize("name", SHIPPED)
@pytest.mark.parametrize("pairs", [2, 3])
def test_every_shipped_vehicle_can_be_done_to_its_end(name: str, pairs: int) -> None:
    """Every axle found, everything that was turned left, nothing stale, whatever the order."""
    brief = brief_of(name, pairs=pairs)
    played = opened_job(brief)
    while played.job.current is not None:
        go_on(played, brief)
    for what in decide(played.job, Close(), facts(played, brief)):
        played.tell(what)
    job = played.job
    assert job.closed is not None
    assert job.closed.finished
    for axle in brief.of.axles:
        assert f"axle/{axle.number}/both/heading" in job.found
    turned = {topic for a in job.adjustments for topic in a.task.topics}
    assert turned <= set(job.left)
    assert not job.held


def test_nothing_is_turned_before_all_that_hangs_on_it_was_found() -> None:
    brief = brief_of("rigid-8x4")
    played = opened_job(brief)
    while (task := played.job.current) is not None:
        if task.doing is Doing.ADJUST and task.axles == (4,):
            break
        go_on(played, brief)
    for axle in (1, 2, 3, 4):
        assert f"axle/{axle}/both/heading" in played.job.found


def test_what_was_not_turned_needs_no_tightening() -> None:
    brief = brief_of("rigid-6x4")
    played = opened_job(brief)
    while played.job.current is not None:
        go_on(played, brief, turn=False)
    skipped = [t for t in played.job.tasks if played.job.marks[t.id].skipped]
    assert {t.doing for t in skipped} == {Doing.TIGHTEN, Doing.SETTLE, Doing.RESWEEP, Doing.LEAVE}
    assert played.job.adjustments == ()


def test_a_seized_adjuster_is_planned_around_and_what_is_done_stays() -> None:
    brief = brief_of("rigid-8x4")
    played = opened_job(brief)
    while (task := played.job.current) is not None and task.doing is not Doing.ADJUST:
        go_on(played, brief)
    assert task is not None
    done = set(played.job.marks)
    act = Replan((f"adjust {task.axles[0]}: rusted solid",))
    for what in decide(played.job, act, facts(played, brief)):
        played.tell(what)
    planned = played.events[-1].what
    assert isinstance(planned, Planned)
    assert done <= {t.id for t in planned.tasks}
    assert len({t.id for t in planned.tasks}) == len(planned.tasks)
    rest = [t for t in planned.tasks if t.id not in done]
    assert all(t.axles != task.axles for t in rest if t.doing is Doing.ADJUST)
    while played.job.current is not None:
        go_on(played, brief)


@pytest.mark.parametrize(
    ("said", "says"),
    [
        ("pairs 1", "centre line needs heads"),
        ("adjust 9", "no axle 9"),
        ("it rains", "cannot be planned with"),
    ],
)
def test_a_plan_that_cannot_be_is_refused_with_what_would_help(said: str, says: str) -> None:
    brief = brief_of("rigid-6x4")
    played = opened_job(brief)
    with pytest.raises(Refused) as refused:
        decide(played.job, Replan((said,)), facts(played, brief))
    assert says in refused.value.text


def test_going_back_across_set_ups_ends_well() -> None:
    brief = brief_of("rigid-6x4")
    played = opened_job(brief)
    while (task := played.job.current) is not None and task.set_up == 1:
        go_on(played, brief)
    first = next(t for t in played.job.tasks if t.doing is Doing.TURN)
    for what in decide(played.job, Back(first.id), facts(played, brief)):
        played.tell(what)
    while played.job.current is not None:
        go_on(played, brief)
    assert not played.job.held


def adjusting(brief: JobBrief, axle: int, quantity: str, topic: str) -> Task:
    return Task("s1-1", Doing.ADJUST, 1, (axle,), (topic,), quantity=quantity)


def turned_at_the_pin() -> tuple[Played, JobBrief]:
    """Return a trailer's job in which the axle whose hubs were taped to the pin is turned."""
    brief = brief_of("tractor-and-trailer")
    played = opened_job(brief)
    while not played.job.was_turned((3,)):
        go_on(played, brief)
    return played, brief


def test_a_tape_to_the_pin_is_void_where_its_hub_is_turned_whatever_restarts() -> None:
    played, _ = turned_at_the_pin()
    assert {each.line for each in played.job.tapes} == {"P-L3", "P-R3"}
    assert not played.job.taped
    assert not replayed(played.events).taped
    played.tell(Taped("P-L3", 5.2, 0.001, None, None, None))
    assert set(played.job.taped) == {"P-L3"}


def test_a_tape_to_the_pin_is_asked_for_again_where_something_may_hang_on_it() -> None:
    played, brief = turned_at_the_pin()
    (asked,) = (t for t in played.job.tasks if t.doing is Doing.TAPE)
    (act,) = decide(played.job, Back("s3-6"), facts(played, brief))
    played.tell(act)
    assert played.job.current == asked
    played, brief = turned_at_the_pin()
    for what in decide(played.job, Replan(()), facts(played, brief)):
        played.tell(what)
    again = [t for t in played.job.tasks if t.doing is Doing.TAPE and t.id not in played.job.marks]
    assert [t.tapes for t in again] == [("P-L3", "P-R3")]


def test_advice_brings_a_heading_home_by_the_part_that_is_there() -> None:
    """A drive axle on threaded arms 0.98 m apart: 0.2 deg is 3.42 mm, by the tangent."""
    brief = brief_of("rigid-8x4")
    task = adjusting(brief, 3, "axle_heading", "axle/3/both/scrub")
    told = brief.advice(task, Measured.of(0.2 * DEG, 0.01 * DEG, source="noise"))
    assert told
    total = 0.98 * math.tan(0.2 * DEG) * 1e3
    assert total == pytest.approx(3.42, abs=0.005)
    assert "arm" in " ".join(told)
    found = brief.correction(task, Measured.of(0.2 * DEG, 0.01 * DEG, source="noise"))
    assert not isinstance(found, str)
    assert found is not None
    moved = sum(abs(step.length_m or 0.0) for step in found.steps)
    assert moved == pytest.approx(total / 1e3, rel=1e-6)


def test_a_value_without_limits_nearer_than_u_is_left_alone() -> None:
    """As ``levelhead correct`` does: nobody loosens parts for what no measurement tells apart."""
    brief = brief_of("rigid-8x4")
    task = adjusting(brief, 3, "axle_heading", "axle/3/both/scrub")
    near, far = (Measured.of(value * DEG, 0.03 * DEG, source="noise") for value in (0.04, 0.4))
    left = in_words(brief.correction(task, near), to_be_decided=False)
    assert left == (NOT_TOLD_APART,)
    assert read(NOT_TOLD_APART) == "nothing"
    assert in_words(brief.correction(task, near)) != left
    assert in_words(brief.correction(task, far), to_be_decided=False) != left
    # Its limits are narrower than twice U: closer is better, for it to be decided.
    limit = brief.judged(task.topics[0], standing(0.0, 1e-4)).limit
    assert limit is not None
    assert brief.advice(task, near) != left


def test_mountings_count_pairs_that_are_put_on() -> None:
    for name in SHIPPED:
        brief = brief_of(name)
        job = opened_job(brief).job
        planned = brief.plan(job, ())
        assert mountings_of(planned.tasks) == planned.mountings


def test_what_no_part_can_do_is_a_sentence() -> None:
    brief = brief_of("rigid-8x4")
    task = adjusting(brief, 4, "axle_heading", "axle/4/both/heading")
    told = brief.advice(task, Measured.of(3.0 * DEG, 0.01 * DEG, source="noise"))
    assert len(told) >= 1
    assert all(told)
    assert in_words(None) == ()


def test_a_result_carries_limit_decision_and_what_it_stands_on() -> None:
    brief = brief_of("rigid-8x4", "pellowmere-17")
    topic = "axle/4/both/heading"
    limit = brief.judged(topic, standing(0.0, 1e-5)).limit
    assert limit is not None
    assert limit.high is not None
    inside = brief.judged(topic, standing(0.0, 1e-5))
    outside = brief.judged(topic, standing(limit.high * 3.0, 1e-5))
    assert (inside.decision, outside.decision) == ("inside", "outside")
    assert limit.entered
    assert limit.source
    assert pytest.approx(inside.k * inside.u) == inside.U


def test_limits_for_another_load_decide_nothing() -> None:
    found = shipped("general")
    assert found is not None
    laden = JobBrief(vehicle("rigid-8x4"), found, Load.LADEN, 2)
    judged = [
        laden.judged(f"axle/1/{side}/camber", standing(0.0, 1e-5)) for side in ("left", "right")
    ]
    bound_to_load = [limit for limit in found.limits if limit.key.load is Load.UNLADEN]
    assert bound_to_load
    assert {r.decision for r in judged} == {"none"}


def test_unknown_topics_have_no_place() -> None:
    assert place_of(vehicle("rigid-8x4"), "axle/1/both/mood") is None
    place = place_of(vehicle("rigid-8x4"), "axle/2/left/camber")
    assert place is not None
    assert place.axle is not None
    assert place.axle.number == 2


def test_what_is_told_against_an_axle_falls_with_it() -> None:
    """Axle 4 of the 8x4 is the reference: axle 3 is told against it, nothing against axle 3."""
    brief = brief_of("rigid-8x4")
    reference = set(brief.stale(adjusting(brief, 4, "axle_heading", "axle/4/both/heading")))
    other = set(brief.stale(adjusting(brief, 3, "axle_heading", "axle/3/both/scrub")))
    told_against = {"axle/3/both/scrub", "axle/1/left/toe", "axle/2/both/heading", "vehicle/thrust"}
    assert told_against <= reference
    assert "axle/4/both/heading" in reference
    assert "axle/3/both/scrub" in other
    assert not {"axle/4/both/heading", "axle/1/left/toe", "vehicle/thrust"} & other


def test_what_is_loose_is_tightened_whatever_is_planned_anew() -> None:
    """Fastenings that were loosened are never left so: the makers' rule for any work on axles."""
    brief = brief_of("rigid-4x2")
    played = opened_job(brief)
    while (task := played.job.current) is not None and task.doing is not Doing.TIGHTEN:
        go_on(played, brief)
    for what in decide(played.job, Replan(("adjust 1",)), facts(played, brief)):
        played.tell(what)
    following = played.job.current
    assert task is not None
    assert following is not None
    assert (following.doing, following.axles) == (Doing.TIGHTEN, task.axles)


@pytest.mark.parametrize("name", SHIPPED)
def test_what_holds_no_longer_at_the_end_gets_heads_where_it_needs_them(name: str) -> None:
    """Cambers of two axles, headings, a sweep: each axle is mounted once at most, and all told."""
    brief = brief_of(name)
    played = opened_job(brief)
    while played.job.current is not None:
        go_on(played, brief)
    last = max(t.set_up for t in played.job.tasks)
    unit = brief.of.units[-1]
    axles = [axle.number for axle in brief.of.axles_of(unit)]
    topics = [f"axle/{n}/{at}" for n in axles for at in ("left/camber", "both/scrub", "left/toe")]
    for what in decide(played.job, Upset(tuple(topics), "the jack fell"), facts(played, brief)):
        played.tell(what)
    assert set(played.job.held) == set(topics) & {*played.job.found, *played.job.left}
    while played.job.current is not None:
        go_on(played, brief)
    assert not played.job.held
    mounted = [
        n for t in played.job.tasks if t.set_up > last and t.doing is Doing.MOUNT for n in t.axles
    ]
    assert len(mounted) == len(set(mounted))
    assert set(mounted) <= set(axles)
