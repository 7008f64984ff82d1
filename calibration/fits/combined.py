"""All tilt readings of one three-axis head in one fit: sphere, sine steps, reversal and oven.

    s_raw = b + b' dT + M^-1 (s_true / (1 + k dT))

is the record's model turned round. ``M = R(turn) S`` with S symmetric: the sphere finds b and S,
steps and reversal find how the sensor is turned in its housing, the oven b' and k. Each placement
on a plate has a tilt of its own, an unknown along and across; reversal turns its sign.
Noise is in the readings, the same on all axes. How squarely a head stands on a raised bar is drawn
anew whenever it is set down: a turn about its own upright, which shows across the slope alone.
"""

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.errors import BadBenchData
from calibration.fits.effects import considering
from calibration.fits.placed import Placed, Plates, Tumbled
from calibration.fits.result import Fit, derivative, solve_model
from calibration.fits.seats import askew
from calibration.fits.tilt_sphere import BIAS, CROSS, LEAST_SPAN, SCALE, symmetric

F64 = NDArray[np.float64]
ANY = NDArray[Any]

TURN = ("turn x", "turn y", "turn z")
BIAS_DRIFT = ("bias x per degC", "bias y per degC", "bias z per degC")
SCALE_DRIFT = ("scale x per degC", "scale y per degC")
"""On a plate the upright axis reads all but 1: its scale's drift is one with its bias's."""
HEAD = BIAS + SCALE + CROSS + TURN
DRIFT = BIAS_DRIFT + SCALE_DRIFT


def fit_tilt(
    tumbled: Tumbled | None,
    placed: Sequence[Placed],
    *,
    thermal: bool,
    u_drift: Sequence[float] = (),
    u_askew_rad: float = 0.0,
    sigma: float | None = None,
) -> Fit:
    """Fit everything that the readings determine; the rest is named and NaN.

    Args:
        thermal: fit the drift over temperature; without it there is none.
        u_drift: standard uncertainties of the drift (``DRIFT``, shares per degC) where it is not
            fitted; readings at temperatures apart are that much less in agreement.
        u_askew_rad: standard uncertainty of how squarely a head is set down on a raised bar.
        sigma: standard deviation of one axis in one row, where known.

    Raises:
        BadBenchData: no readings, or no convergence.
    """
    if tumbled is None and not placed:
        raise BadBenchData("tilt", "there are no readings", "take sphere or step readings")
    model = _Model(tumbled, tuple(placed), thermal)
    start = model.start()
    fit = solve_model(
        model, start, model.readings(), model.names, sigma=sigma, labels=model.labels()
    )
    at = np.where(np.isnan(fit.values), start, fit.values)
    if u_askew_rad:
        inverse = np.linalg.inv(np.real(turned_matrix(at[:12])))
        fit = askew(fit, placed, inverse, u_askew_rad)
    if thermal or not u_drift:
        return fit
    drifting = _Model(tumbled, tuple(placed), True)
    return considering(fit, drift_columns(drifting, at, len(HEAD), len(DRIFT)), np.array(u_drift))


class _Model:
    """The readings that the model foretells; a sphere's row is its distance from the ellipsoid."""

    def __init__(
        self,
        tumbled: Tumbled | None,
        placed: tuple[Placed, ...],
        thermal: bool,
    ) -> None:
        self._tumbled, self._placed = tumbled, placed
        self._drift = len(DRIFT) if thermal else 0
        self._plates = Plates.of(placed) if placed else None
        plates = [f"{way} {p.name}" for p in placed for way in ("along", "across")]
        self.names = (*HEAD, *DRIFT[: self._drift], *plates)

    def labels(self) -> list[str]:
        """Return a name for each row of the fit."""
        named = [] if self._tumbled is None else [f"sphere {i + 1}" for i in range(self._n_sphere)]
        for p in self._placed:
            named += [f"{p.name} {i + 1}, axis {a}" for i in range(len(p.raw)) for a in "xyz"]
        return named

    def readings(self) -> F64:
        """Return what the model is fitted to."""
        raw = [p.raw.ravel() for p in self._placed]
        return np.concatenate([np.zeros(self._n_sphere), *raw])

    def start(self) -> F64:
        """Return a sensor near nominal, its bias from the middle of the sphere."""
        x = np.zeros(len(self.names))
        x[3:6] = 1.0
        if self._tumbled is not None and (np.ptp(self._tumbled.raw, axis=0) > LEAST_SPAN).all():
            x[:3] = (self._tumbled.raw.max(axis=0) + self._tumbled.raw.min(axis=0)) / 2
        return x

    @property
    def _n_sphere(self) -> int:
        return 0 if self._tumbled is None else len(self._tumbled.raw)

    def __call__(self, x: ANY) -> ANY:
        matrix = turned_matrix(x[..., :12])
        drift = np.zeros((*x.shape[:-1], 6), dtype=x.dtype)
        drift[..., : self._drift] = x[..., 12 : 12 + self._drift]
        parts = [] if self._tumbled is None else [self._distance(x, matrix, drift)]
        if self._plates is not None:
            tilts = x[..., 12 + self._drift :]
            parts.append(self._plates.foretold(tilts, x[..., :3], matrix, drift))
        result: ANY = np.concatenate(parts, axis=-1)
        return result

    def _distance(self, x: ANY, matrix: ANY, drift: ANY) -> ANY:
        """Return Sampson's distance of each attitude, in raw units."""
        assert self._tumbled is not None
        above = self._tumbled.above_degc[:, None]
        gain = 1.0 + drift[..., None, 3:] * above
        zero = x[..., None, :3] + drift[..., None, :3] * above
        true = ((self._tumbled.raw - zero) @ matrix.swapaxes(-1, -2)) * gain
        length = np.sqrt((true * true).sum(axis=-1))
        slope = (true * gain / length[..., None]) @ matrix
        distance: ANY = (length - 1.0) / np.sqrt((slope * slope).sum(axis=-1))
        return distance


def drift_columns(model: Callable[[ANY], ANY], at: F64, before: int, count: int) -> F64:
    """Return what drifts add to the readings, (n, count); they come after ``before`` others."""
    whole = np.concatenate([at[:before], np.zeros(count), at[before:]])
    columns: F64 = derivative(model, whole)[:, before : before + count]
    return columns


def turned_matrix(head: ANY) -> ANY:
    """Return M, shape (..., 3, 3), from bias (unused), scale, cross-axis and turn, (..., 12).

    The turn about the head's upright axis comes last, so that it alone stays open where only
    the level is known.
    """
    x, y = head[..., 9] / 2, head[..., 10] / 2
    k, about_z = (np.zeros((*head.shape[:-1], 3, 3), dtype=head.dtype) for _ in range(2))
    k[..., 0, 2], k[..., 1, 2], k[..., 2, 0], k[..., 2, 1] = y, -x, -y, x
    tilted = np.linalg.solve(np.eye(3) - k, np.eye(3) + k)  # Cayley: smooth at no turn
    about_z[..., 0, 0] = about_z[..., 1, 1] = np.cos(head[..., 11])
    about_z[..., 1, 0] = np.sin(head[..., 11])
    about_z[..., 0, 1] = -about_z[..., 1, 0]
    about_z[..., 2, 2] = 1.0
    matrix: ANY = about_z @ tilted @ symmetric(head[..., 3:9])
    return matrix


def through(fit: Fit, function: Callable[[ANY], ANY]) -> tuple[F64, F64]:
    """Return a function of all coefficients and its covariance; open ones count as they began.

    ``function`` is analytic, from coefficients (..., p) to values (..., n). An open coefficient
    adds nothing to the covariance: its doubt is for the caller to add.
    """
    loose = np.isnan(fit.values)
    nominal = np.zeros_like(fit.values)
    nominal[3:6] = 1.0
    at = np.where(loose, nominal, fit.values)
    slopes = derivative(function, at)
    covariance = np.nan_to_num(fit.covariance)
    value: F64 = np.real(function(at.astype(complex)))
    return value, slopes @ covariance @ slopes.T
