"""Steering stops: how far a wheel can be steered."""

import math
from dataclasses import dataclass

from ingest.core.frames import Side
from ingest.geometry.corrections.thread import Thread, turn
from ingest.geometry.corrections.wanted import Correction, Wanted


@dataclass(frozen=True, slots=True)
class SteeringStop:
    """A stop bolt that meets its pad square on, at ``radius_m`` from the steering axis, when
    the wheel is steered to ``side``; the pad's face lies in line with the steering axis."""

    radius_m: float
    side: Side
    thread: Thread

    def length_change_m(self, lock_change_rad: float) -> float:
        """Return what the bolt must stand out more: r tan(angle) for a smaller lock angle."""
        return -self.radius_m * math.tan(lock_change_rad)

    def lock_change_rad(self, length_change_m: float) -> float:
        """Return the change of the lock angle that a longer bolt brings."""
        return -math.atan(length_change_m / self.radius_m)


def correct_by_steering_stop(wanted: Wanted, stop: SteeringStop) -> Correction:
    """Change a lock angle by ``wanted.change``.

    Raises: ``MeasurementRefused`` where the bolt's travel is not enough.
    """
    step, set_m = turn(
        f"stop bolt for {stop.side} lock",
        stop.thread,
        stop.length_change_m(wanted.change),
        side=stop.side,
        longer="screw out",
        shorter="screw in",
    )
    return Correction(
        (step,),
        (wanted.changed(stop.lock_change_rad(set_m)),),
        (
            "At the new lock nothing may touch: check tyres, brake hoses and linkage at both "
            "locks, laden and unladen.",
            "Where the steering gear limits its pressure before the stops, set that again as its "
            "maker says.",
        ),
    )
