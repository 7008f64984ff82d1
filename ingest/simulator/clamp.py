"""How a head's clamp sits on a wheel: never square, never centred, and the same until removed."""

from dataclasses import dataclass

import numpy as np

from ingest.core.blocks import F64
from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.simulator.vectors import cross, dot, unit
from ingest.simulator.vehicle import WheelPose

RUNOUT_DEG = (0.2, 1.5)
ECCENTRICITY_MM = (0.0, 3.0)
STUB_M = 0.25


@dataclass(frozen=True, slots=True)
class Clamping:
    """One mounting of a clamp on a wheel; angles are measured in the wheel, from forward to up.

    The stub shaft leans by ``runout_rad`` from the spin axis towards ``runout_at_rad``; its
    foot stands ``eccentricity_m`` off the hub towards ``eccentricity_at_rad``; the encoder's
    disc sits at ``encoder_at_rad``. ``stub_m`` is the length from flange to head.
    """

    runout_rad: float = 0.0
    runout_at_rad: float = 0.0
    eccentricity_m: float = 0.0
    eccentricity_at_rad: float = 0.0
    encoder_at_rad: float = 0.0
    stub_m: float = STUB_M


@dataclass(frozen=True, slots=True)
class Shaft:
    """The stub shaft in the level world: the head's pivot, the shaft pointing left, and the
    encoder disc's zero, with the vector that completes (zero, left, third) right-handed."""

    pivot_m: F64
    left: F64
    zero: F64
    third: F64


def draw_clamping(random: np.random.Generator) -> Clamping:
    """Draw how a person happens to mount a clamp."""
    around = random.uniform(-np.pi, np.pi, 3)
    return Clamping(
        runout_rad=random.uniform(*RUNOUT_DEG) * DEG,
        runout_at_rad=float(around[0]),
        eccentricity_m=random.uniform(*ECCENTRICITY_MM) * 1e-3,
        eccentricity_at_rad=float(around[1]),
        encoder_at_rad=float(around[2]),
        stub_m=STUB_M,
    )


def place(clamping: Clamping, wheel: WheelPose, side: Side) -> Shaft:
    """Return where the stub shaft is when the wheel is there."""
    lean = _rim(wheel, clamping.runout_at_rad)
    left = np.cos(clamping.runout_rad) * wheel.left + np.sin(clamping.runout_rad) * lean
    mark = _rim(wheel, clamping.encoder_at_rad)
    zero = unit(mark - dot(mark, left)[:, None] * left)
    foot = wheel.hub_m + clamping.eccentricity_m * _rim(wheel, clamping.eccentricity_at_rad)
    pivot = foot + side.sign * clamping.stub_m * left
    return Shaft(pivot, left, zero, cross(zero, left))


def _rim(wheel: WheelPose, at_rad: float) -> F64:
    direction: F64 = np.cos(at_rad) * wheel.forward + np.sin(at_rad) * wheel.upward
    return direction
