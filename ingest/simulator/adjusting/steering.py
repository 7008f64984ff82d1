"""The steering linkage of one axle: both knuckles, the rod between them, the rod that holds one.

Coordinates: the axle's middle as built, axes of the vehicle. Knuckles turn about their own inclined
steering axes, and go along when the axle turns, moves or is tipped by wedges; gear and relay lever
stay where the frame holds them. All joints are points, all rods distances (``lever``).
"""

import math
from dataclasses import dataclass, field

import numpy as np

from ingest.core.blocks import F64
from ingest.core.frames import Side
from ingest.simulator.adjusting.lever import Lever, distance_m
from ingest.simulator.adjusting.parts import Arm
from ingest.simulator.adjusting.screw import Screw
from ingest.simulator.vectors import UP, turn_about, unit

LINK_M = 0.9
"""From the gear, or the relay lever, back to the knuckle's arm."""


@dataclass(frozen=True, slots=True)
class AxlePose:
    """How an axle stands against how it was built; tips are rearward leans, left and right."""

    turned_rad: float = 0.0
    ahead_m: float = 0.0
    aside_m: float = 0.0
    tips_rad: dict[Side, float] = field(default_factory=lambda: dict.fromkeys(Side, 0.0))


@dataclass(frozen=True, slots=True)
class Knuckle:
    """One knuckle as built: steering axis at hub height, arms of the tie rod and of the holder."""

    side: Side
    kingpin_m: F64
    axis: F64
    tie_arm_m: F64
    hold_arm_m: F64

    def lever(self, pose: AxlePose, arm_m: F64, line: F64) -> Lever:
        """Return one arm as a lever, where the axle is now; ``line`` is the axle's own."""
        tip = np.array([-pose.tips_rad[self.side]])
        turned = np.array([pose.turned_rad])
        axis, arm = (turn_about(UP, turned, turn_about(line, tip, v)) for v in (self.axis, arm_m))
        moved = np.array([[pose.ahead_m, pose.aside_m, 0.0]])
        return Lever(turn_about(UP, turned, self.kingpin_m) + moved, axis, arm)


@dataclass(frozen=True, slots=True)
class Holder:
    """What holds the knuckle on side ``held``: a rod from a lever that the gear keeps in place.

    ``ratio``: turns of the steering wheel for one of that lever; 0 for a relay lever.
    """

    screw: Screw
    lever: Lever
    held: Side
    ratio: float


class Linkage:
    """The linkage of one steer axle; rods that nobody adjusts have the length as built."""

    def __init__(
        self,
        heading_rad: float,
        knuckles: dict[Side, Knuckle],
        tie: Screw | None,
        holder: Holder | None,
    ) -> None:
        self._line = np.array([[-math.sin(heading_rad), math.cos(heading_rad), 0.0]])
        self._knuckles = knuckles
        self.tie, self.holder = tie, holder
        self._held = Side.LEFT if holder is None else holder.held
        built = AxlePose()
        left, right = (self._tie_lever(side, built).end_m(0.0) for side in Side)
        self._tie_m = distance_m(left, right)
        if holder is not None:
            self._link_m = distance_m(self._hold_lever(built).end_m(0.0), holder.lever.end_m(0.0))

    def turned(self, pose: AxlePose) -> dict[Side, float]:
        """Return how far each knuckle is turned about its axis against how it was built.

        Raises: ``Stuck`` where the linkage cannot close.
        """
        holder, held = self.holder, 0.0
        if holder is not None:
            link_m = self._link_m + holder.screw.moved_m
            held = self._hold_lever(pose).swing_to(holder.lever.end_m(0.0), link_m)
        fixed_m = self._tie_lever(self._held, pose).end_m(held)
        rod_m = self._tie_m + (0.0 if self.tie is None else self.tie.moved_m)
        other = self._tie_lever(self._held.other, pose).swing_to(fixed_m, rod_m)
        return {self._held: held, self._held.other: other}

    def steering_wheel(self, pose: AxlePose, held_rad: float) -> float:
        """Return how far to the left the steering wheel stands with the held knuckle there."""
        holder = self.holder
        if holder is None:
            return 0.0
        link_m = self._link_m + holder.screw.moved_m
        knuckle = self._hold_lever(pose).end_m(held_rad)
        return holder.ratio * holder.lever.swing_to(knuckle, link_m)

    @property
    def steers_the_wheel(self) -> bool:
        """Whether its holder is a drag link, which the steering wheel moves."""
        return self.holder is not None and self.holder.ratio > 0.0

    @property
    def held(self) -> Side:
        """The side whose knuckle is held."""
        return self._held

    def _tie_lever(self, side: Side, pose: AxlePose) -> Lever:
        knuckle = self._knuckles[side]
        return knuckle.lever(pose, knuckle.tie_arm_m, self._line)

    def _hold_lever(self, pose: AxlePose) -> Lever:
        knuckle = self._knuckles[self._held]
        return knuckle.lever(pose, knuckle.hold_arm_m, self._line)


def square_to(axis: F64, direction: F64, length_m: float) -> F64:
    """Return an arm of some length square to an axis, as nearly in a direction as can be."""
    along = (direction * axis).sum() * axis
    return length_m * unit(direction - along)


def tie_arm(axis: F64, side: Side, arm: Arm, *, ahead: bool) -> F64:
    """Return the arm that the tie rod's joint sits on: lengthwise, leaning inward."""
    forward = math.cos(arm.at_rad) if ahead else -math.cos(arm.at_rad)
    inward = -side.sign * math.sin(arm.at_rad)
    return square_to(axis, np.array([[forward, inward, 0.0]]), arm.radius_m)


def hold_arm(axis: F64, arm: Arm, *, left_pushes: bool) -> F64:
    """Return the arm that a rod from ahead holds: across, to the left where left pushes.

    Steering left swings an end that lies to the left rearward, away from the gear.
    """
    across = 1.0 if left_pushes else -1.0
    way = np.array([[-across * math.sin(arm.at_rad), across * math.cos(arm.at_rad), 0.0]])
    return square_to(axis, way, arm.radius_m)


def drop_arm(joint_m: F64, arm: Arm, *, left_pushes: bool) -> Lever:
    """Return the gear's arm, hanging, its end level with a joint and ``LINK_M`` ahead of it.

    A positive swing steers left: it moves the end rearward where that pushes, else forward.
    """
    way = -1.0 if left_pushes else 1.0
    hanging = np.array([[way * math.sin(arm.at_rad), 0.0, -math.cos(arm.at_rad)]])
    end_m = joint_m + np.array([[LINK_M, 0.0, 0.0]])
    axis = np.array([[0.0, -way, 0.0]])
    return Lever(end_m - arm.radius_m * hanging, axis, arm.radius_m * hanging)
