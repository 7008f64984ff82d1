"""A practice that leads by itself goes on, as a technician does, when something comes between.

The whole story in simulated time, on the bay's own service. What is right after a turn or a sweep
that broke off is what the bay itself says in words: begin it again. That a clamp which slips again
and again is taken off and seated anew is common practice.
"""

from typing import Any

import pytest

from ingest.commands.align_ears import Declined, GoneOn, StoryError
from ingest.commands.align_story import READ_AGAIN
from ingest.commands.align_turns import TURNS
from ingest.core.units import DEG
from ingest.simulator.practice import Trouble
from tools.rehearsal.practising import Practising

SEED, VEHICLE, LIMITS = 3, "rigid-4x2", "general"


class Enough(Exception):
    """What is to be seen was seen."""


class Times:
    """Does something at the first so many of a kind of asking."""

    def __init__(self, times: int, then: Any) -> None:
        self.left, self._then = times, then

    def __call__(self, practising: Practising, fields: dict[str, Any]) -> None:
        if self.left:
            self.left -= 1
            self._then(practising, fields)


def rehearsed(
    befall: dict[str, Any], troubles: tuple[Trouble, ...] = (Trouble.TOE,), *, sweeps: bool = False
) -> Practising:
    practising = Practising(SEED, VEHICLE, troubles, befall, sweeps=sweeps)
    practising.lead(LIMITS)
    return practising


def enough_at(doing: str) -> Any:
    """Return what ends a rehearsal when a task of a kind is finished."""

    def look(practising: Practising, _fields: dict[str, Any]) -> None:
        job = practising.jobs.job
        if job is not None and job.current is not None and job.current.doing == doing:
            raise Enough

    return look


def told(practising: Practising, begins: str) -> str:
    return next(line for line in practising.said.lines if line.startswith(begins))


def finished(practising: Practising) -> bool:
    job = practising.jobs.job
    return job is not None and job.closed is not None and job.closed.finished


@pytest.mark.parametrize("in_s", [1.0, 6.0], ids=["at its first stop", "at its third"])
def test_a_turn_whose_head_was_lost_is_begun_again_when_it_is_heard_again(in_s: float):
    lost = Times(1, lambda practising, fields: practising.lose(fields["head"], in_s, 4.0))
    practising = rehearsed({"turn-begin": lost})
    assert finished(practising)
    assert "broke off" in told(practising, "turn the wheels of axles")


def test_a_turn_that_breaks_off_every_time_ends_the_practice_in_words():
    lost = Times(99, lambda practising, fields: practising.lose(fields["head"], 1.0, 4.0))
    with pytest.raises(StoryError, match="broke off"):
        rehearsed({"turn-begin": lost})
    assert lost.left >= 99 - 2 * TURNS, "each side's wheels in turn, and no more"


def test_a_sweep_whose_head_was_lost_is_begun_again():
    lost = Times(1, lambda practising, fields: practising.lose("dogwood", 3.0, 4.0))
    befall = {"sweep-begin": lost, "job-done": enough_at("sweep")}
    practising = Practising(SEED, VEHICLE, (), befall, sweeps=True)
    with pytest.raises(Enough):
        practising.lead(LIMITS)
    assert practising.asked["sweep-begin"] == 2
    assert practising.ears.results["axle/1/left/caster"].q in ("good", "uncertain")


def left_out(practising: Practising, fields: dict[str, Any]) -> None:
    """Somebody at the page is faster, and leaves the task out."""
    reply = practising.ask_at_once("job-skip", task=fields["task"], reason="not today")
    assert reply.ok, reply.text


def test_an_adjustment_that_somebody_else_left_out_meanwhile_ends_nothing():
    practising = rehearsed({"job-adjust": Times(1, left_out)})
    assert finished(practising)
    assert sum("step is read again" in line for line in practising.said.lines) == 1


def test_what_holds_no_longer_when_it_is_finished_is_waited_for():
    """Between guidance that says ready and the asking a reading may be gone, and come back."""

    def lose(practising: Practising, fields: dict[str, Any]) -> None:
        job = practising.jobs.job
        if job is not None and job.current is not None and job.current.doing == "find":
            head = practising.bay.head("alder")
            practising.bay.bay.work.lost(head)
            missed.append(fields["task"])

    missed: list[str] = []
    practising = rehearsed({"job-done": lambda p, f: None if missed else lose(p, f)})
    assert len(missed) == 1
    assert finished(practising)


@pytest.mark.parametrize("times", [1, 2])
def test_a_clamp_that_slips_is_turned_again_and_seated_anew_where_it_slips_again(times: int):
    def slip(practising: Practising, fields: dict[str, Any]) -> None:
        job = practising.jobs.job
        assert job is not None
        if job.current is not None and job.current.doing == "settle" and not slipped:
            slipped.append(fields["task"])
            for again in range(times):
                practising.slip("cedar", 1.0 + 30.0 * again, 0.5 * DEG)

    slipped: list[str] = []
    practising = rehearsed({"job-done": slip})
    assert finished(practising)
    said = "\n".join(practising.said.lines)
    assert said.count("a clamp slipped") == times
    assert said.count("cedar seated anew") == times - 1 == practising.hands.cost.seated_anew


def test_who_only_ever_hears_of_another_step_gives_up_in_words():
    def other(practising: Practising, fields: dict[str, Any]) -> None:
        raise Declined("job-adjust", "out-of-order", "the job is at s9-9")

    with pytest.raises(GoneOn, match="s9-9"):
        rehearsed({"job-adjust": Times(READ_AGAIN + 1, other)})
