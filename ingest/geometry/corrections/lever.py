"""A rod on the end of a steering lever: what a change of its length turns.

Plan (or side) view: a lever of radius r that stands s0 away from square to the rod; swung by d,
its end has moved r (sin(s0 + d) - sin(s0)) along the rod.
"""

import math
from dataclasses import dataclass

from ingest.core.errors import MeasurementRefused
from ingest.core.units import DEG

LARGEST_RAD = 80.0 * DEG
"""Beyond this a lever is so near to dead centre that no rod should steer it."""


@dataclass(frozen=True, slots=True)
class Lever:
    """A lever of ``radius_m`` that now stands ``at_rad`` from square to its rod, positive in the
    direction in which a swing counts positive."""

    radius_m: float
    at_rad: float = 0.0

    def moved_m(self, swing_rad: float) -> float:
        """Return how far the end moves along the rod when the lever swings.

        Raises: ``MeasurementRefused`` (``dead-centre``) where the lever would not survive it.
        """
        end_rad = self.at_rad + swing_rad
        if abs(end_rad) > LARGEST_RAD:
            raise _dead_centre(abs(end_rad))
        return self.radius_m * (math.sin(end_rad) - math.sin(self.at_rad))

    def swung_rad(self, move_m: float) -> float:
        """Return the swing that a move of the end along the rod makes.

        Raises: ``MeasurementRefused`` (``dead-centre``).
        """
        sine = math.sin(self.at_rad) + move_m / self.radius_m
        if abs(sine) > math.sin(LARGEST_RAD):
            raise _dead_centre(math.asin(max(-1.0, min(1.0, abs(sine)))))
        return math.asin(sine) - self.at_rad


def _dead_centre(angle_rad: float) -> MeasurementRefused:
    return MeasurementRefused(
        "dead-centre",
        f"the lever would stand {angle_rad / DEG:.0f} deg from square to its rod, limit "
        f"{LARGEST_RAD / DEG:.0f} deg; check its radius, its angle and the measured value",
        figure=angle_rad / DEG,
        limit=LARGEST_RAD / DEG,
    )
