"""From fits to the parts of a calibration record. Degrees, as the record has them."""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.errors import BadBenchData
from calibration.fits import two_axis
from calibration.fits.combined import BIAS_DRIFT, SCALE_DRIFT, TURN, through, turned_matrix
from calibration.fits.result import Fit
from calibration.fits.tilt_sphere import BIAS, CROSS, SCALE
from calibration.measured import Measured
from calibration.records.parts import TiltPart

F64 = NDArray[np.float64]

OTHERS = ((1, 2), (0, 2), (0, 1))
"""The two axes that a turn about each axis mixes."""


def tilt_part(fit: Fit, reference_degc: float, u_turn: float, nominal: TiltPart) -> TiltPart:
    """Return the part of a combined fit of a three-axis head.

    Args:
        u_turn: standard uncertainty (rad) of how the sensor is turned in its housing, which
            counts where the fit leaves that open.
        nominal: a head that nobody calibrated: what it says of drift counts where none was
            fitted.

    Raises:
        BadBenchData: bias, scale or cross-axis terms are open.
    """
    if set(fit.undetermined) & {*BIAS, *SCALE, *CROSS}:
        raise BadBenchData("tilt", "bias, scale or cross-axis are open", "take further attitudes")
    value, covariance = through(fit, _bias_and_matrix)
    u = np.sqrt(np.diag(covariance))
    u_matrix = u[3:].reshape(3, 3)
    for axis, (i, j) in enumerate(OTHERS):
        if TURN[axis] in fit.undetermined:
            u_matrix[i, j] = math.hypot(u_matrix[i, j], u_turn)
            u_matrix[j, i] = math.hypot(u_matrix[j, i], u_turn)
    return TiltPart.model_validate(
        {
            "reference_temperature_degc": reference_degc,
            "bias_deg": _degrees(value[:3]),
            "u_bias_deg": _degrees(u[:3]),
            "matrix": _rows(value[3:].reshape(3, 3)),
            "u_matrix": _rows(u_matrix),
            **_drift(fit, nominal),
            "dof": fit.dof if math.isfinite(fit.dof) and fit.dof > 0 else None,
        }
    )


def levelled(part: TiltPart, zero_x: Measured | None, zero_y: Measured | None) -> TiltPart:
    """Return the part with the level that another measurement found.

    Args:
        zero_x, zero_y: what the corrected head reads when it is level, rad; None: not told.

    Each is weighed against how well the part knew its level. A three-axis sensor is turned in
    its housing, which bias and scale have nothing to do with; of a two-axis one the bias moves.
    """
    if len(part.bias_deg) == 2:
        return _moved_bias(part, (zero_x, zero_y))
    u_matrix = [list(row) for row in part.u_matrix]
    moves = []
    for i, zero in enumerate((zero_x, zero_y)):
        before = math.hypot(math.radians(part.u_bias_deg[i]), u_matrix[i][2])
        move, after = _weighed(before, zero)
        moves.append(move)
        u_matrix[i][2] = math.sqrt(max(after**2 - math.radians(part.u_bias_deg[i]) ** 2, 0.0))
    turned = _upright(*moves) @ np.array(part.matrix)
    return part.model_copy(
        update={"matrix": _rows(turned), "u_matrix": tuple(map(tuple, u_matrix))}
    )


def two_axis_part(fit: Fit, reference_degc: float, nominal: TiltPart) -> TiltPart:
    """Return the part of a two-axis fit.

    Raises:
        BadBenchData: bias, scale or cross-axis terms are open.
    """
    if set(fit.undetermined) & set(two_axis.HEAD):
        raise BadBenchData("tilt", "bias, scale or cross-axis are open", "take further attitudes")
    u = np.sqrt(np.diag(fit.covariance))
    drift = {name: values[:2] for name, values in _drift(fit, nominal).items()}
    return TiltPart.model_validate(
        {
            "reference_temperature_degc": reference_degc,
            "bias_deg": _degrees(fit.values[:2]),
            "u_bias_deg": _degrees(u[:2]),
            "matrix": _rows(fit.values[2:6].reshape(2, 2)),
            "u_matrix": _rows(u[2:6].reshape(2, 2)),
            **drift,
            "dof": fit.dof if math.isfinite(fit.dof) and fit.dof > 0 else None,
        }
    )


def _moved_bias(part: TiltPart, zeros: tuple[Measured | None, Measured | None]) -> TiltPart:
    pairs = zip(part.u_bias_deg, zeros, strict=True)
    moves, u = np.array([_weighed(math.radians(u), zero) for u, zero in pairs]).T
    bias = np.radians(part.bias_deg) + np.linalg.solve(np.array(part.matrix), moves)
    return part.model_copy(update={"bias_deg": _degrees(bias), "u_bias_deg": _degrees(u)})


def _weighed(before: float, zero: Measured | None) -> tuple[float, float]:
    """Return how far a new finding moves the level, and the uncertainty of both together."""
    if zero is None or before == 0:
        return 0.0, before
    total = before**2 + zero.u**2
    return before**2 / total * zero.value, before * zero.u / math.sqrt(total)


def _upright(x: float, y: float) -> F64:
    """Return the shortest turn that brings (x, y, up) to (0, 0, 1)."""
    up = math.sqrt(1.0 - x * x - y * y)
    k = np.array([[0.0, 0.0, -x], [0.0, 0.0, -y], [x, y, 0.0]])
    turn: F64 = np.eye(3) + k + k @ k / (1.0 + up)
    return turn


def _bias_and_matrix(x: NDArray[Any]) -> NDArray[Any]:
    matrix = turned_matrix(x[..., :12]).reshape(*x.shape[:-1], 9)
    result: NDArray[Any] = np.concatenate([x[..., :3], matrix], axis=-1)
    return result


def _drift(fit: Fit, nominal: TiltPart) -> dict[str, tuple[float, ...]]:
    """Return drift over temperature; where it was not fitted, what any head may have."""
    bias = [_known(fit, name, math.degrees(1.0)) for name in BIAS_DRIFT]
    scale = [*(_known(fit, name, 1.0) for name in SCALE_DRIFT), None]
    whole = {
        "bias_deg_per_degc": (bias, nominal.bias_deg_per_degc, nominal.u_bias_deg_per_degc),
        "scale_per_degc": (scale, nominal.scale_per_degc, nominal.u_scale_per_degc),
    }
    told: dict[str, tuple[float, ...]] = {}
    for name, (found, values, us) in whole.items():
        others = zip(values, us, strict=True)
        pairs = [own or other for own, other in zip(found, others, strict=True)]
        told[name] = tuple(value for value, _ in pairs)
        told[f"u_{name}"] = tuple(u for _, u in pairs)
    return told


def _known(fit: Fit, name: str, unit: float) -> tuple[float, float] | None:
    if name not in fit.names or name in fit.undetermined:
        return None
    return fit.value(name) * unit, fit.u(name) * unit


def _degrees(values: F64) -> tuple[float, ...]:
    return tuple(np.degrees(values).tolist())


def _rows(matrix: F64) -> tuple[tuple[float, ...], ...]:
    return tuple(map(tuple, matrix.tolist()))
