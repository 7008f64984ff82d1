"""A tape in a person's hands: how far two hubs, or a hub and a pin, are apart, as it is read."""

import numpy as np

from ingest.core.frames import Side
from ingest.simulator.adjusting.errors import NotAtHand
from ingest.simulator.truth import vehicle_truth
from ingest.simulator.vehicle import Vehicle, WheelAt

SIGMA_M = 0.001
"""Of a tape that is read with care."""
PIN = "P"


def station_of(wheel: WheelAt) -> str:
    """Return the id of a wheel."""
    return f"{'L' if wheel.side is Side.LEFT else 'R'}{wheel.axle}"


class Tape:
    """Reads distances on one vehicle. ``pin_m``: of its pin, in its own frame, where it has one."""

    def __init__(
        self,
        vehicle: Vehicle,
        pin_m: tuple[float, float, float] | None,
        random: np.random.Generator,
    ) -> None:
        self._vehicle = vehicle
        self._pin_m = pin_m
        self._random = random

    def read_m(self, at: str, to: str, now_s: float, sigma_m: float = SIGMA_M) -> float:
        """Return how far two stations are apart, m, as it is read with that standard error.

        Raises ``NotAtHand`` where the vehicle has no such station.
        """
        hubs = vehicle_truth(self._vehicle, now_s).wheels
        place = {station_of(wheel): np.array(hub.hub_m) for wheel, hub in hubs.items()}
        if self._pin_m is not None:
            place[PIN] = np.array(self._pin_m) @ self._vehicle.ramp.T
        missing = [each for each in (at, to) if each not in place]
        if missing:
            raise NotAtHand(f"this vehicle has no {missing[0]} to hold a tape to")
        apart_m = float(np.linalg.norm(place[to] - place[at]))
        return apart_m + sigma_m * float(self._random.normal())
