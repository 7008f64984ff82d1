"""Readings that cannot be: off by half a turn, in other units, or against the positions given.

The positions are approximate and a wheel points roughly forward, so only coarse faults show; they
are the ones that would send an adjustment astray.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from ingest.core.units import DEG
from ingest.geometry.network.observing import observing
from ingest.geometry.network.stations import Kind, Network, Reading
from ingest.geometry.network.unknowns import start_of, unknowns_of

HALF_TURN_RAD = 20.0 * DEG
"""So near a half turn off, a reading is taken for one counted from the wrong end."""

FARTHEST_RAD = 60.0 * DEG
"""No wheel is steered further than that, and no position given is so far off."""

FARTHEST_ANGLE_RAD = 90.0 * DEG
"""The same for an angle between two lines."""

RADIANS_RAD = 10.0 * DEG
NEAR_RATIO = 1.4
"""Of a distance to the positions' own: within it, a factor of units explains the rest."""

FARTHEST_RATIO = 2.0
NEAR_M = 0.5
"""So near, a short distance is not doubted, whatever its ratio to the positions' own."""

UNITS = {1000.0: "mm", 100.0: "cm", 1.0 / 0.0254: "inches", 1.0 / 0.3048: "feet"}


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with one reading, and what to do: ``index`` counts from 0 as in the file."""

    index: int
    reason: str


def first_fault(network: Network) -> Fault | None:
    """Return the first reading that cannot be, None where all can."""
    return _first(network, network.readings)


def first_odd_check(network: Network) -> Fault | None:
    """Return the first tape kept out of the network that cannot be, None where all can."""
    return _first(network, network.checks)


def _first(network: Network, every: Sequence[Reading]) -> Fault | None:
    unknowns = unknowns_of(network)
    readings = [replace(r, value=r.value or 0.0) for r in every]
    told, _ = observing(network, unknowns, readings).predict(start_of(network, unknowns))
    for i, (reading, expected) in enumerate(zip(every, told.tolist(), strict=True)):
        reason = _reason(network, reading, expected) if reading.used else None
        if reason is not None:
            return Fault(i, reason)
    return None


def _reason(network: Network, reading: Reading, expected: float) -> str | None:
    if reading.value is None:
        return None
    if not reading.is_angular:
        return _odd_distance(reading.value, expected) or _odd_sigma(reading.value, reading.sigma)
    loose = reading.kind is Kind.DIRECTION and not network.station(reading.line.at).is_wheel
    return None if loose else _odd_angle(reading, reading.value, expected)


def _odd_angle(reading: Reading, value_rad: float, expected_rad: float) -> str | None:
    expected_rad = math.remainder(expected_rad, math.tau)
    off = abs(math.remainder(value_rad - expected_rad, math.tau))
    against = f"it reads {value_rad / DEG:g} deg, the positions make {expected_rad / DEG:.1f}"
    if math.pi - off < HALF_TURN_RAD:
        return f"{reading.named()} is off by 180 deg: {against}; {_turned_remedy(reading)}"
    if off <= (FARTHEST_ANGLE_RAD if reading.kind is Kind.ANGLE else FARTHEST_RAD):
        return None
    in_rad = abs(math.remainder(value_rad / DEG - expected_rad, math.tau)) < RADIANS_RAD
    remedy = "is it in radians? degrees are wanted" if in_rad else "check it, its sign, at and to"
    return f"{reading.named()} is off by {off / DEG:.0f} deg: {against}; {remedy}"


def _turned_remedy(reading: Reading) -> str:
    if reading.kind is Kind.ANGLE:
        return "check its sign and which line it is counted from (counter-clockwise from above)"
    return "check its sign (counter-clockwise from above is positive), and at and to"


def _odd_distance(value_m: float, expected_m: float) -> str | None:
    ratio = value_m / expected_m if expected_m > 0.0 else math.inf
    if abs(value_m - expected_m) < NEAR_M or 1.0 / FARTHEST_RATIO <= ratio <= FARTHEST_RATIO:
        return None
    unit = next(
        (name for factor, name in UNITS.items() if _near(ratio / factor)),
        None,
    )
    remedy = f"is it in {unit}? m are wanted" if unit else "check it and the positions"
    return f"reads {value_m:g} m, the positions make {expected_m:.3f}; {remedy}"


def _odd_sigma(value_m: float, sigma_m: float) -> str | None:
    if sigma_m <= value_m:
        return None
    reason = f"sigma_m is {sigma_m:g}, more than the {value_m:g} m that were read"
    return f"{reason}; is it in mm? m are wanted"


def _near(ratio: float) -> bool:
    return 1.0 / NEAR_RATIO < ratio < NEAR_RATIO
