"""How far both wheels of an axle are steered, by two heads that see each other across it.

The heading of each shaft is the bearing of the line between the two ports and the plan angle from
it to the shaft. Both ports swing about their kingpins, so that the line turns too, the same way as
the wheels: by some 0.4 of their steering, which neither head sees. What both read gives one
equation in how far the line has turned.
"""

import math
from dataclasses import dataclass

from ingest.geometry.sweep.sighted import Place

PASSES = 8
"""Newton's; each squares the error, from 0.2 rad at the worst."""
DONE_RAD = 1e-13

Pair = tuple[float, float]
"""Of the one wheel and of the other."""


@dataclass(frozen=True, slots=True)
class CrossLine:
    """The line between the ports of two steered wheels, seen from above, straight ahead.

    ``ports_m``: each from its own kingpin; ``apart_m``: the other kingpin from the first;
    ``straight_rad``: plan angles from the line to each shaft straight ahead, as they were read.
    """

    ports_m: tuple[Place, Place]
    apart_m: Place
    straight_rad: Pair

    def steer_rad(self, plan_rad: Pair) -> Pair:
        """Return the change of both shafts' level headings, left positive, from plan angles."""
        own, other = (
            math.remainder(now - then, math.tau)
            for now, then in zip(plan_rad, self.straight_rad, strict=True)
        )
        straight, turned = self._bearing((0.0, 0.0))[0], 0.0
        for _ in range(PASSES):
            bearing, slope = self._bearing((own + turned, other + turned))
            step = (math.remainder(bearing - straight, math.tau) - turned) / (1.0 - slope)
            turned += step
            if abs(step) < DONE_RAD:
                break
        return own + turned, other + turned

    def plan_rad(self, steer_rad: Pair) -> Pair:
        """Return the plan angles at a steering of both: ``steer_rad`` the other way."""
        moved = self._bearing(steer_rad)[0] - self._bearing((0.0, 0.0))[0]
        turned = math.remainder(moved, math.tau)
        own, other = (a + b for a, b in zip(self.straight_rad, steer_rad, strict=True))
        return own - turned, other - turned

    def _bearing(self, steer_rad: Pair) -> Pair:
        """Return the line's bearing, and how fast it turns as both wheels turn alike."""
        (x, y), (u, v) = (_turned(*each) for each in zip(self.ports_m, steer_rad, strict=True))
        ahead, left = self.apart_m[0] + u - x, self.apart_m[1] + v - y
        swung = ahead * (u - x) + left * (v - y)
        return math.atan2(left, ahead), swung / (ahead**2 + left**2)


def _turned(place_m: Place, by_rad: float) -> Place:
    c, s = math.cos(by_rad), math.sin(by_rad)
    return c * place_m[0] - s * place_m[1], s * place_m[0] + c * place_m[1]
