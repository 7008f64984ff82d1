"""Two invented vehicles of an invented haulier, each drawn anew from a seed."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from ingest.core.units import DEG
from ingest.simulator.obstacles import Box
from ingest.simulator.streams import stream
from ingest.simulator.vehicle import AxleBuild, Vehicle, WheelBuild

RAMP_TILT_DEG = 0.08
ROLL_PER_STEER = 0.002
"""How much a beam axle rolls as it is steered, rad per rad, for each degree of its caster: 0.16 deg
over 20 deg at a caster of 4."""


def rigid_8x4(seed: int) -> Vehicle:
    """Pellowmere 17, a rigid tipper with two steer and two drive axles.

    Its second steer axle is skewed; the cross sightline of the rearmost axle ends at the
    walking beam, and a tank stands under each side of the frame.
    """
    random = stream(seed, "rigid-8x4")
    skew = random.choice([-1.0, 1.0]) * random.uniform(0.25, 0.45)
    axles = (
        _steer(random, 1, x_m=6.57, heading_deg=random.uniform(-0.05, 0.05)),
        _steer(random, 2, x_m=4.62, heading_deg=skew),
        _drive(random, 3, x_m=1.37, heading_deg=random.uniform(-0.08, 0.08)),
        _drive(random, 4, x_m=0.0, heading_deg=random.uniform(-0.08, 0.08)),
    )
    beams = (
        Box("walking beam left", (0.45, 0.30, 0.30), (0.95, 0.55, 0.75)),
        Box("walking beam right", (0.45, -0.55, 0.30), (0.95, -0.30, 0.75)),
        Box("tank left", (2.30, 0.75, 0.45), (3.40, 1.20, 1.00)),
        Box("tank right", (2.30, -1.20, 0.45), (3.40, -0.75, 1.00)),
    )
    return _on_ramp("Pellowmere 17, rigid 8x4 tipper", axles, beams, random)


def tractor_and_trailer(seed: int) -> Vehicle:
    """Pellowmere 42, a two-axle tractor with a tri-axle trailer.

    The middle trailer axle's beam is bent: both its wheels lean in and toe out. Landing legs
    stand in the sightlines between tractor and trailer, and the middle and last trailer
    axles have no free line across.
    """
    random = stream(seed, "tractor-and-trailer")
    bent_deg = random.uniform(0.5, 0.9)
    axles = (
        _steer(random, 1, x_m=11.30, heading_deg=random.uniform(-0.05, 0.05)),
        _drive(random, 2, x_m=7.60, heading_deg=random.uniform(-0.1, 0.1)),
        _trailer(random, 3, x_m=2.62, heading_deg=random.uniform(-0.15, 0.15)),
        _trailer(random, 4, x_m=1.31, heading_deg=random.uniform(-0.15, 0.15), bent_deg=bent_deg),
        _trailer(random, 5, x_m=0.0, heading_deg=random.uniform(-0.15, 0.15)),
    )
    beams = (
        Box("landing leg left", (5.0, 0.80, 0.0), (5.3, 1.60, 1.20)),
        Box("landing leg right", (5.0, -1.60, 0.0), (5.3, -0.80, 1.20)),
        Box("hanger 4", (1.75, -0.60, 0.35), (2.05, 0.60, 0.90)),
        Box("hanger 5", (0.44, -0.60, 0.35), (0.74, 0.60, 0.90)),
    )
    return _on_ramp("Pellowmere 42, tractor with tri-axle trailer", axles, beams, random)


VEHICLES: dict[str, Callable[[int], Vehicle]] = {
    "rigid-8x4": rigid_8x4,
    "tractor-and-trailer": tractor_and_trailer,
}
"""The vehicles by name; the first is the flagship."""


def _on_ramp(
    name: str, axles: tuple[AxleBuild, ...], beams: tuple[Box, ...], random: np.random.Generator
) -> Vehicle:
    roll, pitch = random.uniform(-RAMP_TILT_DEG, RAMP_TILT_DEG, 2) * DEG
    return Vehicle(name, axles, beams, ramp_roll_rad=float(roll), ramp_pitch_rad=float(pitch))


def _steer(
    random: np.random.Generator, number: int, *, x_m: float, heading_deg: float
) -> AxleBuild:
    left, right = _wheels(random, heading_deg, total_toe_deg=(-0.1, 0.3), camber_deg=(-0.4, 0.9))
    caster, sai = random.uniform(2.5, 4.5), random.uniform(5.5, 7.5)
    left, right = (
        replace(
            wheel,
            caster_rad=(caster + random.uniform(-0.4, 0.4)) * DEG,
            sai_rad=(sai + random.uniform(-0.2, 0.2)) * DEG,
        )
        for wheel in (left, right)
    )
    return AxleBuild(
        number,
        x_m,
        _offset(random),
        2.04,
        0.50,
        heading_deg * DEG,
        left,
        right,
        steered=True,
        roll_per_steer=ROLL_PER_STEER * caster,
    )


def _drive(
    random: np.random.Generator, number: int, *, x_m: float, heading_deg: float
) -> AxleBuild:
    left, right = _wheels(random, heading_deg, total_toe_deg=(-0.1, 0.1), camber_deg=(-0.3, 0.2))
    return AxleBuild(
        number, x_m, _offset(random), 2.02, 0.50, heading_deg * DEG, left, right, dual=True
    )


def _trailer(
    random: np.random.Generator,
    number: int,
    *,
    x_m: float,
    heading_deg: float,
    bent_deg: float = 0.0,
) -> AxleBuild:
    toe = (-0.1 - bent_deg / 2.0, 0.1 - bent_deg / 2.0)
    camber = (-0.2 - bent_deg, 0.2 - bent_deg)
    left, right = _wheels(random, heading_deg, total_toe_deg=toe, camber_deg=camber)
    return AxleBuild(number, x_m, _offset(random), 2.10, 0.48, heading_deg * DEG, left, right)


def _wheels(
    random: np.random.Generator,
    heading_deg: float,
    *,
    total_toe_deg: tuple[float, float],
    camber_deg: tuple[float, float],
) -> tuple[WheelBuild, WheelBuild]:
    """Draw both wheels; axle heading = (toe right - toe left) / 2."""
    half_deg = random.uniform(*total_toe_deg) / 2.0
    cambers = random.uniform(*camber_deg, 2) * DEG
    left = WheelBuild(float(cambers[0]), (half_deg - heading_deg) * DEG)
    right = WheelBuild(float(cambers[1]), (half_deg + heading_deg) * DEG)
    return left, right


def _offset(random: np.random.Generator) -> float:
    return float(random.uniform(-0.006, 0.006))
