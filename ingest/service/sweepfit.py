"""From what two heads read in a steering sweep to the results of their axle.

The fit tells the noise of the sweep. What calibration leaves open of heads and plates, and of where
straight ahead is, is common to all readings and is carried through the fit, to the other wheel as
well where the axle's roll joins them; the kingpins' play is assumed. Angles are to gravity, rad.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from calibration.measured import Measured
from ingest.core.errors import MeasurementRefused
from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.geometry.sweep.fit import fit_axle
from ingest.geometry.sweep.readings import Sweep, SweepLimits
from ingest.geometry.sweep.steering import Steering
from ingest.geometry.sweep.turning import SteeredAxle, toe_out_on_turns
from ingest.service.sweptopen import Errors, errors_of, left_open
from ingest.service.sweptwheel import SweptWheel

SWEEP = "steering sweep"
PLAY = "assumed play of the kingpins"


@dataclass(frozen=True, slots=True)
class SweepSettings:
    """How steering sweeps are made and fitted."""

    target_deg: float = 20.0
    """How far the wheels are steered to each side."""
    axle_roll: bool = True
    """Fit the roll of a beam axle; without it caster is up to 0.5 deg low on one."""
    play_deg: float = 0.03
    """What the kingpins' play leaves open in caster and SAI (standard uncertainty), assumed."""
    max_u_deg: float = 0.15
    """Largest standard uncertainty of caster and SAI that the noise of a sweep may leave."""
    straight_deg: float = 0.3
    """How well the wheels are straight ahead where no network tells their toe (standard
    uncertainty), assumed."""
    kingpin_m: float = 0.22
    u_kingpin_m: float = 0.08
    """How far inboard of the hub's face the kingpin passes at its height, and how well that is
    known (from memory of heavy steer axles): a head's port swings about it, and where a sightline
    tells the steering, 30 mm are worth 0.1 deg of caster."""

    def __post_init__(self) -> None:
        if not (5.0 <= self.target_deg <= 60.0 and self.max_u_deg > 0.0):
            raise ValueError("target_deg is 5 to 60, max_u_deg above 0")
        if not min(self.play_deg, self.straight_deg, self.kingpin_m, self.u_kingpin_m) >= 0.0:
            raise ValueError("play_deg, straight_deg and the kingpin's place are not below 0")


@dataclass(frozen=True, slots=True)
class SweptSide:
    """What a sweep told of one wheel. ``sai`` is None where ``steering`` says why."""

    side: Side
    steering: Steering
    caster: Measured
    sai: Measured | None
    camber: Measured
    turned: dict[Side, Measured]
    """How far it was steered, by the side turned to, where it was seen all the way."""


@dataclass(frozen=True, slots=True)
class SweptAxle:
    """What a sweep told of an axle; ``toe_out`` by the side that was turned to.

    ``stops``: its wheels were steered to their stops, as far as that was seen.
    """

    sides: dict[Side, SweptSide]
    toe_out: dict[Side, Measured]
    stops: bool = False


def fit_swept(wheels: dict[Side, SweptWheel], settings: SweepSettings) -> SweptAxle:
    """Fit both wheels of an axle. Raises ``MeasurementRefused``."""
    wheels = {side: wheels[side].seen_with(wheels[side.other]) for side in Side}
    sweeps = {side: _sweep(wheels[side], wheels[side.other]) for side in Side}
    left, right = (sweeps[side] for side in Side)
    most_rad = settings.max_u_deg * DEG
    limits = SweepLimits(u_rad=most_rad, u_rolling_rad=most_rad)
    both = {s.side: s for s in fit_axle(left, right, limits=limits, roll=settings.axle_roll)}
    errors = {side: errors_of(both[side], wheels[side], sweeps[side]) for side in Side}
    sides = {side: _side(both[side], wheels[side], errors, settings) for side in Side}
    return SweptAxle(sides, dict(_toe_out(wheels, sides)))


def _sweep(own: SweptWheel, other: SweptWheel) -> Sweep:
    if not (own.rows and len(own.t_ns) and len(other.t_ns)):
        raise MeasurementRefused(
            "too-few-positions",
            f"no reading of the {own.side.value} or the other wheel's steering could be used",
            figure=0.0,
            limit=1.0,
        )
    steer = np.array([_number(row.steer_rad) for row in own.rows])
    tilts = [row.incl_x_rad for row in own.rows]
    across = other.steer_at(np.array([row.time_ns for row in own.rows]))
    return Sweep(
        own.side,
        steer,
        np.array([row.incl_y_rad for row in own.rows]),
        None if any(tilt is None for tilt in tilts) else np.array(tilts, dtype=np.float64),
        toe_rad=own.toe.value,
        by_plate=own.by.by_plate,
        roll_by_rad=(steer + across) / 2.0,
    )


def _side(
    steering: Steering,
    wheel: SweptWheel,
    errors: dict[Side, Errors],
    settings: SweepSettings,
) -> SweptSide:
    found = steering.whole
    if found is None:
        raise MeasurementRefused(
            "too-few-positions", "nothing checks the readings; sweep again", figure=0.0, limit=1.0
        )
    open_, play_rad = left_open(steering, errors), settings.play_deg * DEG
    caster = found.caster + open_[0] + _play(play_rad)
    sai = None if found.sai is None else found.sai + open_[1] + _play(play_rad)
    names = frozenset((SWEEP, wheel.instrument.correction.stands_on))
    turned = {}
    for side in Side:
        steer_rad = wheel.reached_rad(side)
        if math.isnan(steer_rad):
            continue
        there = side.sign * steer_rad
        angle = abs(float(wheel.headings(steering, np.array([there]))[0]))
        turned[side] = _standing_on(_read(wheel, there) * side.sign + angle, names)
    return SweptSide(
        wheel.side,
        steering,
        _standing_on(caster, names),
        None if sai is None else _standing_on(sai, names),
        wheel.camber,
        turned,
    )


def _standing_on(measured: Measured, names: frozenset[str]) -> Measured:
    return replace(measured, stands_on=measured.stands_on | names)


def _play(u_rad: float) -> Measured:
    if u_rad == 0.0:
        return Measured.exact(0.0)
    return Measured.of(0.0, u_rad, source=PLAY, stands_on=(PLAY,))


def _read(wheel: SweptWheel, steer_rad: float) -> Measured:
    """Return what one reading of a steering may be off by, rad, positive to the left."""
    scatter = Measured.of(0.0, wheel.by.u_rad, source=f"steering read, {wheel.side.value}")
    return wheel.by.left_open(wheel.instrument, steer_rad) + scatter


def _toe_out(
    wheels: dict[Side, SweptWheel], sides: dict[Side, SweptSide]
) -> Iterator[tuple[Side, Measured]]:
    """Yield toe-out on turns, where both wheels were steered so far, read at the same moments."""
    left = wheels[Side.LEFT]
    across = wheels[Side.RIGHT].steer_at(left.t_ns)
    seen = np.isfinite(across)
    read = {Side.LEFT: left.steer_rad[seen], Side.RIGHT: across[seen]}
    turns = [wheels[side].headings(sides[side].steering, read[side]) for side in Side]
    axle = SteeredAxle(turns[0], turns[1])
    records = {wheel.instrument.correction.stands_on for wheel in wheels.values()}
    for inner in Side:
        found = toe_out_on_turns(axle, inner)
        if found is not None:
            at = {inner: found.inner_rad, inner.other: found.outer_rad}
            off = {side: _read(wheels[side], inner.sign * at[side]) * inner.sign for side in Side}
            told = off[inner] - off[inner.other] + found.toe_out_rad
            yield inner, _standing_on(told, frozenset(records | {SWEEP}))


def _number(value: float | None) -> float:
    return math.nan if value is None else value
