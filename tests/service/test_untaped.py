"""A tape to a pin holds as long as the hub at its other end stands where it stood."""

from itertools import combinations

import pytest

from ingest.commands.vehicle_source import shipped, vehicle_called
from ingest.core.frames import Side
from ingest.payload.vehicle_network import job_networks
from ingest.service.bayhead import Wheel
from ingest.service.network import NetworkSettings
from tools.rehearsal.bay import SimulatedBay


def taped(network):
    """Return the lines of all tapes that the trailer's network stands on."""
    part = network._parts[1]
    lines = [part.live.network.readings[place].line for place in part.tapes]
    return {frozenset((line.at, line.to)) for line in lines}


def test_an_axle_that_is_turned_at_takes_the_tapes_between_its_hubs_and_the_pin_along():
    network = SimulatedBay(5, "tractor-and-trailer").bay.network
    pins = {"P-L3": (5.19, 0.001), "P-R3": (5.19, 0.001)}
    vehicle = vehicle_called("tractor-and-trailer", None)
    network.load(NetworkSettings(job_networks(vehicle, pins)))
    before = taped(network)
    network.untaped(Wheel(4, Side.LEFT), "adjusted")
    assert taped(network) == before
    for side in Side:
        network.untaped(Wheel(3, side), "adjusted")
    assert before - taped(network) == {frozenset(line.split("-")) for line in pins}


@pytest.mark.parametrize("name", shipped())
def test_any_two_axles_of_a_unit_are_held_apart_by_their_wheelbase(name):
    """Else nothing but sightlines ties two axles far apart once those between are void."""
    vehicle = vehicle_called(name, None)
    pins = {f"P-{w.id}": (5.0, 0.001) for axle in vehicle.axles for w in axle.wheels}
    files = job_networks(vehicle, pins)
    assert len(files) == len(vehicle.units)
    for unit, file in zip(vehicle.units, files, strict=True):
        told = {
            frozenset((o.at, o.to)): o.distance_m for o in file.observations if o.type == "distance"
        }
        for one, other in combinations(vehicle.axles_of(unit), 2):
            for here, there in zip(one.wheels, other.wheels, strict=True):
                apart_m = abs(one.behind_m - other.behind_m)
                assert told[frozenset((here.id, there.id))] == pytest.approx(apart_m)
