"""What a part truly measures: nearly what its maker's drawing says.

Pitches are exact; levers and distances are off by up to 1 % (our own guess of castings and of what
people read off them), arms' angles by up to half a degree.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.simulator.adjusting.ends import (
    ArmEnd,
    EccentricEnd,
    End,
    HeldAxle,
    PackEnd,
    PinEnd,
)
from ingest.simulator.adjusting.parts import (
    Arm,
    BarPins,
    DragLink,
    Eccentrics,
    EndArms,
    EndParts,
    EndShims,
    RelayRod,
    TieRod,
)
from ingest.simulator.adjusting.screw import Screw
from ingest.simulator.adjusting.shelf import Pack, Shims
from ingest.simulator.adjusting.steering import (
    Holder,
    Knuckle,
    Linkage,
    drop_arm,
    hold_arm,
    tie_arm,
)
from ingest.simulator.vehicle import AxleBuild, Vehicle, WheelAt

OFF = 0.01
ARM_OFF_RAD = 0.5 * DEG
STEERING_ARM_M = (0.19, 0.23)
"""Of the knuckle that a drag link holds: no drawing here tells it."""
TIE_ARM = Arm(0.2, 8.0 * DEG)
"""Of a tie rod that nobody adjusts."""


@dataclass(frozen=True, slots=True)
class Stop:
    """A stop bolt: the knuckle's turn at which it meets its pad, as found, and its true radius."""

    screw: Screw
    radius_m: float
    first_rad: float

    def knuckle_rad(self) -> float:
        """Return the turn at which they meet: the pad's face points from the axis at the bolt."""
        return self.first_rad - float(np.arctan2(self.screw.moved_m, self.radius_m))


def near(random: np.random.Generator, drawn: float) -> float:
    """Return what a dimension truly is."""
    return drawn * (1.0 + float(random.uniform(-OFF, OFF)))


def true_arm(random: np.random.Generator, arm: Arm) -> Arm:
    """Return what a lever truly is."""
    off = float(random.uniform(-ARM_OFF_RAD, ARM_OFF_RAD))
    return Arm(near(random, arm.radius_m), arm.at_rad + off)


def held_axle(random: np.random.Generator, heading_rad: float, part: EndParts) -> HeldAxle:
    """Return an axle on its arms."""
    ahead = part.anchor_ahead if isinstance(part, EndArms) else True
    between_m = near(random, part.between_m)
    return HeldAxle(between_m, heading_rad, ahead, _ends(random, part))


def _ends(random: np.random.Generator, part: EndParts) -> Mapping[Side, End]:
    match part:
        case EndArms():
            return {side: ArmEnd(Screw(part.threads, random)) for side in Side}
        case Eccentrics():
            radius_m = near(random, part.radius_m)
            return {
                side: EccentricEnd(radius_m, part.range_rad, part.at_rad[side]) for side in Side
            }
        case EndShims():
            sign = 1.0 if part.forward else -1.0
            fitted = [size for pack in part.fitted_m.values() for size in pack]
            shims = Shims(part.stock_m, fitted, random)
            return {
                side: PackEnd(sign, Pack(shims, part.fitted_m[side], part.most_m)) for side in Side
            }
        case BarPins():
            true = {name: near(random, each) for name, each in part.forward_m.items()}
            return {side: PinEnd(true, part.at[side]) for side in Side}


def linkage(
    random: np.random.Generator,
    vehicle: Vehicle,
    axle: AxleBuild,
    tie: TieRod | None,
    held: DragLink | RelayRod | None,
) -> Linkage:
    """Return the linkage of a steer axle as built."""
    drawn = TIE_ARM if tie is None else tie.arm
    ahead = tie is not None and tie.ahead
    steering_arm = Arm(float(random.uniform(*STEERING_ARM_M)))
    if isinstance(held, RelayRod):
        steering_arm = true_arm(random, held.arm)
    pushes = held is None or held.left_pushes
    knuckles = {}
    for side in Side:
        axis = vehicle.built_axis(WheelAt(axle.number, side))
        out_m = side.sign * (axle.track_m / 2.0 - axle.kingpin_inset_m)
        line = np.array([[-np.sin(axle.heading_rad), np.cos(axle.heading_rad), 0.0]])
        knuckles[side] = Knuckle(
            side,
            out_m * line,
            axis,
            tie_arm(axis, side, true_arm(random, drawn), ahead=ahead),
            hold_arm(axis, steering_arm, left_pushes=pushes),
        )
    holder = None if held is None else _holder(random, knuckles[held.held], held)
    screw = None if tie is None else Screw(tie.threads, random)
    return Linkage(axle.heading_rad, knuckles, screw, holder)


def _holder(random: np.random.Generator, knuckle: Knuckle, part: DragLink | RelayRod) -> Holder:
    joint_m = knuckle.kingpin_m + knuckle.hold_arm_m
    arm, ratio = Arm(0.2), 0.0
    if isinstance(part, DragLink):
        arm, ratio = true_arm(random, part.arm), part.ratio
    lever = drop_arm(joint_m, arm, left_pushes=part.left_pushes)
    return Holder(Screw(part.threads, random), lever, part.held, ratio)
