"""The network that a vehicle supplies: its places, its lines, and what these determine."""

import math
from itertools import combinations

import pytest

from ingest.core.channels import Channel
from ingest.geometry.network.adjusting import designed
from ingest.geometry.network.results import results
from ingest.job.vehicle.network import Sighting, unit_network
from ingest.payload.network_file import NetworkFileError, parse_network_file
from ingest.payload.network_live import live_network_of
from ingest.payload.network_read import network_of
from ingest.payload.vehicle_network import network_file_of
from tests.job.vehicles import SHIPPED, vehicle


def of(name, unit=0, **more):
    whole = vehicle(name)
    return unit_network(whole, whole.units[unit], **more)


def lines(found, channel):
    readings = found.network.readings
    return {
        (readings[i].line.at, readings[i].line.to)
        for i, each in found.channels.items()
        if each is channel
    }


EVERY = [(name, i) for name in SHIPPED for i in range(len(vehicle(name).units))]


@pytest.mark.parametrize(("name", "unit"), EVERY)
def test_every_unit_of_a_shipped_vehicle_can_be_told(name, unit):
    """As a design (all heads on at once) its network leaves no result open."""
    file = network_file_of(of(name, unit), "a design")
    adjusted = designed(network_of(file, design=True))
    assert [r.quantity.label for r in results(adjusted) if r.measured is None] == []


def test_places_are_counted_from_the_last_axle_forward_and_to_the_left():
    found = of("tractor-and-trailer", 1).network
    assert (found.station("L3").x_m, found.station("L3").y_m) == pytest.approx((2.62, 1.05))
    assert (found.station("R5").x_m, found.station("R5").y_m) == pytest.approx((0.0, -1.05))
    assert (found.station("P").x_m, found.station("P").z_m) == pytest.approx((7.7, 0.48))
    assert found.wanted.centre_line == ("P", 4)
    assert found.wanted.drive_axles == ()


def test_no_head_is_asked_to_look_through_the_vehicle():
    found = of("rigid-8x4")
    assert {at for at, _ in lines(found, Channel.AZIMUTH_CROSS)} == {
        "L1",
        "R1",
        "L2",
        "R2",
        "L3",
        "R3",
    }
    assert ("L1", "L4") in lines(found, Channel.AZIMUTH_TRACK)
    assert found.network.blocked == {frozenset({"L4", "R4"})}


def test_set_ups_ask_for_the_lines_between_next_neighbours_alone():
    found = of("rigid-8x4", set_ups=[(1, 4), (4, 3, 1)])
    assert {line for line in lines(found, Channel.AZIMUTH_TRACK) if line[0][0] == "L"} == {
        ("L1", "L4"), ("L4", "L1"), ("L1", "L3"), ("L3", "L1"), ("L3", "L4"), ("L4", "L3"),
    }  # fmt: skip
    assert lines(of("rigid-8x4", set_ups=[]), Channel.AZIMUTH_TRACK) == set()


def test_ports_are_where_they_are_said_to_be():
    sighting = Sighting(cross_port_m=(0.6, 0.28), track_port_m=(0.0, 0.3))
    found = of("rigid-4x2", sighting=sighting)
    ports = {found.channels[i]: found.network.readings[i].line.at_port_m for i in found.channels}
    assert ports == {Channel.AZIMUTH_CROSS: (0.6, 0.28), Channel.AZIMUTH_TRACK: (0.0, 0.3)}


def test_its_file_says_the_same_as_the_network_and_fills_a_bay_once_it_is_taped():
    found = of("tractor-and-trailer", 1)
    file = network_file_of(found, "trailer")
    written = file.model_dump_json(exclude_defaults=True, by_alias=True)
    assert parse_network_file(written) == file
    with pytest.raises(NetworkFileError, match="no value and no channel"):
        live_network_of(file)
    place = {s.id: (s.x_m, s.y_m, s.z_m) for s in found.network.stations}
    tapes_m = {frozenset(ends): math.dist(*map(place.get, ends)) for ends in combinations(place, 2)}
    live = live_network_of(network_file_of(found, "trailer", tapes_m))
    assert live.channels == found.channels
    for ours, station in zip(found.network.stations, live.network.stations, strict=True):
        assert (station.id, station.axle, station.side) == (ours.id, ours.axle, ours.side)
        assert (station.x_m, station.y_m, station.z_m) == pytest.approx(place[ours.id])
        assert station.zero_sigma_rad == pytest.approx(ours.zero_sigma_rad)
