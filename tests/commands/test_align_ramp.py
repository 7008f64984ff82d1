"""A simulated bay holds one vehicle: it is offered first, and no other is opened."""

import asyncio
from contextlib import closing
from types import SimpleNamespace

import numpy as np
import pytest

from ingest.commands.align_bay import USUAL
from ingest.commands.align_ears import StoryError
from ingest.commands.align_hands import Hands
from ingest.commands.align_ramp import RampShop, standing_first
from ingest.commands.demo_rig import draw_heads
from ingest.commands.job_offers import Offers
from ingest.commands.job_shop import Shop
from ingest.commands.practice_vehicle import practice_on
from ingest.commands.vehicle_source import vehicle_called
from ingest.job.course.acts import Refused
from ingest.payload.job_cmd import JobOpen
from ingest.store.database import open_database


def test_what_stands_on_the_ramp_is_offered_first_and_nothing_is_left_out():
    with closing(open_database(":memory:")) as store:
        plain = Offers(store).now()
        offered = standing_first(Offers(store).now, "rigid-4x2", "general")()
    assert plain.vehicles[0][0] != "rigid-4x2"
    assert offered.vehicles[0][0] == "rigid-4x2"
    assert offered.limit_sets[0][0] == "general"
    assert sorted(offered.vehicles) == list(plain.vehicles)
    assert sorted(offered.limit_sets) == list(plain.limit_sets)


def test_another_vehicle_than_stands_on_the_ramp_is_refused_in_a_line_that_names_the_right_one():
    with closing(open_database(":memory:")) as store:
        shop = RampShop(Shop(store), "rigid-4x2")

        def ask(vehicle: str) -> JobOpen:
            return JobOpen(id="c-1", vehicle=vehicle, limits="general", order="W-1")

        assert shop.take(ask("rigid-4x2")).vehicle_id == "rigid-4x2"
        with pytest.raises(Refused, match="rigid-4x2") as refused:
            shop.take(ask("dolly-and-trailer"))
    assert refused.value.code == "unknown-vehicle"
    assert "\n" not in refused.value.text


def test_hands_say_in_words_that_there_is_nothing_to_hold_a_tape_to():
    """A rigid vehicle has no pin."""
    clock = lambda: 0.0  # noqa: E731
    practice = practice_on(vehicle_called("rigid-4x2", None), 1, USUAL, clock, draw_heads(1))
    ears = SimpleNamespace(job={"guidance": {"lacks": "P-L2"}})
    demo = SimpleNamespace(now_s=clock)
    hands = Hands.__new__(Hands)
    hands._practice, hands._ears, hands._demo = practice, ears, demo  # type: ignore[assignment]
    hands._random = np.random.default_rng(1)
    with pytest.raises(StoryError, match="P-L2: this vehicle has no P"):
        asyncio.run(hands.tape())
