"""The tie rod of a steer axle: total toe by its length."""

import math
from dataclasses import dataclass

from ingest.core.frames import Side
from ingest.geometry.corrections.lever import Lever
from ingest.geometry.corrections.thread import Thread, turn
from ingest.geometry.corrections.wanted import Correction, Wanted
from ingest.geometry.corrections.words import crosswise, degrees


@dataclass(frozen=True, slots=True)
class TieRod:
    """A rod between two equal steering arms.

    ``arm`` has the radius from steering axis to ball joint, and how far the arm now leans from
    lengthwise, positive where the ball joint lies nearer to the centre line than the steering
    axis. ``ahead`` where the rod lies ahead of the axle. ``held`` is the side whose wheel the
    drag link holds, None where it is not known.
    """

    arm: Lever
    ahead: bool
    thread: Thread
    held: Side | None = None

    def length_change_m(self, toe_change_rad: float) -> float:
        """Return what the rod must grow by for total toe to change, both wheels alike.

        Toe-in swings the ends of arms ahead of the axle inward, of arms behind it outward:
        r (sin(s0 + d) - sin(s0)) each, with d half the change of total toe.
        """
        inward_rad = (1.0 if self.ahead else -1.0) * toe_change_rad / 2.0
        return -2.0 * self.arm.moved_m(inward_rad)

    def toe_change_rad(self, length_change_m: float) -> float:
        """Return the change of total toe that a longer rod brings."""
        inward_rad = self.arm.swung_rad(-length_change_m / 2.0)
        return (2.0 if self.ahead else -2.0) * inward_rad


def correct_by_tie_rod(wanted: Wanted, rod: TieRod) -> Correction:
    """Change total toe by ``wanted.change``; turns = length / (sum of the pitches).

    Raises: ``MeasurementRefused`` where rod or arms cannot do it.
    """
    step, set_m = turn("tie rod", rod.thread, rod.length_change_m(wanted.change))
    change_rad = rod.toe_change_rad(set_m)
    found = wanted.changed(change_rad)
    return Correction((step,), (found,), _also(rod, change_rad))


def _also(rod: TieRod, change_rad: float) -> tuple[str, ...]:
    general = (
        "Keep the ball joints in line with each other when the clamps are tightened, and keep "
        "the maker's least length of thread in both ends."
    )
    if rod.held is None:
        return (
            "The toe of one wheel alone changes until the steering is centred: check the "
            "steering-wheel position.",
            general,
        )
    if math.isclose(change_rad, 0.0, abs_tol=1e-12):
        return (general,)
    # The held wheel keeps its heading, so the mean heading of both moves by half the change;
    # heading is -side * toe, and it is the other side's toe that changes.
    mean_rad = rod.held.sign * change_rad / 2.0
    way = "toe-in" if change_rad > 0 else "toe-out"
    return (
        f"The drag link holds the {rod.held} wheel: the {rod.held.other} wheel alone goes towards "
        f"{way}, by {degrees(change_rad)}. At the same steering-wheel position the wheels "
        f"then steer {degrees(mean_rad)} further to the {crosswise(mean_rad)}: set the drag link "
        "afterwards.",
        general,
    )
