"""From fits to the parts of a calibration record. Degrees, as the record has them."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from calibration.errors import BadBenchData
from calibration.fits.result import Fit
from calibration.fits.tilt_sphere import BIAS, matrix_of
from calibration.fits.tilt_steps import StepFit
from calibration.measured import Measured
from calibration.records.parts import Port, TiltPart

F64 = NDArray[np.float64]


def sphere_part(fit: Fit, reference_degc: float, drift: Sequence[Fit], u_open: float) -> TiltPart:
    """Return the part of a sphere fit.

    ``u_open`` is the standard uncertainty of the turn in the housing (rad), which the sphere
    leaves open and which enters every cross-axis term; it also stands in for cross-axis terms
    that were not fitted. ``drift`` holds one temperature fit per axis.
    """
    u = np.sqrt(np.diag(fit.covariance))
    u_matrix = np.zeros((3, 3))
    np.fill_diagonal(u_matrix, u[3:6])
    cross = np.hypot(np.nan_to_num(u[6:9]), u_open)
    u_matrix[[0, 0, 1], [1, 2, 2]] = u_matrix[[1, 2, 2], [0, 0, 1]] = cross
    bias = np.array([fit.value(name) for name in BIAS])
    return _part(bias, u[:3], matrix_of(fit), u_matrix, fit.dof, reference_degc, drift)


def steps_part(steps: StepFit, reference_degc: float, drift: Sequence[Fit]) -> TiltPart:
    """Return the part of a fit to known steps."""
    return _part(
        steps.bias, steps.u_bias, steps.matrix, steps.u_matrix, steps.dof, reference_degc, drift
    )


def port_of(forward_m: Measured, outward_m: Measured) -> Port:
    """Return a port; the bar gives one head's forward offset against the other's."""
    return Port(
        forward_m=forward_m.value,
        outward_m=outward_m.value,
        u_forward_m=forward_m.u,
        u_outward_m=outward_m.u,
    )


def _part(
    bias: F64, u_bias: F64, m: F64, u_m: F64, dof: float, degc: float, drift: Sequence[Fit]
) -> TiltPart:
    if len(drift) != len(bias):
        raise BadBenchData("temperature", "one fit per axis is needed", "run the missing axes")
    figures = [[f.value(n), f.u(n)] for f in drift for n in ("bias per degC", "scale per degC")]
    thermal = np.array(figures).reshape(len(bias), 2, 2)
    everything = [bias, u_bias, m.ravel(), u_m.ravel(), thermal.ravel()]
    if not np.isfinite(np.concatenate(everything)).all():
        raise BadBenchData("tilt", "some coefficients are still open", "take further attitudes")
    return TiltPart.model_validate(
        {
            "reference_temperature_degc": degc,
            "bias_deg": tuple(np.degrees(bias).tolist()),
            "u_bias_deg": tuple(np.degrees(u_bias).tolist()),
            "matrix": tuple(map(tuple, m.tolist())),
            "u_matrix": tuple(map(tuple, u_m.tolist())),
            "bias_deg_per_degc": tuple(np.degrees(thermal[:, 0, 0]).tolist()),
            "u_bias_deg_per_degc": tuple(np.degrees(thermal[:, 0, 1]).tolist()),
            "scale_per_degc": tuple(thermal[:, 1, 0].tolist()),
            "u_scale_per_degc": tuple(thermal[:, 1, 1].tolist()),
            "dof": dof if math.isfinite(dof) else None,
        }
    )
