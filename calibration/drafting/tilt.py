"""Sphere, steps, reversal and oven files to one tilt part."""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.errors import BadBenchData
from calibration.files.series import AXES, FACINGS, Series
from calibration.fits import two_axis
from calibration.fits.combined import BIAS_DRIFT, DRIFT, HEAD, Placed, Tumbled, fit_tilt
from calibration.fits.parts import tilt_part, two_axis_part
from calibration.fits.result import Fit
from calibration.fits.tilt_reversal import fit_reversal
from calibration.fits.tilt_sphere import FULL, fit_sphere
from calibration.fits.tilt_steps import sine_of
from calibration.fits.tilt_temperature import fit_temperature
from calibration.records.parts import TiltPart
from calibration.sensors import DEFAULT_TILT

F64 = NDArray[np.float64]

SCALES = (0.5, 2.0)
"""True over raw: no inclination sensor in working order is beyond these (our own choice)."""
BIAS_AND_SCALE = 6
"""Attitudes on the sphere from which bias and scale alone are told."""


@dataclass(frozen=True, slots=True)
class TiltSetup:
    """What the readings stand on beside themselves; uncertainties are standard ones.

    ``sine_bar_mm`` is None where no sine bar was used. ``u_length`` is that of its length over
    the length; ``u_alignment_rad`` how squarely a head stands on it; ``u_turn_rad`` how the
    sensor is turned in its housing where nothing tells.
    """

    reference_degc: float
    u_turn_rad: float
    u_alignment_rad: float
    sine_bar_mm: float | None = None
    u_length: float = 0.0


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
        raise BadBenchData("tilt", "a sphere needs all three axes", remedy)
    thermal = any(f.kind == "oven" for f in files)
    if not thermal:
        setup = _where_read(files, setup)
    fit = _fit(files, setup, three, thermal)
    if thermal and set(fit.undetermined) & {*BIAS_DRIFT[:2]}:
        setup = _where_read(files, setup)  # an oven that was hardly heated tells no drift
        fit = _fit(files, setup, three, thermal)
    part = _part(fit, setup, three)
    method = ", ".join(dict.fromkeys(f.kind for f in files))
    if part is not None:
        _refuse_units(part, files)
        placed = [p for f in files if f.kind != "sphere" for p in _placements(f, setup)]
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
    placed = [p for f in files if f.kind != "sphere" for p in _placements(f, setup)]
    u_bias = np.radians(DEFAULT_TILT.u_bias_deg_per_degc).tolist()
    u_scale = DEFAULT_TILT.u_scale_per_degc[:2]
    if three:
        tumbled = _tumbled(spheres, setup) if spheres else None
        return fit_tilt(tumbled, placed, thermal=thermal, u_drift=(*u_bias, *u_scale))
    two = [_without_upright(p) for p in placed]
    return two_axis.fit_two_axes(two, thermal=thermal, u_drift=(*u_bias[:2], *u_scale))


def _alone(files: Sequence[Series], setup: TiltSetup) -> TiltFound | None:
    """Fit what one kind of file tells by itself, where that is no whole part."""
    kinds = {f.kind for f in files}
    if kinds == {"sphere"}:
        raw = _tumbled(files, setup).raw
        if not BIAS_AND_SCALE <= len(raw) < FULL:
            return None
        fit = fit_sphere(raw)
        return TiltFound({"incl": fit}, None, "sphere", fit.undetermined)
    if kinds not in ({"reversal"}, {"oven"}):
        return None
    placed = [p for f in files for p in _placements(f, setup)]
    fits = {f"incl_{AXES[i]}": _axis(i, [p for p in placed if p.axis == i]) for i in (0, 1)}
    told = {name: fit for name, fit in fits.items() if fit is not None}
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


def _tumbled(spheres: Sequence[Series], setup: TiltSetup) -> Tumbled:
    raw = np.concatenate([f.sines() for f in spheres])
    return Tumbled(raw, np.concatenate([_above(f, setup) for f in spheres]))


def _placements(file: Series, setup: TiltSetup) -> Iterator[Placed]:
    """Yield the rows of each axis of a file: one placement each."""
    angle, facing = _angles(file, setup), _facings(file)
    raw, above = file.sines(), _above(file, setup)
    names = [row.word("axis", AXES) for row in file.rows]
    for i, axis in enumerate(AXES):
        own = np.array([name == axis for name in names])
        if own.any():
            name = f"{file.kind} {axis}"
            yield Placed(name, i, angle[own], facing[own], raw[own], above[own])


def _angles(file: Series, setup: TiltSetup) -> F64:
    if file.kind == "oven":
        return file.column_rad("true_deg", 90.0)
    if file.kind == "reversal":
        return np.zeros(len(file.rows))
    if setup.sine_bar_mm is None:
        remedy = "name it in the sheet's references, or give --sine-bar-mm"
        raise BadBenchData("steps", "the sine bar's length is not known", remedy)
    signs = [1.0 if row.word("sign", ("+1", "1", "-1")) != "-1" else -1.0 for row in file.rows]
    sines = [sine_of(row.value("height_mm") / 1e3, setup.sine_bar_mm / 1e3) for row in file.rows]
    angles: F64 = np.arcsin(np.array(signs) * np.array(sines))
    return angles


def _facings(file: Series) -> F64:
    if file.kind != "reversal":
        return np.ones(len(file.rows))
    words = [row.word("facing", FACINGS) for row in file.rows]
    return np.array([1.0 if word == FACINGS[0] else -1.0 for word in words])


def _above(file: Series, setup: TiltSetup) -> F64:
    """Return temperatures above the reference; one that is not told counts as none."""
    above: F64 = np.nan_to_num(file.temperatures() - setup.reference_degc)
    return above


def _without_upright(p: Placed) -> Placed:
    return Placed(p.name, p.axis, p.angle_rad, p.facing, p.raw[:, :2], p.above_degc)
