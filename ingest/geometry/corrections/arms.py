"""Threaded torque arms and radius arms: the heading of an axle by their lengths."""

from dataclasses import dataclass

from ingest.core.frames import Side
from ingest.geometry.corrections import axle_ends
from ingest.geometry.corrections.axle_ends import Ends
from ingest.geometry.corrections.thread import Thread, turn
from ingest.geometry.corrections.wanted import Correction, Step, Wanted


@dataclass(frozen=True, slots=True)
class Arms:
    """Arms that lie along the vehicle; ``anchor_ahead`` where their frame ends lie ahead of the
    axle, so that a longer arm sends its end of the axle rearward."""

    ends: Ends
    thread: Thread
    anchor_ahead: bool
    name: str = "torque arm"


def correct_by_arms(wanted: Wanted, arms: Arms) -> Correction:
    """Turn an axle by ``wanted.change``: relative move B tan(change), turns = move / pitch.

    Raises: ``MeasurementRefused`` where the travel of an arm is not enough.
    """
    longer_is = -1.0 if arms.anchor_ahead else 1.0
    steps: list[Step] = []
    moved_m: dict[Side, float] = {}
    for side, move_m in arms.ends.moves_m(wanted.change).items():
        step, set_m = turn(f"{side} {arms.name}", arms.thread, longer_is * move_m, side=side)
        steps.append(step)
        moved_m[side] = longer_is * set_m
    found = axle_ends.outcome(wanted, arms.ends, moved_m)
    return Correction(tuple(steps), (found,), axle_ends.also(moved_m))
