"""Hands that follow somebody else's lead: what they cannot do any more ends no practice."""

import asyncio
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

from ingest.commands.align_ears import StoryError
from ingest.commands.align_follow import Following


class FakeEars:
    """Hears what a test says; whoever waits in vain ends the test."""

    def __init__(self, task: str, doing: str, asks: str = "job-done") -> None:
        self.job: dict[str, dict[str, Any]] = {"state": {"phase": "work"}}
        self.sweep = ""
        self.to_stops = {1: True}
        self.at(task, doing, asks)

    def at(self, task: str, doing: str, asks: str = "job-done") -> None:
        self.job["step"] = {"task": task, "doing": doing, "title": doing, "axles": "1"}
        self.job["guidance"] = {"task": task, "asks": asks}

    def over(self) -> None:
        self.job["state"] = {"phase": "over"}

    def sweeping(self, axle: int) -> str:
        assert axle == 1
        return self.sweep

    async def until(self, holds: Callable[[], bool], within_s: float, what: str) -> None:
        assert holds(), f"nobody is wanted any more: {what}"


def followed(ears: FakeEars, act: Callable[[dict[str, Any]], str], hands: Any = None) -> list[str]:
    """Return what is told while hands follow; ``act`` stands for what they do."""
    said: list[str] = []

    class Followed(Following):
        async def _name_heads(self) -> None:
            pass

        def _begin(self, task: dict[str, Any]) -> None:
            pass

        async def _do(self, task: dict[str, Any]) -> tuple[str, str]:
            return act(task), ""

    tell = SimpleNamespace(end=said.append)
    story = Followed(ears, hands, None, tell, "practice")  # type: ignore[arg-type]
    asyncio.run(story.follow_lead())
    return said


def test_a_person_who_is_faster_than_the_hands_ends_no_practice():
    ears = FakeEars("s1-4", "find")

    def act(_task: dict[str, Any]) -> str:
        ears.over()
        raise StoryError("not within 60 s: find axle 1")

    assert followed(ears, act) == ["not within 60 s: find axle 1"]


def test_a_task_that_is_gone_back_to_is_done_again():
    ears, done = FakeEars("s1-1", "mount"), []

    def act(task: dict[str, Any]) -> str:
        done.append(task["task"])
        match done:
            case ["s1-1"]:
                ears.at("s1-2", "turn")
            case ["s1-1", "s1-2"]:
                ears.at("s1-1", "mount")  # "do again"
            case _:
                ears.over()
        return "done"

    followed(ears, act)
    assert done == ["s1-1", "s1-2", "s1-1"]


def test_a_sweep_is_steered_as_often_as_the_leader_begins_one_and_as_far_as_he_says():
    ears, steered = FakeEars("s1-3", "sweep"), []
    ears.sweep = "st-1"

    async def steer(axle: int, *, stops: bool) -> str:
        steered.append((ears.sweep, axle, stops))
        if ears.sweep == "st-1":
            ears.sweep = "st-2"  # the first was refused: he begins another
        else:
            ears.over()
        return "steered"

    def never(_task: dict[str, Any]) -> str:
        raise AssertionError("hands begin no sweep: whoever leads does")

    followed(ears, never, SimpleNamespace(steer=steer))
    assert steered == [("st-1", 1, True), ("st-2", 1, True)]
