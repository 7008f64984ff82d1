"""Which sightlines a network has once the last of its wheels rests: all, not those of one head."""

from dataclasses import dataclass, field
from itertools import permutations
from types import SimpleNamespace

import pytest

from ingest.core.channels import Channel
from ingest.core.frames import Side
from ingest.service.bayhead import Wheel
from ingest.service.networklines import Wanted
from ingest.service.wheelsights import WheelSights

WHEELS = [Wheel(axle, side) for axle in (1, 2) for side in Side]
"""Of a rigid vehicle of two axles: every wheel looks across, and along its side."""


@dataclass
class Lines:
    """A network that counts: which sightlines are read, and how many are when it is solved."""

    read_by_now: set = field(default_factory=set)
    told: list = field(default_factory=list)
    looks: int = 0

    def wanted(self, wheel):
        across, along = Channel.AZIMUTH_CROSS, Channel.AZIMUTH_TRACK
        partners = [
            each for each in WHEELS if (each.axle == wheel.axle) != (each.side is wheel.side)
        ]
        return [Wanted(0, across if p.axle == wheel.axle else along, p, 2.0) for p in partners]

    def settled(self, wheel, camber_rad):
        pass

    def standing_of(self, wheel):
        return 0

    def reads(self, wheel, wanted):
        return (wheel, wanted.to) in self.read_by_now

    def read(self, wheel, wanted, ends):
        self.looks += 1
        self.read_by_now.add((wheel, wanted.to))
        return True

    def tell(self, wheel, now_ns):
        self.told.append(len(self.read_by_now))


def bench(wheel):
    """Return a head whose wheel does not rest yet, its clamp's error known."""
    return SimpleNamespace(
        head=SimpleNamespace(wheel=wheel),
        turn=None,
        steered=None,
        settled=None,
        rest=None,
        fed_ns=1,
        lowered_ns=0,
        rest_since=lambda since_ns, least_s: SimpleNamespace(t_ns=1),
        sat=lambda rest, standing: SimpleNamespace(wheel=wheel),
    )


def rested(sights, each):
    each.settled, each.rest = object(), SimpleNamespace(t_ns=1)
    sights.settled(each, 0.0)


@pytest.mark.parametrize("order", list(permutations(range(4)))[::5])
def test_the_network_is_whole_once_its_last_wheel_rests(order):
    """Else, for a second, a heading is told that a few of the sightlines hardly determine."""
    network, benches = Lines(), [bench(wheel) for wheel in WHEELS]
    sights = WheelSights(network, benches, 0.2)
    for at in order:
        rested(sights, benches[at])
    assert len(network.read_by_now) == network.told[-1] == 8


def test_a_partner_s_sightline_that_is_live_is_not_read_anew_for_another_s_sake():
    network, benches = Lines(), [bench(wheel) for wheel in WHEELS]
    sights = WheelSights(network, benches, 0.2)
    for each in benches:
        rested(sights, each)
    before = network.looks
    rested(sights, benches[0])
    assert network.looks == before + 2


def test_nothing_is_read_of_a_partner_that_is_steered():
    network, benches = Lines(), [bench(wheel) for wheel in WHEELS]
    sights = WheelSights(network, benches, 0.2)
    benches[0].steered = object()
    for each in benches:
        rested(sights, each)
    assert len(network.read_by_now) == 4
    assert all(WHEELS[0] not in line for line in network.read_by_now)
