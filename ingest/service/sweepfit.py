"""From what two heads read in a steering sweep to the results of their axle.

The fit tells the noise of the sweep. What calibration leaves open of a head is common to all its
readings and is carried through the fit; so are the plate's scale, straight ahead, and the play of
the kingpins, which is assumed. All angles are to gravity here, rad.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from calibration.measured import Measured, Part, Source
from ingest.core.blocks import F64, I64
from ingest.core.channels import Channel
from ingest.core.errors import MeasurementRefused
from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.geometry.sweep.fit import fit_axle
from ingest.geometry.sweep.guided import SweepReading
from ingest.geometry.sweep.motion import AXIS, TAN_CASTER, TAN_SAI, UNKNOWNS, heading_change
from ingest.geometry.sweep.readings import Sweep, SweepLimits, SweepTerms
from ingest.geometry.sweep.steering import Steering
from ingest.geometry.sweep.turning import INNER_RAD, SteeredAxle, furthest, toe_out_on_turns
from ingest.service.instrument import Instrument

SWEEP = "steering sweep"
PLAY = "assumed play of the kingpins"
PLATE_RAD = 0.02 * DEG
"""How well a reading of a turn plate repeats, beside what calibration leaves open of it (ours)."""


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
    """Largest standard uncertainty of caster and SAI that a sweep may leave."""
    straight_deg: float = 0.3
    """How well the wheels are straight ahead where no network tells their toe (standard
    uncertainty), assumed."""

    def __post_init__(self) -> None:
        if not (5.0 <= self.target_deg <= 60.0 and self.max_u_deg > 0.0):
            raise ValueError("target_deg is 5 to 60, max_u_deg above 0")
        if not min(self.play_deg, self.straight_deg) >= 0.0:
            raise ValueError("play_deg and straight_deg are not below 0")


@dataclass(frozen=True, slots=True)
class SweptWheel:
    """One wheel as it was swept.

    ``rows`` were kept; ``t_ns`` and ``plate_rad`` (m,) are the plate all along. ``toe`` is that of
    the shaft straight ahead, ``camber`` that of the wheel as it stood there.
    """

    side: Side
    instrument: Instrument
    rows: tuple[SweepReading, ...]
    t_ns: I64
    plate_rad: F64
    toe: Measured
    camber: Measured
    degc: float

    def plate_at(self, t_ns: I64) -> F64:
        """Return the plate at other times."""
        return np.interp(t_ns.astype(np.float64), self.t_ns.astype(np.float64), self.plate_rad)

    @property
    def scale(self) -> float:
        """Standard uncertainty of the plate's scale, over the steering that was reached."""
        far = max(float(np.abs(self.plate_rad).max(initial=0.0)), DEG)
        name = Channel.STEER.value
        ends = [self.instrument.left_open(name, {name: at}) for at in (far, 0.0)]
        return (ends[0] - ends[1]).u / far


@dataclass(frozen=True, slots=True)
class SweptSide:
    """What a sweep told of one wheel. ``sai`` is None where ``steering`` says why."""

    side: Side
    steering: Steering
    caster: Measured
    sai: Measured | None
    camber: Measured
    turned: dict[Side, Measured]


@dataclass(frozen=True, slots=True)
class SweptAxle:
    """What a sweep told of an axle; ``toe_out`` by the side that was turned to."""

    sides: dict[Side, SweptSide]
    toe_out: dict[Side, Measured]


def fit_swept(wheels: dict[Side, SweptWheel], settings: SweepSettings) -> SweptAxle:
    """Fit both wheels of an axle. Raises ``MeasurementRefused``."""
    left, right = (_sweep(wheels[side], wheels[side.other]) for side in Side)
    zero_rad = max(wheel.toe.u for wheel in wheels.values())
    scale = max(wheel.scale for wheel in wheels.values())
    terms = SweepTerms(zero_rad=zero_rad, scale=scale)
    most_rad = settings.max_u_deg * DEG
    limits = SweepLimits(u_rad=most_rad, u_rolling_rad=most_rad)
    both = fit_axle(left, right, terms=terms, limits=limits, roll=settings.axle_roll)
    sides = {s.side: _side(s, wheels[s.side], scale, settings.play_deg * DEG) for s in both}
    return SweptAxle(sides, dict(_toe_out(wheels, sides, scale)))


def _sweep(own: SweptWheel, other: SweptWheel) -> Sweep:
    if not (own.rows and len(own.t_ns) and len(other.t_ns)):
        raise MeasurementRefused(
            "too-few-positions",
            f"no reading of the {own.side.value} or the other wheel's plate could be used",
            figure=0.0,
            limit=1.0,
        )
    steer = np.array([_number(row.steer_rad) for row in own.rows])
    tilts = [row.incl_x_rad for row in own.rows]
    across = other.plate_at(np.array([row.time_ns for row in own.rows]))
    return Sweep(
        own.side,
        steer,
        np.array([row.incl_y_rad for row in own.rows]),
        None if any(tilt is None for tilt in tilts) else np.array(tilts, dtype=np.float64),
        toe_rad=own.toe.value,
        by_plate=True,
        roll_by_rad=(steer + across) / 2.0,
    )


def _side(steering: Steering, wheel: SweptWheel, scale: float, play_rad: float) -> SweptSide:
    found = steering.estimates
    if found is None:
        raise MeasurementRefused(
            "too-few-positions", "nothing checks the readings; sweep again", figure=0.0, limit=1.0
        )
    open_ = _left_open(steering, wheel)
    caster = found.caster + open_[0] + _play(play_rad)
    sai = None if found.sai is None else found.sai + open_[1] + _play(play_rad)
    names = frozenset((SWEEP, wheel.instrument.correction.stands_on))
    turned = {}
    for side, plate_rad in zip(Side, furthest(wheel.plate_rad), strict=True):
        angle = abs(float(_headings(steering, wheel, np.array([side.sign * plate_rad]))[0]))
        source = Source(f"turn plate, {wheel.side.value}")
        turned[side] = Measured.of(
            angle, math.hypot(PLATE_RAD, scale * angle), source=source, stands_on=names
        )
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


def _left_open(steering: Steering, wheel: SweptWheel) -> tuple[Measured, Measured]:
    """Return what calibration leaves open in caster and SAI: its errors of all readings, moved."""
    outlying = set(steering.outliers)
    used = [row for i, row in enumerate(wheel.rows) if i not in outlying]
    names = (Channel.INCL_Y.value, Channel.INCL_X.value)[: steering.gain.shape[1]]
    errors: dict[Source, F64] = {}
    for i, row in enumerate(used):
        read = {Channel.INCL_Y.value: row.incl_y_rad, Channel.INCL_X.value: row.incl_x_rad or 0.0}
        for channel, name in enumerate(names):
            for part in wheel.instrument.left_open(name, read, wheel.degc).parts:
                shape = (len(part.components), len(names), len(used))
                errors.setdefault(part.source, np.zeros(shape))[:, channel, i] = part.components
    parts: tuple[list[Part], list[Part]] = ([], [])
    for source, each in errors.items():
        moved = np.einsum("qcn,kcn->qk", steering.gain, each).tolist()
        for quantity, components in zip(parts, moved, strict=False):
            quantity.append(Part(source, tuple(components)))
    return Measured(0.0, tuple(parts[0])), Measured(0.0, tuple(parts[1]))


def _headings(steering: Steering, wheel: SweptWheel, plate_rad: F64) -> F64:
    """Return how far the wheel has turned when its plate turned so far, seen from above."""
    unknowns = np.zeros(UNKNOWNS)
    unknowns[TAN_CASTER] = math.tan(steering.caster_rad)
    unknowns[TAN_SAI] = math.tan(steering.sai_rad or 0.0)
    unknowns[AXIS] = -wheel.side.sign * wheel.camber.value
    none = np.zeros(0)
    return heading_change(Sweep(wheel.side, none, none), unknowns, plate_rad)


def _toe_out(
    wheels: dict[Side, SweptWheel], sides: dict[Side, SweptSide], scale: float
) -> Iterator[tuple[Side, Measured]]:
    """Yield toe-out on turns, where both wheels were steered so far, read at the same moments."""
    left = wheels[Side.LEFT]
    across = wheels[Side.RIGHT].plate_at(left.t_ns)
    plates = {Side.LEFT: left.plate_rad, Side.RIGHT: across}
    turns = [_headings(sides[side].steering, wheels[side], plates[side]) for side in Side]
    axle = SteeredAxle(turns[0], turns[1], math.hypot(PLATE_RAD, scale * INNER_RAD))
    records = {wheel.instrument.correction.stands_on for wheel in wheels.values()}
    for inner in Side:
        found = toe_out_on_turns(axle, inner)
        if found is not None and found.toe_out is not None:
            yield inner, _standing_on(found.toe_out, frozenset(records | {SWEEP}))


def _number(value: float | None) -> float:
    return math.nan if value is None else value
