"""The relay rod to a second steer axle: its wheels parallel to those of the first."""

from dataclasses import dataclass

from ingest.geometry.corrections.lever import Lever
from ingest.geometry.corrections.thread import Thread, turn
from ingest.geometry.corrections.wanted import Correction, Wanted


@dataclass(frozen=True, slots=True)
class RelayRod:
    """A rod from the relay lever to the steering arm of the second steer axle.

    ``arm`` is that steering arm, its angle from square to the rod counted positive the way that
    steering left swings it. ``left_pushes`` where the rod is pushed to steer left.
    """

    arm: Lever
    left_pushes: bool
    thread: Thread

    def length_change_m(self, heading_change_rad: float) -> float:
        """Return what the rod must grow by to steer the second axle's wheels to the left."""
        away_m = self.arm.moved_m(heading_change_rad)
        return away_m if self.left_pushes else -away_m

    def heading_change_rad(self, length_change_m: float) -> float:
        """Return how far to the left a longer rod steers the second axle's wheels."""
        return self.arm.swung_rad(length_change_m if self.left_pushes else -length_change_m)


def correct_by_relay_rod(wanted: Wanted, rod: RelayRod) -> Correction:
    """Steer the second axle by ``wanted.change``, the first axle and its linkage held.

    Raises: ``MeasurementRefused`` where rod or arm cannot do it.
    """
    step, set_m = turn("relay rod", rod.thread, rod.length_change_m(wanted.change))
    return Correction(
        (step,),
        (wanted.changed(rod.heading_change_rad(set_m)),),
        (
            "Set the total toe of both steer axles before this rod: it moves both wheels of the "
            "second axle together, and changes no toe.",
            "The second axle reaches its steering stops earlier on one side: check its lock "
            "angles.",
        ),
    )
