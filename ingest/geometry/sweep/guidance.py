"""Guide a steering sweep from its readings: a pure state machine, one reading in, the state out."""

import math
from dataclasses import replace

import numpy as np

from ingest.core.errors import MeasurementRefused
from ingest.core.frames import Side
from ingest.core.units import NS
from ingest.geometry.sweep.closure import TURNED_RAD
from ingest.geometry.sweep.fit import fit_sweep
from ingest.geometry.sweep.guided import Need, SweepAsked, SweepReading, SweepState, Trouble
from ingest.geometry.sweep.readings import Sweep
from ingest.geometry.sweep.steering import SWINGS, Steering

SPEED_OVER_NS = NS // 10
"""Speed is told over a tenth of a second at the least: shorter ones are mostly noise."""
FORGET_NS = 2 * NS
"""After a silence so long, what was read before says nothing of the speed."""
TOLD = frozenset((Trouble.NOT_HELD, Trouble.NOT_CLOSED, Trouble.REVERSED, Trouble.SCATTER))
"""Troubles that a fit names, by the codes of its refusals."""


class SweepGuide:
    """Takes readings in order of time; says where the sweep is and what it needs.

    It keeps a bounded number of readings, spread over the steering. Out and back are both asked
    for, since only together do they show a slip.
    """

    def __init__(self, asked: SweepAsked) -> None:
        self._asked = asked
        self._limits = replace(asked.limits, u_rad=math.inf, u_rolling_rad=math.inf)
        self.reset()

    def reset(self) -> None:
        """Begin again."""
        self._rows: list[SweepReading] = []
        self._spacing_rad = self._asked.spacing_rad
        self._before: SweepReading | None = None
        self._fast = False
        self._reached = {Side.LEFT: 0.0, Side.RIGHT: 0.0}
        self._turned_back: set[Side] = set()
        self._fitted_ns = -FORGET_NS
        self._found: Steering | None = None
        self._trouble: Trouble | None = None

    def feed(self, reading: SweepReading) -> SweepState:
        """Take one reading and return the state. A reading that is no number counts as unseen."""
        steer = _seen(reading)
        if steer is None:
            self._before, self._fast = None, False
            return self._state(None)
        self._fast = self._too_fast(reading, steer)
        if not self._fast:
            self._note_reach(steer)
            if self._is_new(steer):
                self._keep(reading)
                if reading.time_ns - self._fitted_ns >= self._asked.fit_every_s * NS:
                    self._fitted_ns = reading.time_ns
                    self._fit()
        return self._state(steer)

    @property
    def rows(self) -> tuple[SweepReading, ...]:
        """The readings that were kept, in order of time."""
        return tuple(self._rows)

    def sweep(self) -> Sweep | None:
        """Return the readings that were kept; None while there are none."""
        if not self._rows:
            return None
        tilts = [row.incl_x_rad for row in self._rows]
        locked = [tilt for tilt in tilts if tilt is not None]
        return Sweep(
            self._asked.side,
            np.array([row.steer_rad for row in self._rows], dtype=np.float64),
            np.array([row.incl_y_rad for row in self._rows]),
            np.array(locked) if len(locked) == len(tilts) else None,
            toe_rad=self._asked.toe_rad,
            by_plate=self._asked.by_plate,
        )

    def _too_fast(self, reading: SweepReading, steer_rad: float) -> bool:
        """Say whether the steering moves too fast, over the last tenth of a second or more."""
        before = self._before
        if before is None or before.steer_rad is None:
            self._before = reading
            return False
        passed_ns = reading.time_ns - before.time_ns
        if passed_ns < SPEED_OVER_NS:
            return self._fast
        self._before = reading
        if passed_ns > FORGET_NS:
            return False
        speed = abs(steer_rad - before.steer_rad) / (passed_ns / NS)
        return speed > self._asked.fastest_rad_per_s

    def _note_reach(self, steer_rad: float) -> None:
        asked = self._asked
        for side in Side:
            out = side.sign * steer_rad
            self._reached[side] = max(self._reached[side], out)
            if self._reached[side] >= asked.enough_rad(side):
                self._turned_back.discard(side)
            elif self._reached[side] > 2.0 * TURNED_RAD and out < self._reached[side] - TURNED_RAD:
                self._turned_back.add(side)
            elif out >= self._reached[side]:
                self._turned_back.discard(side)

    def _is_new(self, steer_rad: float) -> bool:
        last = self._rows[-1].steer_rad if self._rows else None
        return last is None or abs(steer_rad - last) >= self._spacing_rad

    def _keep(self, reading: SweepReading) -> None:
        self._rows.append(reading)
        if len(self._rows) > self._asked.most_rows:
            self._rows = self._rows[::2]
            self._spacing_rad *= 2.0

    def _fit(self) -> None:
        sweep = self.sweep()
        assert sweep is not None
        try:
            self._found = fit_sweep(sweep, noise=self._asked.noise, limits=self._limits)
            swings = self._found.why_no_sai == SWINGS
            self._trouble = Trouble.NOT_HELD if swings else None
        except MeasurementRefused as refused:
            self._found = None
            self._trouble = Trouble(refused.code) if refused.code in TOLD else None

    def _needed(self, steer_rad: float | None) -> tuple[Need, ...]:
        asked = self._asked
        needed = [
            need
            for side, need in ((Side.LEFT, Need.LEFT), (Side.RIGHT, Need.RIGHT))
            if self._reached[side] < asked.enough_rad(side)
        ]
        if steer_rad is None or abs(steer_rad) > asked.near_rad or needed:
            needed.append(Need.STRAIGHT)
        if not self._known():
            needed.append(Need.MORE)
        return tuple(needed)

    def _known(self) -> bool:
        """Say whether caster and SAI, where there is one, are known well enough."""
        found = self._found
        if found is None or found.estimates is None:
            return False
        told = (found.estimates.caster, found.estimates.sai)
        return all(each is None or each.u <= self._asked.limits.u_rad for each in told)

    def _state(self, steer_rad: float | None) -> SweepState:
        troubles = []
        if steer_rad is None:
            troubles.append(Trouble.SIGHTLINE_LOST)
        if self._fast:
            troubles.append(Trouble.TOO_FAST)
        if self._turned_back:
            troubles.append(Trouble.TURNED_BACK)
        if self._trouble is not None:
            troubles.append(self._trouble)
        return SweepState(
            steer_rad=steer_rad,
            left_rad=self._reached[Side.LEFT],
            right_rad=self._reached[Side.RIGHT],
            needed=self._needed(steer_rad),
            troubles=tuple(troubles),
            kept=len(self._rows),
            found=self._found,
        )


def _seen(reading: SweepReading) -> float | None:
    """Return the steering of a reading that can be used."""
    steer = reading.steer_rad
    if steer is None or not math.isfinite(steer) or not math.isfinite(reading.incl_y_rad):
        return None
    if reading.incl_x_rad is not None and not math.isfinite(reading.incl_x_rad):
        return None
    return steer
