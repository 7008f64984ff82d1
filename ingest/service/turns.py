"""Collects one turn of a wheel: stops where it rests, readings while it goes round."""

import math
from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest.chain.rest import RestReading
from ingest.core.blocks import F64, Flag, SampleBlock
from ingest.core.channels import ROW, Channel
from ingest.core.errors import MeasurementRefused
from ingest.core.units import DEG, NS
from ingest.geometry.arc import SAME_STOP_RAD, further_rad, turn_worth
from ingest.geometry.fit import fit_runout
from ingest.geometry.fixed import fit_fixed, turn_of_gravity
from ingest.geometry.rolled import further_rolled_rad
from ingest.geometry.runout import Runout, RunoutLimits, Turn
from ingest.geometry.sightline import Sightline
from ingest.geometry.terms import ON_A_JACK, ROLLED

_X, _Y, _R, _C, _Z = (
    ROW[channel]
    for channel in (
        Channel.INCL_X,
        Channel.INCL_Y,
        Channel.ROTATION,
        Channel.AZIMUTH_CROSS,
        Channel.INCL_Z,
    )
)
LEAST_ROLL_RAD = math.radians(0.2)
"""A wheel that turns by less from one value to the next (2 deg/s at 10 Hz) does not roll."""
FEWEST_MOVING = 36
"""Fewer readings than this while moving are no continuous turn."""


@dataclass(frozen=True, slots=True)
class TurnSettings:
    """How a turn is collected and judged."""

    new_angle_deg: float = 15.0
    """A rest is a stop of its own when the wheel stands this far from the stop before."""
    least_rest_s: float = 0.3
    """Shortest time of stillness (after it was found still) that makes a stop."""
    stop_sigma_deg: float = 0.01
    """How well a stop repeats, beside its own noise: assumed, until the bay was studied."""
    max_u_deg: float = 0.05
    """Largest standard uncertainty of the camber that a turn may leave."""
    wanted_u_deg: float = 0.01
    """Standard uncertainty of the camber that the turn is to reach: says how much further."""
    most_rms_deg: float = 0.04
    """Largest residual of a turn, root mean square: more is a motion, whatever shape it has."""
    most_moving: int = 6000
    """Readings kept while moving; the oldest go first."""

    def __post_init__(self) -> None:
        for name in (
            "new_angle_deg",
            "least_rest_s",
            "stop_sigma_deg",
            "max_u_deg",
            "most_rms_deg",
            "wanted_u_deg",
        ):
            if not getattr(self, name) > 0.0:
                raise ValueError(f"{name} must be above 0")

    @property
    def limits(self) -> RunoutLimits:
        return RunoutLimits(u_camber_rad=self.max_u_deg * DEG)


class WheelTurn:
    """One turn of one wheel, fed with what the head's chain gives. Pure but for its state.

    A stop is taken when the wheel rests at a new angle, or when somebody says so; while the
    rest lasts, its reading grows better and replaces itself. With three stops or more the fit
    stands on them; otherwise, and where it ``rolled``, on the readings while moving. ``fixed``:
    the head turns with its wheel and has no encoder; gravity tells it how far. ``rolled``: it
    rolls over the floor.
    """

    def __init__(
        self,
        settings: TurnSettings,
        sightline: Sightline,
        *,
        fixed: bool = False,
        rolled: bool = False,
    ) -> None:
        self._settings = settings
        self._fixed = fixed
        self.rolled = rolled
        self._terms = ROLLED if rolled else ON_A_JACK
        self._needed = [_X, _Y, _Z] if fixed else [_Y, _R]
        self._sightline = sightline
        self._stops: list[RestReading] = []
        self._turned_rad = math.nan
        self._last_end_ns = -1
        self._moving: deque[F64] = deque(maxlen=settings.most_moving)

    @property
    def stops(self) -> int:
        """Stops taken so far."""
        return len(self._stops)

    def add(self, blocks: list[SampleBlock]) -> None:
        """Take decimated samples; those that move are kept for a continuous turn.

        A sample without a value in a channel that the fit stands on is none.
        """
        for block in blocks:
            moving = (block.flags & np.uint16(Flag.STILL | Flag.SENSOR_FAULT)) == 0
            moving &= np.isfinite(block.values[self._needed]).all(axis=0)
            if self.rolled:
                moving &= self._rolls(block)
            self._moving.extend(block.values[:, moving].T)

    def _rolls(self, block: SampleBlock) -> NDArray[np.bool_]:
        """Say which samples were taken while the wheel rolled, not as it came to rest.

        A wheel that stops lets go of its tyre's wind-up and of its scrub, and leans otherwise.
        """
        turned = self._turned(block.values)
        if not self._fixed:  # the head swings about its shaft, and its encoder with it
            turned = turned - np.nan_to_num(block.values[_X])
        before = np.concatenate(([self._turned_rad], turned[:-1]))
        if block.after_gap:
            before[0] = math.nan
        self._turned_rad = float(turned[-1]) if len(turned) else self._turned_rad
        step = np.remainder(turned - before + np.pi, 2.0 * np.pi) - np.pi
        rolls: NDArray[np.bool_] = np.abs(step) > LEAST_ROLL_RAD  # False where it is not known
        return rolls

    def rest(self, reading: RestReading) -> bool:
        """Take the present rest by itself where it is a new stop; say whether it is one more."""
        if reading.span_s < self._settings.least_rest_s:
            return False
        return self._put(reading, self._settings.new_angle_deg * DEG)

    def take(self, reading: RestReading) -> bool:
        """Take the present rest since somebody said so, however near it is to the last.

        Where the wheel has not turned since, it is the same stop, read again after a gap.
        """
        return self._put(reading, SAME_STOP_RAD)

    def _put(self, reading: RestReading, apart_rad: float) -> bool:
        if not np.isfinite(reading.values[self._needed]).all():
            return False  # its sensors were silent all the while
        if self._stops and reading.t_ns <= self._last_end_ns:
            self._last_end_ns = reading.t_ns + round(reading.span_s * NS)
            self._stops[-1] = reading
            return False
        if self._stops and self._apart_rad(reading) < apart_rad:
            return False
        self._last_end_ns = reading.t_ns + round(reading.span_s * NS)
        self._stops.append(reading)
        return True

    def _apart_rad(self, reading: RestReading) -> float:
        before, now = (self._turned(each.values) for each in (self._stops[-1], reading))
        return abs(math.remainder(float(now - before), 2.0 * math.pi))

    def _turned(self, values: F64) -> F64:
        """Return the wheel's turn, shape (n,), of readings of shape (8, n)."""
        return turn_of_gravity(values[_X], values[_Z]) if self._fixed else values[_R]

    def readings(self) -> tuple[F64, float | None]:
        """Return the turn so far, shape (8, n), and the known noise of a reading, if it is."""
        enough = len(self._moving) >= FEWEST_MOVING
        if not enough or (self.stops >= 3 and not self.rolled):
            values = np.array([stop.values for stop in self._stops]).reshape(-1, len(ROW)).T
            return values, self._stop_sigma_rad()
        return np.array(self._moving).T, None

    def result(self, *, final: bool, seen: bool = True) -> Runout:
        """Fit the turn so far. Raises ``MeasurementRefused``.

        While it goes on, an uncertainty above the limit is no reason to refuse. Without
        ``seen`` the sightline is left out of it.
        """
        values, sigma_rad = self.readings()
        limits = self._settings.limits
        if not final:
            limits = RunoutLimits(u_camber_rad=math.inf, condition=limits.condition)
        if self._fixed:
            three = values[[_X, _Y, _Z]]
            runout = fit_fixed(three, sigma_rad=sigma_rad, limits=limits, terms=self._terms)
        else:
            runout = fit_runout(
                turn_of(values, seen=seen),
                sightline=self._sightline,
                sigma_rad=sigma_rad,
                limits=limits,
                terms=self._terms,
            )
        if final:
            self._refuse_scattered(runout.rms_rad)
        return runout

    def _refuse_scattered(self, rms_rad: float) -> None:
        """Refuse what no test of one kind of motion found, and no noise of a sensor explains.

        A slip at mid-turn, say, passes for a bent flange where the clamp sat askew already.
        """
        rms_deg, limit_deg = rms_rad / DEG, self._settings.most_rms_deg
        if rms_deg > limit_deg:
            raise MeasurementRefused(
                "scatter",
                f"the readings scatter by {rms_deg:.3f} deg about the turn, limit {limit_deg:g} "
                "deg; the clamp slipped or the head was knocked: seat it and turn again",
                figure=rms_deg,
                limit=limit_deg,
            )

    def arc(self) -> tuple[int, float]:
        """Return how many readings there are and the arc that they cover, rad."""
        worth = turn_worth(self._turned(self.readings()[0]))
        return worth.n, worth.arc_rad

    def further_deg(self, runout: Runout) -> float | None:
        """Return how much further to turn for the uncertainty asked for; None: it cannot be."""
        if runout.sigma_rad is None:
            return None
        turned = self._turned(self.readings()[0])
        u_rad = self._settings.wanted_u_deg * DEG
        if self.rolled:
            further = further_rolled_rad(turned, runout.sigma_rad, self._terms, u_rad)
        else:
            further = further_rad(np.unwrap(turned), runout.sigma_rad, u_rad)
        return None if further is None else round(further / DEG)

    def _stop_sigma_rad(self) -> float:
        own = [float(stop.u[_Y]) for stop in self._stops]
        seen = float(np.sqrt(np.mean(np.square(own)))) if own else 0.0
        return math.hypot(self._settings.stop_sigma_deg * DEG, seen if seen == seen else 0.0)


def turn_of(values: F64, *, seen: bool = True) -> Turn:
    """Return readings of shape (8, n) as a turn: with an azimuth where every reading has one."""
    azimuth = values[_C]
    seen = seen and values.shape[1] > 0 and bool(np.isfinite(azimuth).all())
    hung = values[_X]
    hangs = values.shape[1] > 0 and bool(np.isfinite(hung).all())
    return Turn(
        rotation_rad=np.ascontiguousarray(values[_R]),
        incl_y_rad=np.ascontiguousarray(values[_Y]),
        incl_x_rad=np.ascontiguousarray(hung) if hangs else None,
        azimuth_rad=np.ascontiguousarray(azimuth) if seen else None,
    )


def judged(turn: WheelTurn, *, seen: bool = True) -> Runout | MeasurementRefused:
    """Return what a turn that is over gives: its run-out, or why there is none."""
    try:
        return turn.result(final=True, seen=seen)
    except MeasurementRefused as refused:
        return refused
