"""How far a wheel is steered, by a sightline from its head to a head that stands still.

The shaft's heading is the bearing of the sightline and the plan angle from it to the shaft. The
port swings about the kingpin as the wheel is steered, so that the bearing moves, too: by its share
across the line over the line's length, some 0.4 deg at 20 deg for a port close to the hub.
"""

import math
from dataclasses import dataclass

Place = tuple[float, float]
"""Forward and left, m."""

PASSES = 12
"""Each pass leaves the port's reach over the line's length of the error: 0.2 at the worst."""


@dataclass(frozen=True, slots=True)
class SteerLine:
    """A sightline of a steered wheel, seen from above and from its kingpin, straight ahead.

    ``port_m``: where it starts, on the head; ``to_m``: where it ends, on what stands still.
    ``straight_rad``: plan angle from the sightline to the shaft straight ahead, as it was read.
    """

    port_m: Place
    to_m: Place
    straight_rad: float

    def bearing_rad(self, steer_rad: float) -> float:
        """Return the bearing of the sightline with the wheel steered so."""
        c, s = math.cos(steer_rad), math.sin(steer_rad)
        ahead, left = self.port_m
        start = c * ahead - s * left, s * ahead + c * left
        return math.atan2(self.to_m[1] - start[1], self.to_m[0] - start[0])

    def steer_rad(self, plan_rad: float) -> float:
        """Return the change of the shaft's level heading, left positive, from a plan angle."""
        turned, straight = plan_rad - self.straight_rad, self.bearing_rad(0.0)
        steer = math.remainder(turned, math.tau)
        for _ in range(PASSES):
            steer = math.remainder(turned + self.bearing_rad(steer) - straight, math.tau)
        return steer

    def plan_rad(self, steer_rad: float) -> float:
        """Return the plan angle at a steering: ``steer_rad`` the other way."""
        moved = self.bearing_rad(steer_rad) - self.bearing_rad(0.0)
        return self.straight_rad + steer_rad - moved
