"""Turning an axle by moving its ends forward and rearward.

Two adjusters stand B apart along the axle. A move of one end square to the axle, relative to
the other, turns the axle by delta where move = B tan(delta).
"""

import math
from dataclasses import dataclass

from ingest.core.frames import Side
from ingest.geometry.corrections.wanted import Outcome, Wanted
from ingest.geometry.corrections.words import lengthwise, millimetres

SMALLEST_M = 5e-6
"""A move that a text in hundredths of a millimetre would show as none."""


@dataclass(frozen=True, slots=True)
class Ends:
    """The adjusters of an axle: their distance, and which of them may be moved."""

    between_m: float
    sides: tuple[Side, ...]

    def moves_m(self, turn_rad: float) -> dict[Side, float]:
        """Return how far each free end moves forward; both share the move evenly.

        ``turn_rad`` is the change of heading: to the left sends the right end forward.
        """
        relative_m = self.between_m * math.tan(turn_rad)
        return {side: -side.sign * relative_m / len(self.sides) for side in self.sides}

    def turned_rad(self, moves_m: dict[Side, float]) -> float:
        """Return how far the axle turns to the left when its ends move forward so far."""
        relative_m = moves_m.get(Side.RIGHT, 0.0) - moves_m.get(Side.LEFT, 0.0)
        return math.atan(relative_m / self.between_m)


def outcome(wanted: Wanted, ends: Ends, moves_m: dict[Side, float]) -> Outcome:
    """Return the heading to expect once the ends have moved."""
    return wanted.changed(ends.turned_rad(moves_m))


def also(moves_m: dict[Side, float]) -> tuple[str, ...]:
    """Return what else happens when the ends of an axle are moved."""
    middle_m = math.fsum(moves_m.values()) / 2.0
    sentences = [
        "Where upper and lower rods hold the axle, move both rods of a side alike, or the axle "
        "tips, and the pinion of a driven one with it; check its angle."
    ]
    if abs(middle_m) > SMALLEST_M:
        sentences.insert(
            0,
            f"The middle of the axle moves {lengthwise(middle_m)} by {millimetres(middle_m)}; "
            "check tyre clearance and the distance to the next axle.",
        )
    return tuple(sentences)
