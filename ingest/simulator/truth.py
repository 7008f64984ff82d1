"""What is true of the vehicle as it stands: the figures that a result is held against."""

from dataclasses import dataclass

import numpy as np

from ingest.core.frames import Side
from ingest.simulator.vehicle import Vehicle, WheelAt


@dataclass(frozen=True, slots=True)
class WheelTruth:
    """One wheel against gravity and the level vehicle frame, radians and metres.

    ``camber_to_ramp_rad`` is against the plane that the wheels stand on.
    """

    camber_rad: float
    toe_rad: float
    camber_to_ramp_rad: float
    hub_m: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class SteeringTruth:
    """One wheel's steering axis straight ahead, against gravity and against the ramp, radians."""

    caster_rad: float
    sai_rad: float
    caster_to_ramp_rad: float
    sai_to_ramp_rad: float


@dataclass(frozen=True, slots=True)
class AxleTruth:
    """One axle: heading counter-clockwise from the vehicle's X axis (positive to the left)."""

    total_toe_rad: float
    heading_rad: float


@dataclass(frozen=True, slots=True)
class VehicleTruth:
    """Every wheel and axle at one moment."""

    wheels: dict[WheelAt, WheelTruth]
    axles: dict[int, AxleTruth]


def vehicle_truth(vehicle: Vehicle, at_s: float) -> VehicleTruth:
    """Read the truth of all wheels at a moment: settled values where axles stand."""
    wheels = {wheel: wheel_truth(vehicle, wheel, at_s) for wheel in vehicle.wheels}
    axles = {}
    for number in vehicle.axles:
        left, right = wheels[WheelAt(number, Side.LEFT)], wheels[WheelAt(number, Side.RIGHT)]
        axles[number] = AxleTruth(
            total_toe_rad=left.toe_rad + right.toe_rad,
            heading_rad=(right.toe_rad - left.toe_rad) / 2.0,
        )
    return VehicleTruth(wheels, axles)


def wheel_truth(vehicle: Vehicle, wheel: WheelAt, at_s: float) -> WheelTruth:
    """Read the truth of one wheel at a moment."""
    pose = vehicle.wheel_pose(wheel, np.array([at_s]))
    side = wheel.side.sign
    out = side * pose.left[0]
    out_on_ramp = side * vehicle.to_vehicle(pose.left)[0]
    x, y, z = pose.hub_m[0]
    return WheelTruth(
        camber_rad=float(-np.arcsin(out[2])),
        toe_rad=float(np.arctan2(out[0], side * out[1])),
        camber_to_ramp_rad=float(-np.arcsin(out_on_ramp[2])),
        hub_m=(float(x), float(y), float(z)),
    )


def steering_truth(vehicle: Vehicle, wheel: WheelAt, at_s: float = 0.0) -> SteeringTruth:
    """Read the truth of one wheel's steering axis at a moment, its axle not rolled."""
    side, told = wheel.side.sign, []
    on_ramp = vehicle.steering_axis(wheel, np.array([at_s]))[0]
    for x, y, z in (vehicle.ramp @ on_ramp, on_ramp):
        told += [float(np.arctan2(-x, z)), float(np.arctan2(-side * y, z))]
    return SteeringTruth(*told)
