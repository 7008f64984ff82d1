"""From what two heads read in a steering sweep to the results of their axle.

The fit tells the noise of the sweep. What calibration leaves open of heads and plates, and of where
straight ahead is, is common to all readings and is carried through the fit, to the other wheel as
well where the axle's roll joins them; the kingpins' play is assumed. Angles are to gravity, rad.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from calibration.measured import Measured, Part, Source
from calibration.reporting import t_factor
from ingest.core.blocks import F64, I64
from ingest.core.channels import Channel
from ingest.core.errors import MeasurementRefused
from ingest.core.frames import Side
from ingest.core.units import DEG, NS
from ingest.geometry.sweep.fit import fit_axle
from ingest.geometry.sweep.guided import SweepReading
from ingest.geometry.sweep.motion import (
    AXIS,
    ROLL,
    TAN_CASTER,
    TAN_SAI,
    UNKNOWNS,
    heading_change,
    slopes,
)
from ingest.geometry.sweep.readings import Sweep, SweepLimits
from ingest.geometry.sweep.steering import Steering
from ingest.geometry.sweep.turning import INNER_RAD, SteeredAxle, toe_out_on_turns
from ingest.service.instrument import Instrument
from ingest.service.steersight import PlateSteer, SteerBy, scale_of

SWEEP = "steering sweep"
PLAY = "assumed play of the kingpins"
PLATE = PlateSteer()
FALSE_ALARM = 0.01
"""Two sound readings of a wheel's steering are said to contradict each other in so many cases (ours
to choose). A plate whose scale is 3 % off is then found in 97 % beside a sightline along."""
LOST_NS = int(0.5 * NS)
"""Readings of a steering further apart than this are those before and after it was lost."""
NEVER_NS = -(2**62)
NEAR_RAD = 0.5 * DEG
"""Where it was lost so near to the furthest that was seen, nobody knows how far it went."""
APART_U = t_factor(1.0 - FALSE_ALARM, math.inf)
"""So many standard uncertainties apart they contradict."""

Errors = dict[Source, F64]
"""By source (k, c, n): what its k components do to each channel of n readings, rad."""


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
class SweptWheel:
    """One wheel as it was swept.

    ``rows`` were kept; ``t_ns`` and ``steer_rad`` (m,) are the steering all along, told ``by`` a
    plate or a sightline. ``toe`` is that of the shaft straight ahead, ``camber`` that of the wheel
    as it stood there.
    """

    side: Side
    instrument: Instrument
    rows: tuple[SweepReading, ...]
    t_ns: I64
    steer_rad: F64
    toe: Measured
    camber: Measured
    degc: float
    by: SteerBy = PLATE

    def steer_at(self, t_ns: I64) -> F64:
        """Return the steering at other times, NaN where it was not seen."""
        at = np.interp(t_ns.astype(np.float64), self.t_ns.astype(np.float64), self.steer_rad)
        known = np.concatenate(([NEVER_NS], self.t_ns, [-NEVER_NS]))
        after = np.searchsorted(known, t_ns)
        seen = (known[after] == t_ns) | (known[after] - known[after - 1] <= LOST_NS)
        return np.where(seen, at, np.nan)

    def reached_rad(self, side: Side) -> float:
        """Return how far it was steered to a side; NaN where it was lost before it came back."""
        there = side.sign * self.steer_rad
        far = max(0.0, float(there.max(initial=0.0)))
        lost = np.flatnonzero(np.diff(self.t_ns) > LOST_NS)
        edges = np.concatenate((there[lost], there[lost + 1]))
        return math.nan if np.any((edges > 0.0) & (edges > far - NEAR_RAD)) else far

    @property
    def scale(self) -> float:
        """Standard uncertainty of the steering's scale, over what was reached."""
        far = max(float(np.abs(self.steer_rad).max(initial=0.0)), DEG)
        return scale_of(self.by, self.instrument, far)


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
    wheels = {side: _with_both_seen(wheels[side], wheels[side.other]) for side in Side}
    sweeps = {side: _sweep(wheels[side], wheels[side.other]) for side in Side}
    left, right = (sweeps[side] for side in Side)
    most_rad = settings.max_u_deg * DEG
    limits = SweepLimits(u_rad=most_rad, u_rolling_rad=most_rad)
    both = {s.side: s for s in fit_axle(left, right, limits=limits, roll=settings.axle_roll)}
    errors = {side: _errors(both[side], wheels[side], sweeps[side]) for side in Side}
    sides = {side: _side(both[side], wheels[side], errors, settings) for side in Side}
    scale = max(wheel.scale for wheel in wheels.values())
    return SweptAxle(sides, dict(_toe_out(wheels, sides, scale)))


def _with_both_seen(own: SweptWheel, other: SweptWheel) -> SweptWheel:
    """Keep what was read while the other wheel's steering was seen, too: it tells the roll."""
    if not (own.rows and len(other.t_ns)):
        return own
    across = other.steer_at(np.array([row.time_ns for row in own.rows]))
    seen = np.isfinite(across)
    return replace(own, rows=tuple(row for row, ok in zip(own.rows, seen, strict=True) if ok))


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
    open_, play_rad = _left_open(steering, errors), settings.play_deg * DEG
    caster = found.caster + open_[0] + _play(play_rad)
    sai = None if found.sai is None else found.sai + open_[1] + _play(play_rad)
    names = frozenset((SWEEP, wheel.instrument.correction.stands_on))
    turned = {}
    for side in Side:
        steer_rad = wheel.reached_rad(side)
        if math.isnan(steer_rad):
            continue
        angle = abs(float(_headings(steering, wheel, np.array([side.sign * steer_rad]))[0]))
        source = Source(f"steering, {wheel.side.value}")
        turned[side] = Measured.of(
            angle, math.hypot(wheel.by.u_rad, wheel.scale * angle), source=source, stands_on=names
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


def _errors(steering: Steering, wheel: SweptWheel, sweep: Sweep) -> Errors:
    """Return what every reading that was used may be off by: tilts, plate, straight ahead.

    A steering that reads too much by e moves the tilts' misfits as tilts would that read too little
    by e times their slope.
    """
    kept = np.ones(len(sweep), dtype=np.bool_)
    kept[list(steering.outliers)] = False
    used = [row for row, keep in zip(wheel.rows, kept, strict=True) if keep]
    channels = steering.gain.shape[1]
    by_steer = slopes(sweep.only(kept), _unknowns(steering, wheel))[2][:channels]
    errors: Errors = {}

    def put(source: Source, i: int, channel: int, components: F64) -> None:
        shape = (components.size, channels, len(used))
        errors.setdefault(source, np.zeros(shape))[:, channel, i] += components

    names = (Channel.INCL_Y.value, Channel.INCL_X.value)
    known = wheel.instrument
    for i, row in enumerate(used):
        read = dict(zip(names, (row.incl_y_rad, row.incl_x_rad or 0.0), strict=True))
        turned = wheel.by.left_open(known, _number(row.steer_rad))
        ahead = wheel.toe * -wheel.side.sign
        for channel, name in enumerate(names[:channels]):
            for part in known.left_open(name, read, wheel.degc).parts:
                put(part.source, i, channel, np.array(part.components))
            for part in (*turned.parts, *ahead.parts):
                put(part.source, i, channel, -by_steer[channel, i] * np.array(part.components))
    return errors


def _left_open(steering: Steering, errors: dict[Side, Errors]) -> tuple[Measured, Measured]:
    """Return what such errors of both wheels' readings leave open in a wheel's caster and SAI."""
    sums: dict[Source, F64] = {}
    for side, gain in ((steering.side, steering.gain), (steering.side.other, steering.across)):
        if gain is not None:
            for source, each in errors[side].items():
                moved = np.einsum("qcn,kcn->qk", gain[:2], each)
                sums[source] = sums.get(source, 0.0) + moved
    told = [(source, moved.tolist()) for source, moved in sums.items()]
    caster, sai = (
        Measured(0.0, tuple(Part(source, tuple(moved[i])) for source, moved in told))
        for i in range(2)
    )
    return caster, sai


def _unknowns(steering: Steering, wheel: SweptWheel) -> F64:
    """Return what was fitted as the model takes it; the shaft leans about as the wheel does."""
    unknowns = np.zeros(UNKNOWNS)
    unknowns[TAN_CASTER] = math.tan(steering.caster_rad)
    unknowns[TAN_SAI] = math.tan(steering.sai_rad or 0.0)
    unknowns[AXIS] = -wheel.side.sign * wheel.camber.value
    unknowns[ROLL] = steering.axle_roll or 0.0
    return unknowns


def _headings(steering: Steering, wheel: SweptWheel, steer_rad: F64) -> F64:
    """Return how far the wheel has turned, seen from above, when its steering was read as that."""
    if not wheel.by.by_plate:
        return steer_rad
    none = np.zeros(0)
    return heading_change(Sweep(wheel.side, none, none), _unknowns(steering, wheel), steer_rad)


def _toe_out(
    wheels: dict[Side, SweptWheel], sides: dict[Side, SweptSide], scale: float
) -> Iterator[tuple[Side, Measured]]:
    """Yield toe-out on turns, where both wheels were steered so far, read at the same moments."""
    left = wheels[Side.LEFT]
    across = wheels[Side.RIGHT].steer_at(left.t_ns)
    seen = np.isfinite(across)
    read = {Side.LEFT: left.steer_rad[seen], Side.RIGHT: across[seen]}
    turns = [_headings(sides[side].steering, wheels[side], read[side]) for side in Side]
    u_rad = max(wheel.by.u_rad for wheel in wheels.values())
    axle = SteeredAxle(turns[0], turns[1], math.hypot(u_rad, scale * INNER_RAD))
    records = {wheel.instrument.correction.stands_on for wheel in wheels.values()}
    for inner in Side:
        found = toe_out_on_turns(axle, inner)
        if found is not None and found.toe_out is not None:
            yield inner, _standing_on(found.toe_out, frozenset(records | {SWEEP}))


def _number(value: float | None) -> float:
    return math.nan if value is None else value


def apart(steering: Steering, own: SweptWheel, other: SweptWheel) -> tuple[float, float]:
    """Return by how much another reading of a steering is larger than the one that was used.

    As a share of it, with its standard uncertainty: a plate that slips under its tyre and a port
    that is not where it is taken to be change the ratio alike. NaN where nothing was steered.
    """
    at = own.steer_at(other.t_ns)
    seen = np.isfinite(at)
    one = _headings(steering, own, at[seen])
    two = _headings(steering, other, other.steer_rad[seen])
    square = float(one @ one)
    share = float(one @ two) / square - 1.0 if square else math.nan
    return share, math.hypot(own.scale, other.scale)


def compared(
    swept: SweptAxle, wheels: dict[Side, SweptWheel], others: dict[Side, SweptWheel]
) -> str:
    """Say where a second reading of a wheel's steering contradicts the one that was used."""
    said = []
    for side, other in others.items():
        off, u = apart(swept.sides[side].steering, wheels[side], other)
        if abs(off) > APART_U * u:
            said.append(
                f"{side.value}: {other.by.channel.value} reads {100.0 * off:+.2f} % against "
                f"{wheels[side].by.channel.value}, limit {100.0 * APART_U * u:.2f} %"
            )
    return "; ".join(said)
