"""Sphere, steps, reversal and oven files to one tilt part."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.drafting.tilt_checks import SCALES
from calibration.drafting.tilt_rows import (
    TiltSetup,
    axis_labels,
    labels,
    placements,
    tumbled,
    without_upright,
)
from calibration.drafting.wander import UNKNOWN_DEG
from calibration.errors import BadBenchData
from calibration.files.series import AXES, Series
from calibration.fits import two_axis
from calibration.fits.combined import BIAS_DRIFT, DRIFT, HEAD, fit_tilt
from calibration.fits.parts import tilt_part, two_axis_part
from calibration.fits.placed import Placed
from calibration.fits.result import Fit
from calibration.fits.seats import soaked
from calibration.fits.tilt_reversal import fit_reversal
from calibration.fits.tilt_sphere import BIAS_AND_SCALE, FULL, fit_sphere
from calibration.fits.tilt_temperature import fit_temperature
from calibration.records.parts import TiltPart
from calibration.sensors import DEFAULT_TILT

F64 = NDArray[np.float64]

U_SOAK_RAD = math.radians(UNKNOWN_DEG)
UNSETTLED = (
    "a row is wrong, or a file holds another unit than its columns say: look for heights in inches "
    "or cm (height_mm), angles in radians (_deg), a sine bar's length that is not in mm; leaving "
    "files out one by one tells which"
)


@dataclass(frozen=True, slots=True, eq=False)
class TiltFound:
    """The fits by what they are of, and the part that came of them, None where it is open."""

    fits: Mapping[str, Fit]
    part: TiltPart | None
    method: str
    open: tuple[str, ...]
    """What is open of the head itself (a plate's own tilt is nobody's concern)."""


def find_tilt(files: Sequence[Series], setup: TiltSetup) -> TiltFound:
    """Fit all tilt files of one head at once.

    Raises:
        BadBenchData: the files contradict each other, or carry no fit.
        CalibrationFileError: a row that cannot be used.
    """
    alone = _alone(files, setup) if all(f.has_z for f in files if f.kind == "sphere") else None
    if alone is not None:
        return alone
    three = all(f.has_z for f in files)
    spheres = [f for f in files if f.kind == "sphere"]
    if spheres and not three:
        remedy = "give incl_z_deg in every file, or leave the sphere out"
        bare = ", ".join(f.where for f in files if not f.has_z)
        raise BadBenchData(bare, "no incl_z_deg, and a sphere needs all three axes", remedy)
    thermal = any(f.kind == "oven" for f in files)
    if not thermal:
        setup = _where_read(files, setup)
    fit = _fit(files, setup, three, thermal)
    if thermal and set(fit.undetermined) & {*BIAS_DRIFT[:2]}:
        setup = _where_read(files, setup)  # an oven that was hardly heated tells no drift
        fit = _fit(files, setup, three, thermal)
    if thermal:
        placed = [p for f in files if f.kind != "sphere" for p in placements(f, setup)]
        fit = soaked(fit, placed if three else list(map(without_upright, placed)), U_SOAK_RAD)
    part = _part(fit, setup, three)
    method = ", ".join(dict.fromkeys(f.kind for f in files))
    if part is not None:
        _refuse_units(part, files)
        placed = [p for f in files if f.kind != "sphere" for p in placements(f, setup)]
        part = _with_level(part, {p.axis for p in placed if np.ptp(p.facing) > 0}, setup)
    return TiltFound({"incl": fit}, part, method, _open(fit))


def _refuse_units(part: TiltPart, files: Sequence[Series]) -> None:
    """Refuse scales that no sensor has: what stands under ``_deg`` is no degrees."""
    scales = [part.matrix[i][i] for i in range(len(AXES))]
    odd = [scale for scale in scales if not SCALES[0] < scale < SCALES[1]]
    if odd:
        where = ", ".join(f.where for f in files)
        remedy = "columns that end in _deg hold degrees, not radians or shares of gravity"
        raise BadBenchData(where, f"the fit finds a scale of {odd[0]:.3g}", remedy)


def _where_read(files: Sequence[Series], setup: TiltSetup) -> TiltSetup:
    """Return the setup with the readings' mean temperature for reference.

    What is fitted without a drift holds where it was read: anywhere else the drift, which nobody
    knows, comes on top.
    """
    told = np.concatenate([f.temperatures() for f in files])
    told = told[np.isfinite(told)]
    if not told.size:
        return setup
    return replace(setup, reference_degc=round(float(told.mean()), 2))


def _fit(files: Sequence[Series], setup: TiltSetup, three: bool, thermal: bool) -> Fit:
    spheres = [f for f in files if f.kind == "sphere"]
    others = [f for f in files if f.kind != "sphere"]
    placed = [p for f in others for p in placements(f, setup)]
    u_bias = np.radians(DEFAULT_TILT.u_bias_deg_per_degc).tolist()
    u_scale = DEFAULT_TILT.u_scale_per_degc[:2]
    try:
        if three:
            attitudes = tumbled(spheres, setup) if spheres else None
            drift, square = (*u_bias, *u_scale), setup.u_alignment_rad
            fit = fit_tilt(attitudes, placed, thermal=thermal, u_drift=drift, u_askew_rad=square)
        else:
            two = [without_upright(p) for p in placed]
            drift = (*u_bias[:2], *u_scale)
            fit = two_axis.fit_two_axes(
                two, thermal=thermal, u_drift=drift, u_askew_rad=setup.u_alignment_rad
            )
    except BadBenchData as error:
        where = ", ".join(f.where for f in files)
        raise BadBenchData(where, f"{error.what} {error.why}", UNSETTLED) from error
    return replace(fit, labels=labels(spheres, others, 3 if three else 2))


def _alone(files: Sequence[Series], setup: TiltSetup) -> TiltFound | None:
    """Fit what one kind of file tells by itself, where that is no whole part."""
    kinds = {f.kind for f in files}
    if kinds == {"sphere"}:
        raw = tumbled(files, setup).raw
        if not BIAS_AND_SCALE <= len(raw) < FULL:
            return None
        fit = replace(fit_sphere(raw), labels=labels(files, (), 3))
        return TiltFound({"incl": fit}, None, "sphere", fit.undetermined)
    if kinds not in ({"reversal"}, {"oven"}):
        return None
    placed = [p for f in files for p in placements(f, setup)]
    fits = {i: _axis(i, [p for p in placed if p.axis == i]) for i in (0, 1)}
    told = {
        f"incl_{AXES[i]}": replace(fit, labels=axis_labels(files, i))
        for i, fit in fits.items()
        if fit is not None
    }
    open_ = [f"{n} {name[-1]}" for name, fit in told.items() for n in fit.undetermined]
    return TiltFound(told, None, kinds.pop(), (*open_, "matrix"))


def _axis(i: int, placed: Sequence[Placed]) -> Fit | None:
    """Fit one axis by reversal or in the oven, its own reading alone."""
    if not placed:
        return None
    raw = np.concatenate([p.raw[:, i] for p in placed])
    if placed[0].name.startswith("reversal"):
        return fit_reversal(raw, np.concatenate([p.facing for p in placed]))
    true = np.sin(np.concatenate([p.angle_rad for p in placed]))
    return fit_temperature(raw, true, np.concatenate([p.above_degc for p in placed]), 0.0)


def _part(fit: Fit, setup: TiltSetup, three: bool) -> TiltPart | None:
    try:
        if three:
            part = tilt_part(fit, setup.reference_degc, setup.u_turn_rad, DEFAULT_TILT)
        else:
            part = two_axis_part(fit, setup.reference_degc, DEFAULT_TILT)
    except BadBenchData:
        return None
    return _with_references(part, setup) if setup.sine_bar_mm is not None else part


def _with_references(part: TiltPart, setup: TiltSetup) -> TiltPart:
    """Add what no repetition shows: the sine bar's length, and how a head stands on it."""
    u = np.array(part.u_matrix)
    for i in range(2):
        u[i, i] = math.hypot(u[i, i], setup.u_length)
        u[i, 1 - i] = math.hypot(u[i, 1 - i], setup.u_alignment_rad)
    return part.model_copy(update={"u_matrix": tuple(map(tuple, u.tolist()))})


def _with_level(part: TiltPart, reversed_axes: set[int], setup: TiltSetup) -> TiltPart:
    """Widen the level of an axis that was never turned half round on its place.

    A fit tells it from the plate's own slope by what the cosine of a step differs from 1, which
    is less than what a head that stands askew adds: the number is of no use as an uncertainty.
    """
    u_matrix, u_bias = [list(row) for row in part.u_matrix], list(part.u_bias_deg)
    for i in {0, 1} - reversed_axes:
        if len(u_bias) == 2:
            u_bias[i] = max(u_bias[i], DEFAULT_TILT.u_bias_deg[i])
        else:
            u_matrix[i][2] = max(u_matrix[i][2], setup.u_turn_rad)
    return part.model_copy(
        update={"u_matrix": tuple(map(tuple, u_matrix)), "u_bias_deg": tuple(u_bias)}
    )


def _open(fit: Fit) -> tuple[str, ...]:
    own = {*HEAD, *DRIFT, *two_axis.HEAD}
    return tuple(name for name in fit.undetermined if name in own)
