"""What a sweep alone can tell, as tasks of a job: caster, lock angles; and the drag link."""

import math
from dataclasses import replace

import pytest

from calibration.measured import Measured
from ingest.core.frames import Side
from ingest.job.brief.topics import locks, place_of, stale_by, swept
from ingest.job.course.acts import Back, Finish, Refused, Replan, Skip, Turn
from ingest.job.course.cautions import cautions
from ingest.job.course.deciding import decide
from ingest.job.course.events import Turning
from ingest.job.course.guidance import guide
from ingest.job.course.tasks import Doing
from ingest.job.limits.quantities import Quantity
from ingest.payload.examples import EXAMPLES
from ingest.payload.job import JobCaution
from tests.job.brief.test_brief import adjusting, brief_of, facts, go_on, opened_job, standing
from tests.job.course.playing import Played
from tests.job.vehicles import SHIPPED, vehicle

DEG = math.pi / 180.0
ORDER = ("axle_heading", "caster", "total_toe", "steering_wheel", "steer_parallelism", "lock_angle")
"""What moves others comes first (common practice)."""
CASTERS = ("axle/1/left/caster", "axle/1/right/caster")


def at(played: Played, brief, quantity: str, doing: Doing = Doing.ADJUST):
    """Go on, nothing being turned, to a task about a quantity of axle 1."""
    while (task := played.job.current) is not None:
        if (task.doing, task.quantity, task.axles) == (doing, quantity, (1,)):
            return task
        go_on(played, brief, turn=False)
    raise AssertionError(f"no {doing} of {quantity}")


def with_casters(played: Played, brief, degrees: float, right_less: float = 0.0):
    """Return a bay that reads such casters, and all else as it should be."""
    known = facts(played, brief)
    each = zip(CASTERS, (degrees, degrees - right_less), strict=True)
    read = {t: brief.judged(t, standing(deg * DEG, 1e-4, played.now)) for t, deg in each}
    return {**known.readings, **read}


def finish(played: Played, brief, readings=None) -> None:
    known = facts(played, brief)
    if readings is not None:
        known = type(known)(
            known.wheels, known.compensated, readings, stale=brief.stale, plan=brief.plan
        )
    for what in decide(played.job, Finish(played.job.current.id, "a reason"), known):
        played.tell(what)


def swept_job(degrees: float, right_less: float = 0.0):
    """Return a job at the caster of axle 1, which a sweep has found to be such."""
    brief = brief_of("rigid-4x2", "pellowmere-17")
    played = opened_job(brief)
    at(played, brief, "lock_angle", Doing.SWEEP)
    finish(played, brief, with_casters(played, brief, degrees, right_less))
    at(played, brief, "caster")
    return played, brief


def turn(played: Played, brief) -> Turning:
    task = played.job.current
    told = brief.advice_by_sweep(task, played.job)
    known = facts(played, brief)
    known = type(known)(
        known.wheels, known.compensated, known.readings, {task.topics[0]: told.text}, told.heed,
        told.fitted_rad, brief.stale, brief.plan,
    )  # fmt: skip
    (what,) = decide(played.job, Turn(task.id), known)
    played.tell(what)
    return what


@pytest.mark.parametrize("name", SHIPPED)
def test_each_quantity_comes_after_what_moves_it_and_says_why(name: str) -> None:
    tasks = opened_job(brief_of(name, "pellowmere-17", pairs=3)).job.tasks
    for axle in vehicle(name).axles:
        turned = [t for t in tasks if t.doing is Doing.ADJUST and t.axles == (axle.number,)]
        places = [ORDER.index(t.quantity) for t in turned if t.quantity in ORDER]
        assert places == sorted(places)
        assert all(t.why for t in turned)


def test_caster_is_proved_by_another_sweep_before_toe_is_set() -> None:
    tasks = opened_job(brief_of("rigid-4x2", "pellowmere-17")).job.tasks
    caster = next(i for i, t in enumerate(tasks) if t.quantity == "caster")
    doings = [t.doing for t in tasks[caster : caster + 6]]
    assert doings == [
        Doing.ADJUST,
        Doing.TIGHTEN,
        Doing.SETTLE,
        Doing.RESWEEP,
        Doing.SETTLE,
        Doing.ADJUST,
    ]
    assert tasks[caster + 3].topics == CASTERS
    assert tasks[caster + 5].quantity == "total_toe"


def test_what_no_limit_names_is_not_set_and_the_sweep_does_not_go_to_the_stops() -> None:
    """The general set has casters for steer axles, and no lock angle."""
    tasks = opened_job(brief_of("rigid-8x4", pairs=3)).job.tasks
    assert not [t for t in tasks if t.quantity == "lock_angle"]
    wedged = {t.axles for t in tasks if t.quantity == "caster" and t.doing is Doing.ADJUST}
    assert wedged == {(1,), (2,)}
    sweeps = [t for t in tasks if t.doing is Doing.SWEEP]
    assert {t.axles for t in sweeps} == {(1,), (2,)}
    assert all("axle/2/left/sai" in t.also for t in sweeps if t.axles == (2,))


def test_wedges_are_advised_from_the_sweep_and_the_next_advice_knows_what_is_in() -> None:
    """2.5 deg to 3.5: a wedge of 1 deg a side. Then 4.4: half a degree less, so 0.5 instead."""
    played, brief = swept_job(2.5)
    first = turn(played, brief)
    assert first.fitted_rad == pytest.approx((1.0 * DEG, 1.0 * DEG))
    assert [line.split(":")[0] for line in first.advice] == ["Left spring pad", "Right spring pad"]
    assert all("fit one wedge of 1.00 degrees, thick end to the rear" in s for s in first.advice)
    caster = played.job.current
    while played.job.current.doing is not Doing.RESWEEP:
        finish(played, brief)
    assert set(CASTERS) <= played.job.stale
    finish(played, brief, with_casters(played, brief, 4.05))
    assert not set(CASTERS) & played.job.stale
    for what in decide(played.job, Back(caster.id), facts(played, brief)):
        played.tell(what)
    second = turn(played, brief)
    assert all("take out the wedge of 1.00 degrees" in line for line in second.advice)
    assert all("fit one wedge of 0.50 degrees" in line for line in second.advice)
    assert second.fitted_rad == pytest.approx((0.5 * DEG, 0.5 * DEG))


def test_what_is_too_much_for_wedges_is_said_before_anything_else() -> None:
    """More than two degrees out is not for wedges (a maker's manual, see the corrections)."""
    played, brief = swept_job(0.5)
    heed = brief.advice_by_sweep(played.job.current, played.job).heed
    assert any("more than two degrees" in line for line in heed)


def test_all_that_is_to_be_heeded_is_published_none_of_it_cut_short() -> None:
    played, brief = swept_job(0.5, right_less=0.6)
    heed = brief.advice_by_sweep(played.job.current, played.job).heed
    assert len(heed) == 2
    told = guide(played.job, replace(facts(played, brief), heed=heed)).cautions
    text = "\n".join(told)
    told_on = JobCaution.model_validate(EXAMPLES["job-caution/1"].model_dump() | {"text": text})
    assert told_on.text == text
    assert set(heed) < set(told_on.text.splitlines())


def test_caster_that_is_stale_is_not_turned_at_before_it_is_swept_again() -> None:
    played, brief = swept_job(2.5)
    turn(played, brief)
    finish(played, brief)
    caster = next(t for t in played.job.tasks if t.quantity == "caster")
    for what in decide(played.job, Back(caster.id), facts(played, brief)):
        played.tell(what)
    with pytest.raises(Refused, match="only a sweep can tell it"):
        turn(played, brief)


def test_who_leaves_the_sweep_out_leaves_out_what_it_alone_can_tell() -> None:
    brief = brief_of("rigid-4x2", "pellowmere-17")
    played = opened_job(brief)
    sweep = at(played, brief, "lock_angle", Doing.SWEEP)
    for what in decide(played.job, Skip(sweep.id, "no turn plates"), facts(played, brief)):
        played.tell(what)
    while played.job.current is not None:
        assert played.job.current.doing is not Doing.RESWEEP
        assert played.job.current.is_seen
        go_on(played, brief)
    assert not played.job.held
    assert "axle/1/both/total-toe" in played.job.left


def test_wedges_that_were_fitted_are_proved_before_the_job_goes_on() -> None:
    played, brief = swept_job(2.5)
    turn(played, brief)
    while played.job.current.doing is not Doing.RESWEEP:
        finish(played, brief)
    resweep = played.job.current
    with pytest.raises(Refused, match="something was turned"):
        decide(played.job, Skip(resweep.id, "late already"), facts(played, brief))
    bare = facts(played, brief)
    outside = with_casters(played, brief, 2.0)
    known = type(bare)(bare.wheels, bare.compensated, outside, plan=brief.plan)
    with pytest.raises(Refused, match="outside its limit"):
        decide(played.job, Finish(resweep.id), known)


def test_a_new_plan_goes_on_with_what_is_not_yet_adjusted() -> None:
    """Caster is set, toe is not, and a sightline is lost: toe is set, caster not once more."""
    played, brief = swept_job(2.5)
    turn(played, brief)
    while played.job.current.quantity != "total_toe":
        finish(played, brief)
    act = Replan(("line L1-R1: a stand is in the way",))
    for what in decide(played.job, act, facts(played, brief)):
        played.tell(what)
    rest = [t for t in played.job.tasks if t.id not in played.job.marks]
    quantities = [t.quantity for t in rest if t.doing is Doing.ADJUST and t.axles == (1,)]
    assert quantities == ["total_toe", "steering_wheel", "lock_angle"]
    while played.job.current is not None:
        go_on(played, brief)
    assert not played.job.held


def test_the_stops_are_swept_again_once_the_rods_were_turned() -> None:
    """Turning angles are counted from straight ahead, which toe and drag link move."""
    axle = vehicle("rigid-4x2").axle(1)
    tasks = opened_job(brief_of("rigid-4x2", "pellowmere-17")).job.tasks
    lock = next(
        i for i, t in enumerate(tasks) if (t.doing, t.quantity) == (Doing.ADJUST, "lock_angle")
    )
    assert tasks[lock - 2].doing is Doing.RESWEEP
    for adjuster in axle.adjusters:
        if adjuster.quantity.value in ("total_toe", "steering_wheel", "caster"):
            assert set(locks(1)) <= set(stale_by(vehicle("rigid-4x2"), axle, adjuster.quantity))


def test_a_drag_link_is_set_by_where_the_axle_points_with_the_wheel_in_its_middle() -> None:
    """Wheels 0.3 deg to the left have to come right by that: a link that pushes to steer left
    gets shorter, by 220 mm * sin(0.3 deg) = 1.152 mm at the drop arm."""
    brief = brief_of("rigid-4x2", "pellowmere-17")
    task = adjusting(brief, 1, "steering_wheel", "axle/1/both/heading")
    (told,) = brief.advice(task, Measured.of(0.3 * DEG, 0.01 * DEG, source="noise"))
    assert told.startswith("Shorten the drag link by 1.15 mm")
    assert 220.0 * math.sin(0.3 * DEG) == pytest.approx(1.152, abs=5e-4)


def test_a_drag_link_is_set_wherever_there_is_one_and_what_comes_of_it_is_measured() -> None:
    """With two pairs the axles that it is told against have no heads on in the 6x4 and the 8x4."""
    for name in ("rigid-4x2", "rigid-6x4", "rigid-8x4"):
        tasks = opened_job(brief_of(name, "pellowmere-17", pairs=2)).job.tasks
        (turned,) = [t for t in tasks if t.quantity == "steering_wheel"]
        after = tasks[tasks.index(turned) :]
        left = next(t for t in after if t.doing is Doing.LEAVE and t.axles == turned.axles)
        assert "axle/1/both/heading" in left.topics


def test_guidance_for_wedges_is_safe_and_asks_for_the_right_thing() -> None:
    """Usual cautions (common workshop practice): stands, U-bolts to the maker's torque, no heat."""
    told = " ".join(cautions(Doing.ADJUST, "caster"))
    for word in ("stands", "U-bolts", "maker's torque", "Nothing is bent, heated"):
        assert word in told
    assert len("\n".join(cautions(Doing.ADJUST, "caster"))) <= 900
    played, brief = swept_job(2.5)
    assert "job-adjust" in guide(played.job, facts(played, brief)).asks
    turn(played, brief)
    finish(played, brief)
    assert "U-bolts" in guide(played.job, facts(played, brief)).text
    while played.job.current.doing is not Doing.RESWEEP:
        finish(played, brief)
    told = guide(played.job, facts(played, brief))
    assert told.asks[:2] == ("sweep-begin", "sweep-end")
    assert "job-skip" not in told.asks


def test_results_of_a_sweep_find_their_limits() -> None:
    of = vehicle("rigid-4x2")
    always, also = swept(1)
    places = {topic: place_of(of, topic) for topic in (*always, *also)}
    lock = places["axle/1/right/lock-angle"]
    assert lock is not None
    assert (lock.quantity, lock.side) == (Quantity.LOCK_ANGLE, Side.RIGHT)
    out = places["axle/1/both/toe-out-left"]
    assert out is not None
    assert (out.quantity, out.side) == (Quantity.TOE_OUT_ON_TURNS, Side.LEFT)
    assert places["axle/1/left/turning-angle-left"] is None


def test_whoever_turns_a_tie_rod_sweeps_again_where_no_stop_is_set_after_it() -> None:
    """Angles that were steered to as found are read anew while the heads are still on."""
    tasks = opened_job(brief_of("rigid-8x4", "pellowmere-17")).job.tasks
    turned = next(t for t in tasks if t.axles == (2,) and t.quantity == "steer_parallelism")
    after = [t.doing for t in tasks[tasks.index(turned) + 1 :]]
    assert after[: after.index(Doing.LEAVE)] == [
        Doing.TIGHTEN,
        Doing.SETTLE,
        Doing.RESWEEP,
        Doing.SETTLE,
    ]
