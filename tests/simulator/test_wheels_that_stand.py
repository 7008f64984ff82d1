"""A wheel that stands is worked out once; whatever moves it, it is where a fresh vehicle has it."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.simulator.fleet import VEHICLES
from ingest.simulator.floor import draw_floor
from ingest.simulator.motion import Track
from ingest.simulator.vehicle import Vehicle, WheelAt

WHEEL = WheelAt(1, Side.LEFT)
OTHER = WheelAt(1, Side.RIGHT)
BEFORE_S, AFTER_S = np.array([1.0, 1.1]), np.array([20.0, 20.1])
TRACKS: dict[str, Callable[[Vehicle], Track]] = {
    **{
        name: lambda vehicle, name=name: getattr(vehicle.wheel_state[WHEEL], name)
        for name in ("spin", "steer", "linked", "tip", "camber_give", "toe_give")
    },
    **{
        name: lambda vehicle, name=name: getattr(vehicle.axle_state[1], name)
        for name in ("lift", "roll", "turned", "ahead", "aside")
    },
    "the other wheel's steer": lambda vehicle: vehicle.wheel_state[OTHER].steer,
    "travel": lambda vehicle: vehicle.travel,
}


def built() -> Vehicle:
    vehicle = VEHICLES["rigid-8x4"](5)
    vehicle.axles[1] = replace(vehicle.axles[1], roll_per_steer=0.01)
    vehicle.floor = draw_floor(np.random.default_rng(5), 0.1 * DEG)
    return vehicle


def posed(vehicle: Vehicle, t_s: np.ndarray) -> np.ndarray:
    pose = vehicle.wheel_pose(WHEEL, t_s)
    each = (pose.hub_m, pose.forward, pose.left, pose.upward)
    return np.stack([np.broadcast_to(one, (t_s.size, 3)) for one in each])


@pytest.mark.parametrize("moves", TRACKS)
def test_whatever_moves_a_wheel_moves_it_after_it_stood(moves: str):
    stood, fresh = built(), built()
    before = posed(stood, BEFORE_S)
    for vehicle in (stood, fresh):
        TRACKS[moves](vehicle).move(10.0, 0.3, 1.0)
    assert np.array_equal(posed(stood, BEFORE_S), before), "it moves later"
    after = posed(stood, AFTER_S)
    assert np.array_equal(after, posed(fresh, AFTER_S))
    assert not np.array_equal(after, before)
    while_it_moves = np.linspace(9.9, 10.5, 7)
    assert np.array_equal(posed(stood, while_it_moves), posed(fresh, while_it_moves))


def test_a_track_rests_but_while_it_moves():
    track = Track(1.0)
    track.move(10.0, 2.0, 1.0)
    for begin_s, end_s, resting in (
        (0.0, 9.9, -1),
        (9.9, 10.0, None),
        (10.0, 10.5, None),
        (10.9, 11.2, None),
        (11.0, 30.0, 0),
        (9.0, 30.0, None),
    ):
        assert track.resting(np.array([begin_s, end_s])) == resting
