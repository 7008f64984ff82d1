"""What is true by the name under which it is measured, such as ``axle/1/left/camber``.

Angles in rad, lengths in m. Complex numbers in plan, X forward: nothing of what is tested is used.
"""

import cmath
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ingest.core.frames import Side
from ingest.simulator.adjusting.adjusters import Adjusters
from ingest.simulator.truth import WheelTruth, steering_truth, vehicle_truth
from ingest.simulator.vehicle import Vehicle, WheelAt

Topic = str


@dataclass(frozen=True, slots=True)
class Frame:
    """A rigid frame: its axles, front to rear, and what their headings are told against.

    ``line``: the axles whose middles the line runs through, the foremost first; ``pin_m``, in the
    vehicle's own frame, takes the place of that one where a pin draws the frame. ``leads``: whether
    thrust and the like of the whole vehicle are this frame's.
    """

    axles: tuple[int, ...]
    line: tuple[int, int]
    reference: int
    drive: tuple[int, ...] = ()
    steer: tuple[int, ...] = ()
    pin_m: tuple[float, float, float] | None = None
    leads: bool = True


def truth_by_topic(
    vehicle: Vehicle,
    frames: Sequence[Frame],
    at_s: float,
    adjusters: Adjusters | None = None,
    *,
    to_ramp: bool = False,
) -> dict[Topic, float]:
    """Return all that is true at a moment.

    ``to_ramp``: camber, caster and SAI against the plane that the wheels stand on, as a bay with a
    survey tells them; else against gravity. The steering wheel's and the stops' angles are known
    where ``adjusters`` are.
    """
    wheels = vehicle_truth(vehicle, at_s).wheels
    known = {
        f"axle/{wheel.axle}/{wheel.side}/camber": (
            true.camber_to_ramp_rad if to_ramp else true.camber_rad
        )
        for wheel, true in wheels.items()
    }
    for frame in frames:
        known |= network_truth(vehicle, frame, wheels)
    for axle in vehicle.axles.values():
        if axle.steered:
            known |= _steering(vehicle, axle.number, at_s, known, to_ramp=to_ramp)
    if adjusters is not None:
        known |= _adjusted(adjusters, known, wheels, at_s)
    return known


def network_truth(
    vehicle: Vehicle, frame: Frame, wheels: Mapping[WheelAt, WheelTruth]
) -> dict[Topic, float]:
    """Return what the sightline network of a frame should tell."""
    hub = {wheel: complex(*true.hub_m[:2]) for wheel, true in wheels.items()}
    middle = {a: sum(hub[WheelAt(a, side)] for side in Side) / 2.0 for a in frame.axles}
    ahead, behind = _ends(vehicle, frame, middle)
    line = cmath.phase(ahead - behind)
    toe = {w: t.toe_rad + w.side.sign * line for w, t in wheels.items() if w.axle in middle}
    heading = {a: (toe[WheelAt(a, Side.RIGHT)] - toe[WheelAt(a, Side.LEFT)]) / 2 for a in middle}
    known = {f"axle/{wheel.axle}/{wheel.side}/toe": each for wheel, each in toe.items()}
    for a in middle:
        left, right = (WheelAt(a, side) for side in Side)
        across = cmath.phase((hub[left] - hub[right]) * cmath.rect(1.0, -line))
        of_axle = {
            "heading": heading[a],
            "scrub": heading[a] - heading[frame.reference],
            "total-toe": toe[left] + toe[right],
            "setback": math.pi / 2.0 - across,
            "lateral-offset": ((middle[a] - behind) * cmath.rect(1.0, -line)).imag,
        }
        known |= {f"axle/{a}/both/{name}": value for name, value in of_axle.items()}
    return known | (dict(_whole(frame, heading)) if frame.leads else {})


def _ends(vehicle: Vehicle, frame: Frame, middle: Mapping[int, complex]) -> tuple[complex, complex]:
    """Return the ends of the line that a frame's headings are told against."""
    ahead, behind = frame.line
    if frame.pin_m is None:
        return middle[ahead], middle[behind]
    pin = np.array([frame.pin_m]) @ vehicle.ramp.T
    return complex(pin[0, 0], pin[0, 1]), middle[behind]


def _whole(frame: Frame, heading: Mapping[int, float]) -> Iterator[tuple[Topic, float]]:
    yield "vehicle/thrust", heading[frame.reference]
    if frame.drive:
        yield "vehicle/drive-heading", float(np.mean([heading[a] for a in frame.drive]))
    if len(frame.steer) > 1:
        one, other, *_ = frame.steer
        yield "vehicle/parallelism", heading[other] - heading[one]


def _steering(
    vehicle: Vehicle, axle: int, at_s: float, known: Mapping[Topic, float], *, to_ramp: bool
) -> dict[Topic, float]:
    """Return what a sweep of an axle should tell, and each side's camber beside the other's."""
    found: dict[str, dict[Side, float]] = {"caster": {}, "sai": {}, "camber": {}}
    for side in Side:
        true = steering_truth(vehicle, WheelAt(axle, side), at_s)
        found["caster"][side] = true.caster_to_ramp_rad if to_ramp else true.caster_rad
        found["sai"][side] = true.sai_to_ramp_rad if to_ramp else true.sai_rad
        found["camber"][side] = known[f"axle/{axle}/{side}/camber"]
    told = {}
    for side in Side:
        told[f"axle/{axle}/{side}/caster"] = found["caster"][side]
        told[f"axle/{axle}/{side}/sai"] = found["sai"][side]
        included = found["sai"][side] + found["camber"][side]
        told[f"axle/{axle}/{side}/included-angle"] = included
    for name, sides in found.items():
        told[f"axle/{axle}/both/cross-{name}"] = sides[Side.LEFT] - sides[Side.RIGHT]
    return told


def _adjusted(
    adjusters: Adjusters,
    known: Mapping[Topic, float],
    wheels: Mapping[WheelAt, WheelTruth],
    at_s: float,
) -> dict[Topic, float]:
    """Return the steering wheel's angle with the wheels along the centre line, and the locks."""
    told = {}
    for number, axle in adjusters.axles.items():
        if axle.linkage is not None and axle.linkage.steers_the_wheel:
            left = WheelAt(number, Side.LEFT)
            line = known[f"axle/{number}/left/toe"] - wheels[left].toe_rad
            told["vehicle/steering-wheel"] = adjusters.steering_wheel_rad(number, at_s, line)
        for side in axle.stops:
            told[f"axle/{number}/{side}/lock-angle"] = adjusters.lock_angle_rad(number, side, at_s)
    return told
