"""The order of work: what practice does, the rules that every plan keeps, and planning again."""

import re

import pytest

from ingest.core.frames import Side
from ingest.job.plan.plan import plan
from ingest.job.plan.progress import Cannot, Done, after
from ingest.job.plan.steps import Do
from ingest.job.plan.task import is_one
from ingest.job.vehicle.axles import Role, Wheel
from ingest.job.vehicle.reference import line_of
from tests.job.vehicles import SHIPPED, tables, vehicle, vehicle_of


def order(found, do=Do.MOUNT):
    return [axle for step in found.steps if step.do is do for axle in step.axles]


def track(one, other):
    return {frozenset((Wheel(one, side), Wheel(other, side))) for side in Side}


def with_heading(name, *numbers):
    """A shipped vehicle on which the heading of these axles can be set too."""
    found = tables(name)
    heading = tables("rigid-6x4")["axle"][1]["axle_heading"]
    for number in numbers:
        found["axle"][number - 1]["axle_heading"] = heading
    return vehicle_of(found)


def test_two_pairs_on_a_6x4_take_rear_drive_steer_forward_drive():
    """Common practice: three mountings, the rear drive axle first, steer toe last of all."""
    found = plan(vehicle("rigid-6x4"), 2)
    assert order(found) == [3, 1, 2]
    assert found.cost.mountings == 3
    assert order(found, Do.ADJUST) == [2, 1]


def test_a_rear_drive_axle_that_is_set_too_costs_the_forward_one_a_second_mounting():
    """The forward axle must be seen as found before the rear one is touched, and set after it.

    While the rear one is set to the centre line, both pairs are on the ends of that line.
    """
    found = plan(with_heading("rigid-6x4", 3), 2)
    assert (found.cost.mountings, found.cost.set_ups) == (4, 3)
    assert order(found, Do.ADJUST) == [3, 2, 1]
    assert plan(with_heading("rigid-6x4", 3), 3).cost.mountings == 3


EVERY = [(name, pairs) for name in SHIPPED for pairs in (2, 3, 4)]


def rules(whole, pairs, start=None):
    """Go through a plan step by step, and hold each to the rules; return where it ends."""
    done = start or Done()
    found = plan(whole, pairs, done)
    assert found.possible
    mountings = 0
    for step in found.steps:
        unit = whole.unit(step.unit)
        here = {axle.number for axle in whole.axles_of(unit)}
        reference = next(u.reference for u in found.units if u.unit == step.unit)
        line = {end for end in line_of(whole, unit, reference) if isinstance(end, int)}
        if step.do is Do.MOUNT:
            assert set(step.stay) <= done.mounted
            assert set(step.off) == done.mounted - set(step.stay)
            mountings += len(step.axles)
        before, done = done, after(whole, done, step)
        assert len(done.mounted) <= pairs
        assert is_one(whole, tuple(sorted(done.mounted & here)))
        if step.do is Do.ADJUST:
            (axle,) = step.axles
            assert axle in before.mounted
            told = here if axle == reference else {axle}
            assert told <= before.found
            if axle == reference and unit.kind.is_motor:
                assert line <= before.mounted
            elif axle != reference:
                assert reference in before.tied
                assert before.mounted & here - {axle}
                fixed = not whole.axle(reference).adjustable
                assert fixed or reference in before.left
            if whole.axle(axle).role.is_steered:
                others = {a.number for a in whole.axles_of(unit) if a.adjustable}
                others -= {a.number for a in whole.axles_of(unit) if a.role.is_steered}
                assert others <= before.left
            if whole.axle(axle).role is Role.SECOND_STEER:
                assert 1 in before.left
    assert mountings == found.cost.mountings
    return found, done


@pytest.mark.parametrize(("name", "pairs"), EVERY)
def test_every_step_of_every_plan_keeps_the_rules(name, pairs):
    whole = vehicle(name)
    _, done = rules(whole, pairs)
    assert done.found == {axle.number for axle in whole.axles}
    assert done.touched == {axle.number for axle in whole.axles if axle.adjustable}
    assert done.touched <= done.left
    assert plan(whole, pairs, done).steps == ()


@pytest.mark.parametrize(("name", "pairs"), [("rigid-8x4", 2), ("tractor-and-trailer", 2)])
def test_planning_again_on_the_way_costs_what_is_left_of_the_plan(name, pairs):
    whole, done = vehicle(name), Done()
    whole_plan = plan(whole, pairs)
    left = whole_plan.cost.mountings
    for step in whole_plan.steps:
        done = after(whole, done, step)
        left -= len(step.axles) if step.do is Do.MOUNT else 0
        again = plan(whole, pairs, done)
        assert again.possible
        assert again.cost.mountings == left
    assert left == 0


def test_a_seized_adjuster_is_planned_around_and_may_become_the_reference():
    whole = vehicle("rigid-8x4")
    found = plan(whole, 2, cannot=Cannot(seized=frozenset({3})))
    assert found.units[0].reference == 3
    assert 3 not in order(found, Do.ADJUST)
    assert found.possible


def test_work_that_was_begun_against_an_axle_goes_on_against_it():
    whole, done = vehicle("rigid-8x4"), Done(references=frozenset({4}))
    first = plan(whole, 2)
    for step in first.steps:
        done = after(whole, done, step)
        if step.do is Do.LEFT:
            break
    assert done.touched == {4}
    again = plan(whole, 2, done, Cannot(seized=frozenset({3})))
    assert again.units[0].reference == 4
    assert order(again, Do.ADJUST) == [1, 2]
    # Axle 3 is not adjusted, but what it is told against was: it is measured as left.
    assert 3 in order(again, Do.LEFT)


def test_a_pair_that_fails_on_the_way_costs_mountings_but_not_what_was_done():
    whole, done = vehicle("rigid-8x4"), Done()
    first = plan(whole, 3)
    for step in first.steps:
        done = after(whole, done, step)
        if step.do is Do.ADJUST:
            break
    down = Done(done.mounted - {3}, done.tied, done.found, done.touched, done.left)
    again = plan(whole, 2, down)
    assert again.possible
    assert again.steps[0].do is Do.LEFT
    assert order(again, Do.FOUND) == []
    with pytest.raises(ValueError, match="3 axles with heads on, and 2 pairs"):
        plan(whole, 2, done)


def test_a_blocked_line_is_gone_round_where_that_can_be():
    whole = vehicle("rigid-6x4")
    found = plan(whole, 2, cannot=Cannot(blocked=frozenset(track(1, 2))))
    # The forward drive axle is seen from the rear one; the steer axle must be mounted anew.
    assert found.possible
    assert found.cost.mountings == 4
    one_side = frozenset(list(track(1, 2))[:1])
    assert plan(whole, 2, cannot=Cannot(blocked=one_side)).cost.mountings == 3


def test_an_axle_touched_too_soon_is_planned_on_and_told():
    whole = vehicle("rigid-6x4")
    found = plan(whole, 2, Done(touched=frozenset({2})))
    assert found.units[0].missed == (2,)
    assert found.possible
    assert 2 in order(found, Do.LEFT)


PAIR = "another pair of heads"
LINES = {f"a free sightline from {side}1 to {side}3" for side in "LR"}
HIDDEN = track(1, 4) | track(2, 4) | track(3, 4)


@pytest.mark.parametrize(
    ("name", "pairs", "blocked", "reason", "helps"),
    [
        ("rigid-4x2", 1, set(), "the centre line needs heads on axles 1 and 2", {PAIR}),
        ("rigid-8x4", 1, set(), "joins both wheels of axle 4", {PAIR}),
        (
            "rigid-6x4",
            2,
            track(1, 3),
            "the centre line needs heads on axles 1 and 3",
            {PAIR} | LINES,
        ),
        ("rigid-8x4", 2, HIDDEN, "joins both wheels of axle 4", set()),
    ],
)
def test_what_cannot_be_planned_says_why_and_what_would_help(name, pairs, blocked, reason, helps):
    found = plan(vehicle(name), pairs, cannot=Cannot(blocked=frozenset(blocked)))
    assert not found.possible
    (unit,) = found.units
    assert reason in unit.hindrance.reason
    assert set(unit.hindrance.helps) == helps


def test_what_is_said_to_help_does():
    whole = vehicle("rigid-6x4")
    blocked = frozenset(track(1, 3))
    assert plan(whole, 3, cannot=Cannot(blocked=blocked)).possible
    for line in blocked:
        assert plan(whole, 2, cannot=Cannot(blocked=blocked - {line})).possible


def test_one_unit_that_cannot_be_done_does_not_hold_up_the_other():
    blocked = frozenset(track(3, 4) | track(4, 5))
    found = plan(vehicle("tractor-and-trailer"), 2, cannot=Cannot(blocked=blocked))
    assert [unit.hindrance is None for unit in found.units] == [True, False]
    assert order(found, Do.ADJUST) == [1]


def test_the_unit_with_heads_on_is_worked_first_and_heads_come_off_for_the_next():
    whole = vehicle("tractor-and-trailer")
    mounted = frozenset({3, 4})
    found = plan(whole, 2, Done(mounted=mounted, tied=mounted))
    assert [unit.unit for unit in found.units] == ["trailer", "tractor"]
    mounts = [step for step in found.steps if step.do is Do.MOUNT]
    tractor = next(step for step in mounts if step.unit == "tractor")
    assert set(tractor.off) <= {3, 4, 5}
    assert tractor.off


def test_what_is_not_known_yet_is_named_where_several_axles_are_measured():
    told = [step.text for step in plan(vehicle("rigid-8x4"), 3).steps if step.do is Do.FOUND]
    late = [text for text in told if "known once" in text]
    assert late
    for text in late:
        assert re.search(r" The heading(s of axles .* are| of axle \d is) known once ", text)
