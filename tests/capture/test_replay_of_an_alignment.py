"""A job that is led while a capture runs is replayed byte for byte, without a store."""

import pytest

from ingest.job.course.intake import ITEMS
from ingest.service.player import Player
from tests.capture.renaming import under_another_name
from tests.capture.test_replay_of_a_job import Job, Kept


@pytest.fixture(scope="module")
def led():
    """A job from its opening to a knock in its first adjustment; some requests are refused."""
    bay = Job(4, jobs=True)
    assert not bay.ask("job-done", task="s1-1")["ok"]
    assert not bay.ask("job-open", vehicle="unicorn", limits="general", order="W-1")["ok"]
    opened = {"vehicle": "tractor-and-trailer", "limits": "general", "order": "W-1"}
    assert bay.ask("job-open", **opened)["ok"]
    for item in ITEMS:
        assert bay.ask("job-check", item=item.id, state="ok")["ok"]
    assert bay.ask("job-begin")["ok"]
    bay.measure()
    while (step := bay.kept.last("job/step"))["doing"] != "find":
        if step["doing"] == "sweep":
            assert bay.ask("job-skip", task=step["task"], reason="no turn plates")["ok"]
        else:
            assert bay.ask("job-done", task=step["task"])["ok"]
    bay.advance(8.0)
    found = bay.ask("job-done", task=bay.kept.last("job/step")["task"])
    assert found["ok"], found
    assert bay.kept.last("job/step")["doing"] == "adjust"
    assert bay.ask("job-adjust", task=bay.kept.last("job/step")["task"])["ok"]
    bay.advance(2.0)
    assert bay.kept.last("job/live")["value"] is not None
    assert bay.ask("job-remark", text="rain on the plates")["ok"]
    assert bay.ask("job-events", since=3)["ok"]
    assert bay.ask("job-close", give_up="shift is over")["ok"]
    return bay


def test_a_replay_leads_the_same_job(led):
    heard = Kept()
    player = Player("capture", led.kept.records, heard)
    for record in player.records:
        player.play(record)
    assert (player.skipped, player.faults) == (0, 0)
    assert heard.said == under_another_name(led.kept.said)


def test_it_was_led_by_its_own_network_and_its_results_bear_it(led):
    toe = led.kept.last("axle/1/both/total-toe")
    assert toe["job"] == "w-1"
    assert led.kept.last("job/state")["finished"] is False
    assert led.kept.last("job/guidance")["asks"] == "job-open"
