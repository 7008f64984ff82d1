"""A wheel that creeps about its own axle while it is steered: found, or what it may have done.

The brake gives a little, or the head's lock does: incl_x moves, incl_y does not, and SAI is off by
two to three times as much. It may happen at once, between any two readings, or all along; each of
these is a column of its own beside the fit. What the readings leave possible of each is carried
into caster and SAI: little where the way back was read, much where it was not.

All is judged on the readings as they came: a reading that closes the sweep and does not fit is no
outlier, it is the slip.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.reporting import t_factor
from ingest.core.errors import MeasurementRefused
from ingest.geometry.sweep.contradiction import CHANCE
from ingest.geometry.sweep.motion import AXIS, SWING, TAN_CASTER, TAN_SAI
from ingest.geometry.sweep.readings import SweepLimits
from ingest.geometry.sweep.refine import Refined

F64 = NDArray[np.float64]

FALSE_ALARM = 0.01
"""Sweeps in which nothing slipped are said to have slipped in so many cases at the most: shared
out among all places at which it may have happened (Bonferroni)."""
COVER = 0.95
MOST_RAD = math.radians(0.3)
"""Where the readings do not tell, a slip is taken to be no larger: it would be seen (ours)."""
LEAST_SHARE = 1e-6
"""A slip of which the fit leaves less (of its square) cannot be told from the steering axis."""


@dataclass(frozen=True, slots=True)
class Slip:
    """The slip that the readings speak for most, and what any may have done.

    ``rad``: its size, front of the head up, NaN where nothing tells; ``row`` the first reading
    after it, None where the wheel crept all along. ``proven``: clean readings show as much in
    ``FALSE_ALARM`` of all cases, more than ``chance_rad`` in ``CHANCE`` of them. ``explained``:
    what of the whitened sum of squares it stands for. ``reach`` (3,): how far off tan caster, tan
    SAI and the shaft's elevation may be for a slip that the readings leave possible, with a chance
    of ``COVER``.
    """

    rad: float
    row: int | None
    proven: bool
    chance_rad: float
    explained: float
    reach: F64


NO_SLIP = Slip(0.0, None, False, math.inf, 0.0, np.zeros(3))
"""Of a head that hangs: it turns with nothing, and a wheel that creeps does not show."""


def slip_of(fit: Refined, side: int, *, stated: bool) -> Slip | None:
    """Return what one side's readings say of a slip; None for a head that hangs.

    ``stated``: the residuals are whitened by noise that is known.
    """
    sweep = fit.sweeps[side]
    if not sweep.locked or len(sweep) < 2:
        return None
    right, rest, whole, moves = _columns(fit, side)
    told = rest > LEAST_SHARE * np.maximum(whole, 1e-300)
    safe = np.where(told, rest, 1.0)
    values = np.where(told, right / safe, 0.0)
    explained = values * right
    free = math.inf if stated else fit.dof - 1.0
    if free <= 0.0:
        told, variance = np.zeros_like(told), np.zeros_like(rest)
    elif stated:
        variance = np.ones_like(rest)
    else:
        variance = np.maximum(float(fit.whitened @ fit.whitened) - explained, 0.0) / free
    u = np.sqrt(variance / safe)
    free = max(free, 1.0)
    possible = np.where(told, np.abs(values) + t_factor(COVER, free) * u, MOST_RAD)
    # A reading that slipped is as far off as the slip: what is proven may be larger than any guess.
    possible = np.minimum(possible, np.maximum(MOST_RAD, np.abs(values)))
    reach = (np.abs(moves) * possible).max(axis=1)
    if not told.any():
        return Slip(math.nan, None, False, math.inf, 0.0, reach)
    best = int(np.argmax(np.where(told, explained, -1.0)))
    seldom, never = (
        t_factor(1.0 - chance / len(values), free) * float(u[best])
        for chance in (FALSE_ALARM, CHANCE)
    )
    size = float(values[best])
    row = best + 1 if best < len(sweep) - 1 else None
    return Slip(size, row, abs(size) > seldom, never, float(explained[best]), reach)


def _columns(fit: Refined, side: int) -> tuple[F64, F64, F64, F64]:
    """Return for each slip what its column says, the fit aside.

    A step before each reading but the first, then one that goes on all along (in the order of the
    readings): product with the residuals (e,), square beside the design and whole (e,), and by how
    much caster's, SAI's and the shaft's unknowns move with it (3, e). By running sums, since there
    are as many columns as readings.
    """
    start = sum(each.size for each in fit.residuals[:side])
    channels, n = fit.residuals[side].shape
    ours = slice(start, start + channels * n)
    column = fit.weights[side].whiten(fit.by_unknowns[side][:, :, SWING]).reshape(channels, n)
    residuals = fit.whitened[ours].reshape(channels, n)
    basis = fit.basis[ours].reshape(channels, n, -1)
    places = [fit.places[side][fit.free[side].index(at)] for at in (TAN_CASTER, TAN_SAI, AXIS)]
    gain = fit.gain[places, ours].reshape(3, channels, n)
    all_along = np.linspace(0.0, 1.0, n)

    def summed(each: F64, weight: F64) -> F64:
        """Sum rows (..., n) over each slip."""
        steps = np.cumsum(each[..., ::-1], axis=-1)[..., -2::-1]
        return np.concatenate([steps, (each @ weight)[..., None]], axis=-1)

    right = summed((column * residuals).sum(axis=0), all_along)
    whole = summed((column**2).sum(axis=0), all_along**2)
    in_design = summed(np.einsum("cn,cnp->pn", column, basis), all_along)
    moves = summed(np.einsum("cn,qcn->qn", column, gain), all_along)
    return right, whole - (in_design**2).sum(axis=0), whole, moves


def lone(fit: Refined, side: int) -> float:
    """Return what of the whitened sum of squares the worst single reading stands for.

    The first and the last do not count: what they alone contradict is the closure.
    """
    start = sum(each.size for each in fit.residuals[:side])
    channels, n = fit.residuals[side].shape
    ours = slice(start, start + channels * n)
    left = np.maximum(1.0 - (fit.basis[ours] ** 2).sum(axis=1), 1e-9)
    each = (fit.whitened[ours] ** 2 / left).reshape(channels, n).sum(axis=0)
    return float(each[1:-1].max(initial=0.0))


def refuse_slipped(slip: Slip, limits: SweepLimits) -> None:
    """Raise ``MeasurementRefused`` (``not-held``) where a slip is beyond limit and chance."""
    if not abs(slip.rad) > max(limits.closure_rad, slip.chance_rad):
        return
    when = "all along" if slip.row is None else f"before reading {slip.row + 1}"
    raise MeasurementRefused(
        "not-held",
        f"incl_x moves by {math.degrees(abs(slip.rad)):.3f} deg {when} as no steering moves it, "
        f"limit {math.degrees(limits.closure_rad):.3f} deg; the wheel rolled or the head slipped "
        "on its shaft: hold the brake, lock the head and sweep again",
        figure=math.degrees(abs(slip.rad)),
        limit=math.degrees(limits.closure_rad),
    )
