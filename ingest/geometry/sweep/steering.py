"""What a steering sweep came to: caster, SAI, included angle, camber straight ahead."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.measured import Measured, Part, Source
from ingest.core.frames import Side
from ingest.geometry.sweep.motion import fitted
from ingest.geometry.sweep.readings import Sweep

F64 = NDArray[np.float64]

HANGS = "the head hangs free on its shaft and turns with nothing: it gives caster alone"
"""Why there is no SAI where incl_x is not read."""
SWINGS = (
    "incl_x does not follow the steering (the head swings on its shaft, or the wheel rolls): it "
    "gives caster alone"
)
"""Why there is no SAI where incl_x is read and stays as it is."""

NEGATIVE = "negative-caster"
"""Told where nothing says whether the axis leans forward or the steering's sign is wrong."""
ROLLS = "axle-rolls"
"""The readings prove a roll of the axle that was not fitted, and that takes from the caster."""
CREPT = "wheel-crept"
"""The readings prove a slip of brake or lock, within the limit; it is in the whole uncertainty."""
CLOSING_OUT = "closing-reading-left-out"
"""The first or the last reading does not fit the others: something may have moved by the end."""
ONE_WAY = "one-way-only"
"""Nothing was read on a way back: a slip of brake or lock hardly shows."""
ONE_SIDE = "steered-to-one-side"
"""One side of straight ahead was hardly steered to: a roll of the axle does not show."""
FLAT = "tilts-hardly-move"
"""The tilts move by so little that they may be radians."""


@dataclass(frozen=True, slots=True)
class SteeringEstimates:
    """The results with their uncertainty, rad; all stand on one fit, so correlations hold.

    Only the noise of the sweep and its terms are in them; a slip, and a roll of the axle, that
    cannot be ruled out are added by ``Steering.whole``. What a head's calibration leaves open is
    common to all its readings: carry it with ``Steering.moved_by``. ``axle_roll`` is in rad per
    rad.
    """

    caster: Measured
    camber: Measured
    sai: Measured | None = None
    included: Measured | None = None
    axle_roll: Measured | None = None


@dataclass(frozen=True, slots=True)
class Gap:
    """How far a channel reads higher when its position was come to from the left, rad.

    ``u_rad`` is NaN where the noise is not known; clean readings stay within ``chance_rad``.
    """

    channel: str
    rad: float
    u_rad: float
    chance_rad: float


@dataclass(frozen=True, slots=True)
class Closure:
    """Out and back at the same steering, in each channel that was read.

    ``explained``: what of the fit's whitened sum of squares the gaps stand for.
    """

    explained: float
    incl_y: Gap
    incl_x: Gap | None = None

    @property
    def gaps(self) -> tuple[Gap, ...]:
        """The gaps, the largest first."""
        there = [gap for gap in (self.incl_y, self.incl_x) if gap is not None]
        return tuple(sorted(there, key=lambda gap: -abs(gap.rad)))


@dataclass(frozen=True, slots=True)
class Steering:
    """The steering axis of one wheel, rad.

    ``sai_rad`` is None where ``why_no_sai`` says why. ``camber_rad`` is straight ahead, by the
    shaft. ``axle_roll`` in rad of roll per rad of steering, None where it was not fitted. ``n``
    counts the readings used, ``dof`` readings of all channels less unknowns (of both sides where
    they share the axle's roll); ``outliers`` indexes rows from 0. ``estimates`` is None where the
    noise is not known. ``gain`` (3, c, n): by how much caster, SAI and camber grow with each
    reading that was used; ``across`` the same for the readings of the other wheel, where both were
    fitted together. ``used`` are those readings, ``unknowns`` (5,) what was fitted to them (see
    ``motion``). ``u_slip_rad``: standard uncertainties of caster, SAI and camber for a slip of
    brake or lock that the readings do not rule out (see ``slip``); ``by_roll_rad`` the same for a
    roll of the axle, signed as one roll moves them (see ``lopsided``).
    """

    side: Side
    caster_rad: float
    camber_rad: float
    sai_rad: float | None
    why_no_sai: str | None
    axle_roll: float | None
    estimates: SteeringEstimates | None
    n: int
    dof: int
    rms_rad: float
    outliers: tuple[int, ...]
    closure: Closure | None
    gain: F64
    used: Sweep
    unknowns: F64
    hints: tuple[str, ...] = ()
    across: F64 | None = None
    u_slip_rad: tuple[float, float, float] = (0.0, 0.0, 0.0)
    by_roll_rad: tuple[float, float, float] = (0.0, 0.0, 0.0)

    @property
    def whole(self) -> SteeringEstimates | None:
        """The estimates, with what the readings do not rule out of a slip or of the axle's roll."""
        found = self.estimates
        if found is None:
            return None
        caster, sai, camber = (
            _slipped(self.side, name, u) + _rolled(by)
            for name, u, by in zip(SLIPS, self.u_slip_rad, self.by_roll_rad, strict=True)
        )
        told = replace(found, caster=found.caster + caster, camber=found.camber + camber)
        if found.sai is None or found.included is None:
            return told
        return replace(told, sai=found.sai + sai, included=found.included + sai + camber)

    @property
    def included_rad(self) -> float | None:
        """SAI and camber together."""
        return None if self.sai_rad is None else self.sai_rad + self.camber_rad

    def fitted(self, steer_rad: F64) -> F64:
        """Return what the fitted knuckle would read at these steerings, shape (c, n), rad."""
        return fitted(self.used, self.unknowns, steer_rad)

    def moved_by(self, errors_rad: F64) -> tuple[float, float, float]:
        """Return how far caster, SAI and camber move by errors (c, n) of the readings, rad."""
        caster, sai, camber = np.einsum("qcn,cn->q", self.gain, errors_rad).tolist()
        return caster, sai, camber


SLIPS = ("caster", "SAI", "camber")
ROLLED = Source("roll of the axle, steered to one side", shared=True)
"""One roll moves both wheels, and all angles of each."""


def _slipped(side: Side, name: str, u_rad: float) -> Measured:
    source = Source(f"slip of brake or lock, {side.value}, in {name}")
    return Measured(0.0, (Part(source, (u_rad,)),) if u_rad else ())


def _rolled(by_rad: float) -> Measured:
    """Return what a roll may have done."""
    return Measured(0.0, (Part(ROLLED, (by_rad,)),) if by_rad else ())


@dataclass(frozen=True, slots=True)
class CrossValues:
    """Left minus right; what both sides share keeps its correlation. rad."""

    caster: Measured
    camber: Measured
    sai: Measured | None


def cross_values(left: Steering, right: Steering, *, whole: bool = False) -> CrossValues | None:
    """Return the cross values of an axle; None where an uncertainty is not known.

    ``whole``: with what the readings do not rule out of a slip or of the axle's roll.
    """
    one, other = (each.whole if whole else each.estimates for each in (left, right))
    if one is None or other is None:
        return None
    sai = None if one.sai is None or other.sai is None else one.sai - other.sai
    return CrossValues(one.caster - other.caster, one.camber - other.camber, sai)
