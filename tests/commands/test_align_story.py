"""Hands that follow somebody else's lead: what they cannot do any more ends no practice."""

import asyncio
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

from ingest.commands.align_ears import StoryError
from ingest.commands.align_story import Story


class FakeEars:
    def __init__(self) -> None:
        self.job: dict[str, dict[str, Any]] = {
            "state": {"phase": "work"},
            "step": {"task": "s1-4", "doing": "sweep", "title": "sweep axle 1", "axles": "1"},
            "guidance": {"task": "s1-4", "asks": "job-done"},
        }

    async def until(self, holds: Callable[[], bool], within_s: float, what: str) -> None:
        assert holds()


def test_a_person_who_is_faster_than_the_hands_ends_no_practice():
    ears, said = FakeEars(), []

    class Followed(Story):
        async def _name_heads(self) -> None:
            pass

        def _begin(self, task: dict[str, Any]) -> None:
            pass

        async def _do(self, task: dict[str, Any]) -> tuple[str, str]:
            ears.job["state"] = {"phase": "over"}
            raise StoryError("not within 60 s: sweep axle 1")

    tell = SimpleNamespace(end=said.append)
    story = Followed(ears, None, None, tell, "practice")  # type: ignore[arg-type]
    asyncio.run(story.follow_lead())
    assert said == ["not within 60 s: sweep axle 1"]
