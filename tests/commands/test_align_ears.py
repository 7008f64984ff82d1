"""A display beside a bay waits longer where the bay is late, and says so once."""

import asyncio

import pytest

from ingest.commands.align_ears import LATE_FOR_S, MOST, Ears, Lateness, StoryError
from ingest.commands.job_view import JobView
from ingest.outputs.settings import BrokerSettings
from ingest.payload.examples import EXAMPLES
from ingest.payload.topics import Topics


def test_patience_grows_with_how_late_readings_are_heard_and_ends_when_they_are_in_time_again():
    late = Lateness()
    assert late.patience(0.0) == 1.0
    for second in range(10):
        late.hear(float(second), 0.02)
    assert late.patience(9.5) == 1.0
    late.hear(10.0, 1.0)
    late.hear(10.5, 0.1)
    assert late.late_s(11.0) == 1.0
    assert late.patience(11.0) == pytest.approx(4.0)
    for second in range(11, 60):
        late.hear(float(second), 0.1)
    assert late.late_s(10.1 + LATE_FOR_S + 1.0) < 1.0


def test_a_bay_that_fell_silent_is_late_and_patience_has_an_end():
    late = Lateness()
    late.hear(0.0, 0.01)
    assert 1.0 < late.patience(3.0) <= MOST
    assert late.patience(1e4) == MOST


def test_a_wait_beside_a_late_bay_is_longer_and_said_once():
    said = []

    async def wait(late_s):
        ears = Ears(BrokerSettings(), Topics("bay"), said.append)
        loop = asyncio.get_running_loop()
        for _ in range(2):
            ears._lateness.hear(loop.time(), late_s)
            begun = loop.time()
            with pytest.raises(StoryError, match="never comes"):
                await ears.until(lambda: False, 0.02, "never comes")
        return loop.time() - begun

    asyncio.run(wait(0.01))
    assert said == []
    assert asyncio.run(wait(1.0)) >= 4 * 0.02
    assert len(said) == 1
    assert "1.0 s late" in said[0]


def test_a_run_out_that_is_taken_back_is_heard():
    """As published: a message while it stands, an empty one when the clamp is no more as it was."""
    topics, found = Topics("bay"), EXAMPLES["runout/1"]

    async def heard():
        ears, states = Ears(BrokerSettings(), topics), []
        for payload in (found.encode(), b""):
            ears._hear(topics.head_runout("alder"), payload, False)
            states.append(dict(ears.runouts))
        return states

    assert asyncio.run(heard()) == [{"alder": found.state}, {"alder": ""}]


ODD = [
    b"[]",
    b"null",
    b"7",
    b"{}",
    b"{",
    b"\xff",
    b'{"state": 3, "ms": "x"}',
    b"[" * 200_000,
    b'{"axle": {}}',
]
PLACES = [
    *("job/state", "job/step", "job/guidance", "job/live", "job/line-1", "job/odd"),
    *("head/alder/incl_y", "head/alder/sweep", "head/alder/runout", "head/alder/status"),
    *("axle/1/left/camber", "vehicle/thrust", "evt/button", "cmd/sweep-begin"),
]


@pytest.mark.parametrize("place", PLACES)
def test_an_odd_message_is_told_once_and_changes_nothing(place):
    said, topics = [], Topics("bay")

    async def heard():
        ears = Ears(BrokerSettings(), topics, said.append)
        for payload in ODD:
            ears._hear(f"{topics.root}/{place}", payload, False)
        return ears

    ears = asyncio.run(heard())
    assert not any((ears.job, ears.sweeps, ears.runouts, ears.statuses, ears.results, ears.pressed))
    assert len(said) == 1
    assert place in said[0]
    assert "\n" not in said[0]


def test_what_a_terminal_shows_of_a_job_takes_odd_messages_too():
    view, topics = JobView(Topics("bay")), Topics("bay")
    for place in PLACES:
        for payload in ODD:
            view.hear(f"{topics.root}/{place}", payload, True)
            view.as_text()
            view.as_json()
