"""Where a run-out that was found is taken back, practising hands do as guidance says: turn again,
and seat the clamp anew where it slips again.

Ears and technician are played; which wheel lacks what is heard from the bay's own topics.
"""

import asyncio
from types import SimpleNamespace

import numpy as np
import pytest

from ingest.commands.align_asking import AGAIN
from ingest.commands.align_ears import StoryError
from ingest.commands.align_hands import Hands
from ingest.commands.align_story import Story
from ingest.core.frames import Side
from ingest.simulator.vehicle import WheelAt

TASK = {"task": "1-find", "title": "find", "doing": "find", "axles": "1+2", "results": ""}


class Slipping(Hands):
    """Hands on two axles; a clamp of axle 2 slips so often."""

    def __init__(self, ears, slips):
        super().__init__(None, None, None, ears, np.random.default_rng(1))
        self.left, self.done = slips, []
        for axle in (1, 2):
            for side in Side:
                name = f"{side.value}-{axle}"
                self._on[WheelAt(axle, side)] = name
                self._turned.add(name)
                ears.runouts[name] = "done"
        self.slip()

    def slip(self):
        if self.left:
            self.left -= 1
            self._ears.runouts["left-2"] = ""

    async def turn(self, axles):
        self.done.append(("turn", *axles))
        for wheel, name in self._on.items():
            if wheel.axle in axles:
                self._turned.add(name)
                self._ears.runouts[name] = "done"
        self.slip()

    async def _seat_anew(self, name, wheel):
        self.done.append(("seat", name))
        self._slipped.discard(name)

    async def settle(self, axles):
        self.done.append(("settle", *axles))


def story(slips):
    async def until(holds, within_s, what):
        assert holds(), what

    async def ask(command, **fields):
        pass

    ears = SimpleNamespace(runouts={}, until=until, ask=ask)
    hands, said = Slipping(ears, slips), []
    ready = {"task": "1-find", "ready": True}
    ears.job = {"guidance": ready, "caution": {}}
    tell = SimpleNamespace(begin=lambda text: None, end=said.append)
    told = Story(ears, hands, SimpleNamespace(job=None), tell, "ines")
    asyncio.run(told._work(TASK, why=""))
    return hands.done, said


def test_nothing_is_turned_again_where_no_clamp_slips():
    done, (said,) = story(0)
    assert done == []
    assert "again" not in said


def test_the_axle_whose_clamp_slipped_is_turned_again_and_settled_as_often_as_it_slips():
    done, (said,) = story(1)
    assert done == [("turn", 2), ("settle", 2)]
    assert said.count("turned again: axle 2") == 1
    assert "seated" not in said


def test_a_clamp_that_slips_again_is_seated_anew_before_its_wheel_is_turned():
    done, (said,) = story(3)
    turned = [("turn", 2), ("settle", 2)]
    assert done == [*turned, ("seat", "left-2"), *turned, *turned]
    assert said.count("turned again: axle 2") == 3
    assert said.count("left-2 seated anew") == 1


def test_a_clamp_that_never_holds_ends_the_practice_in_words():
    with pytest.raises(StoryError, match=f"slipped again after {AGAIN} further turns"):
        story(AGAIN + 1)
