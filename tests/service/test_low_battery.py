"""A head whose battery runs low says so; the bay tells a person before it falls silent.

That a person is warned at a tenth of the charge, and is not told anew at each percent, is common
practice of battery-powered instruments.
"""

from dataclasses import dataclass

import pytest

from ingest.service.wheelbench import LOW_PERCENT
from ingest.simulator.practice import Trouble
from tools.rehearsal.bay import SimulatedBay

FIRST_MINUTES_S = 180.0


@dataclass(frozen=True)
class Said:
    """A battery that says what a test says."""

    charge: int

    def percent(self, _t_s: float) -> int:
        return self.charge


def told(bay: SimulatedBay, seconds: float = 6.0) -> set[str]:
    """Return whose battery is low, as displays are told, a while later."""
    bay.advance(seconds)
    bay.bay.tick(seconds)
    root = bay.topics.alert("battery-")
    said = {topic: alert for topic, alert in bay.outlet.retained.items() if topic.startswith(root)}
    return {alert["head"] for alert in said.values()}


def test_whoever_practises_with_a_low_battery_is_told_within_the_first_minutes_of_a_job():
    bay = SimulatedBay(3, "rigid-4x2", troubles=[Trouble.LOW_BATTERY], rate_hz=10.0)
    assert bay.practice is not None
    _, empty = bay.practice.troubles[Trouble.LOW_BATTERY].split()
    assert told(bay) == set()
    assert told(bay, FIRST_MINUTES_S) == {empty}


@pytest.mark.parametrize("low", [LOW_PERCENT, 0])
def test_a_low_battery_is_told_once_until_it_was_charged_whatever_a_percent_does(low: int):
    bay = SimulatedBay(3, rate_hz=10.0)
    expected: set[str]
    head = bay.demo.heads["birch"]
    for charge, expected in (
        (LOW_PERCENT + 1, set()),
        (low, {"birch"}),
        (LOW_PERCENT + 1, {"birch"}),
        (low, {"birch"}),
        (90, set()),
    ):
        head.battery = Said(charge)  # type: ignore[assignment]
        assert told(bay) == expected, charge
    said = [payload for topic, payload, _, _ in bay.outlet.messages if "battery-" in topic]
    assert [bool(payload) for payload in said] == [True, False], "raised once, taken back once"
