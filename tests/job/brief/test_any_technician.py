"""Whatever a technician asks for, in whatever order, on any vehicle: the job goes on, and ends.

Asked at random from a seed, legal or not; the vehicles are the shipped ones with their own plans.
"""

import random
from collections.abc import Iterator
from dataclasses import replace

import pytest

from ingest.job.brief.brief import JobBrief
from ingest.job.course.acts import (
    Act,
    Back,
    Close,
    Facts,
    Finish,
    Refused,
    Remark,
    Replan,
    Skip,
    Turn,
    Upset,
)
from ingest.job.course.deciding import decide
from ingest.job.course.events import Taped
from ingest.job.course.guidance import guide
from ingest.job.course.job import Phase
from ingest.job.course.making import replayed
from ingest.job.course.tasks import Doing
from tests.job.brief.test_brief import brief_of, facts, opened_job
from tests.job.course.playing import Played
from tests.job.vehicles import SHIPPED

ACTS = 120
REPLANS = ("adjust 1", "adjust 3: seized", "line L1-L2", "line R2-R3", "pairs 1", "adjust 99", "eh")
REASONS = ("", "  ", "it cannot be done today")


def any_act(draw: random.Random, played: Played) -> Act:
    """Draw what is asked for: mostly what comes next, sometimes anything."""
    job = played.job
    some = draw.choice([task.id for task in job.tasks] or ["s1-1"])
    task = job.current.id if job.current is not None and draw.random() < 0.8 else some
    topics = tuple(draw.sample(sorted(job.found), min(3, len(job.found))))
    return draw.choice(
        (
            *(Finish(task, draw.choice(REASONS)) for _ in range(8)),
            *(Turn(task) for _ in range(3)),
            Skip(task, draw.choice(REASONS)),
            Back(draw.choice(list(job.marks) or ["s1-1"])),
            Replan((draw.choice(REPLANS),) if draw.random() < 0.7 else ()),
            Upset(topics, "somebody leaned on it", draw.choice(("", "run-out")), 1, "left"),
            Remark(draw.choice(REASONS)),
            Close(),
        )
    )


def as_seen(draw: random.Random, played: Played, brief: JobBrief) -> Facts:
    """Return a bay in which all stands that is wanted, or, now and then, some of it does not."""
    whole = facts(played, brief)
    kept = {t: r for t, r in whole.readings.items() if draw.random() < 0.97}
    if draw.random() < 0.1:
        return replace(whole, readings={}, wheels=frozenset())
    outside = draw.random() < 0.3
    return replace(
        whole,
        readings={t: replace(r, decision="outside") if outside else r for t, r in kept.items()},
    )


def ask(played: Played, act: Act, seen: Facts) -> bool:
    """Ask for something; say whether it was done. A refusal is one line with what to do."""
    said = "done"
    try:
        for what in decide(played.job, act, seen):
            played.tell(what)
    except Refused as refused:
        said = refused.text
    assert len(said.splitlines()) == 1
    return said == "done"


def endings(played: Played) -> Iterator[Act]:
    """Yield what may end the present task, the usual first."""
    task = played.job.current
    if task is not None:
        yield Finish(task.id, "as near as it comes")
        yield Skip(task.id, "it cannot be done today")


def check(played: Played) -> None:
    job = played.job
    ids = [task.id for task in job.tasks]
    assert len(ids) == len(set(ids))
    assert replayed(played.events) == job


@pytest.mark.parametrize("name", SHIPPED)
@pytest.mark.parametrize("seed", range(6))
def test_every_job_can_be_closed_whatever_was_asked_of_it(name: str, seed: int) -> None:
    draw, brief = random.Random(f"{name} {seed}"), brief_of(name, pairs=2 + seed % 2)
    played = opened_job(brief)
    for _ in range(ACTS):
        if played.job.phase is Phase.OVER:
            break
        if draw.random() < 0.1:
            played.tell(Taped("P-L3", 5.2, 0.001, None, None, None))
        ask(played, any_act(draw, played), as_seen(draw, played, brief))
        guide(played.job, facts(played, brief))
    check(played)
    blind = replace(facts(played, brief), readings={}, wheels=frozenset(), compensated={})
    for _ in range(20 * len(played.job.tasks)):
        if played.job.current is None:
            break
        seen = blind if seed >= 3 else facts(played, brief)
        assert any(ask(played, act, seen) for act in endings(played)), played.job.current
    if played.job.phase is not Phase.OVER:
        assert ask(played, Close(), facts(played, brief))
    check(played)
    assert played.job.closed is not None
    assert all(played.job.unread.get(topic) for topic in played.job.stale & set(played.job.found))


@pytest.mark.parametrize("name", SHIPPED)
@pytest.mark.parametrize("seed", range(4))
def test_what_was_loosened_is_tightened_before_heads_move_on(name: str, seed: int) -> None:
    """The makers' rule for any fastening, whatever is redone, skipped or planned anew."""
    draw, brief = random.Random(f"loose {name} {seed}"), brief_of(name)
    played = opened_job(brief)
    loose: dict[int, int] = {}
    for _ in range(ACTS):
        task = played.job.current
        act = any_act(draw, played)
        if not ask(played, act, as_seen(draw, played, brief)) or task is None:
            continue
        if isinstance(act, Turn):
            loose |= dict.fromkeys(task.axles, task.set_up)
        if isinstance(act, Finish) and task.doing is Doing.TIGHTEN:
            loose = {axle: at for axle, at in loose.items() if axle not in task.axles}
        if isinstance(act, Finish | Skip) and task.doing is Doing.MOUNT:
            assert set(loose.values()) <= {task.set_up}, played.events[-1]
        if played.job.phase is Phase.OVER:
            assert not loose
            break
