"""Known angles against readings: sine bar and gauge blocks, ``sin = h / L``.

Readings are fitted on the known sines (the noise is in the readings), ``s_raw = b + A s_true``,
then turned round to the record's ``s_true = M (s_raw - b)``, ``M = A^-1``.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.errors import BadBenchData
from calibration.fits.effects import allowing
from calibration.fits.guidance import Suggestion, suggest
from calibration.fits.result import Fit, solve

F64 = NDArray[np.float64]

AXES = ("x", "y", "z")


@dataclass(frozen=True, slots=True, eq=False)
class StepFit:
    """``bias`` (k,), ``matrix`` (k, k) as in the record; ``axes`` the fit of each raw axis.

    ``covariance`` (k, k + 1, k + 1) of axis i's own bias and row of A; noise of different axes
    is independent. ``u_bias`` (k,), ``u_matrix`` (k, k) are the standard uncertainties.
    """

    axes: tuple[Fit, ...]
    bias: F64
    matrix: F64
    u_bias: F64
    u_matrix: F64
    dof: float


def sine_of(height_m: float, length_m: float) -> float:
    """Return the sine of the angle that a stack of blocks makes of a sine bar.

    Raises:
        BadBenchData: a length that is not above 0, or a stack taller than the bar is long.
    """
    if not (length_m > 0 and abs(height_m) < length_m):
        raise BadBenchData("sine bar", f"stack {height_m} m, bar {length_m} m", "check the units")
    return height_m / length_m


def fit_steps(raw: F64, true: F64, *, sigma: float | None = None) -> StepFit:
    """Fit k axes (2 or 3) at known sines; ``raw`` and ``true`` have shape (n, k)."""
    if raw.shape != true.shape or raw.ndim != 2:
        raise BadBenchData("steps", "readings and known sines differ in shape", "pair them")
    k = raw.shape[1]
    design = np.column_stack([np.ones(len(true)), true])
    axes = tuple(
        solve(
            design,
            raw[:, i],
            [f"bias {AXES[i]}", *(f"{AXES[i]} by {a}" for a in AXES[:k])],
            sigma=sigma,
        )
        for i in range(k)
    )
    gain = np.array([fit.values[1:] for fit in axes])
    matrix = np.linalg.inv(gain) if np.isfinite(gain).all() else np.full((k, k), np.nan)
    u_bias = np.sqrt([fit.covariance[0, 0] for fit in axes])
    spread = np.array([fit.covariance[1:, 1:] for fit in axes])
    # dM = -M dA M, row i of dA with covariance spread[i].
    variance = np.einsum("ai,jb,ijk,kb->ab", matrix**2, matrix, spread, matrix)
    return StepFit(
        axes,
        np.array([f.values[0] for f in axes]),
        matrix,
        u_bias,
        np.sqrt(np.maximum(variance, 0.0)),
        axes[0].dof,
    )


def doubted(steps: StepFit, true: F64, u_askew_rad: float) -> tuple[str, ...]:
    """Return the rows to distrust, where a head is set down askew by a turn of its own each time.

    Such a turn shows in the axes that are not tilted; ``true`` (n, k) are the known sines.
    """
    named: list[str] = []
    for i, fit in enumerate(steps.axes):
        across = np.delete(true, i, axis=1).sum(axis=1)
        columns = np.diag(across)[:, across != 0.0]
        named += allowing(fit, columns, np.full(columns.shape[1], u_askew_rad)).distrusted()
    return tuple(dict.fromkeys(named))


def next_step(taken: F64, candidates: Sequence[F64]) -> Suggestion:
    """Return which known sines, each (k,), to set next after ``taken`` (n, k)."""
    rows = [np.concatenate([[1.0], c])[None] for c in candidates]
    return suggest(np.column_stack([np.ones(len(taken)), taken]), rows)
