"""A still recording to noise, bias instability, warm-up and drift of each channel."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.errors import BadBenchData
from calibration.files.series import Series
from calibration.fits.allan import Allan, overlapping_allan
from calibration.fits.result import Fit
from calibration.fits.warmup import fit_warmup
from calibration.records.parts import CHANNELS, AnyChannel, ChannelFigures
from calibration.records.results import CurvePoint, Stability

F64 = NDArray[np.float64]

ANGLES = CHANNELS[:-1]
"""All but the temperature."""
UNEVEN = 0.02
"""Largest share of the interval by which a row may be early or late."""
LEAST = 16
WIRE_STEP_DEG = 1e-4
PROVEN = 3.0
"""A warm-up is told when it is so many standard uncertainties from nought."""


@dataclass(frozen=True, slots=True, eq=False)
class StillFound:
    """One channel: its curve, the drift fit (None: no temperature), figures for the record."""

    channel: AnyChannel
    allan: Allan
    drift: Fit | None
    stability: Stability
    figures: ChannelFigures


def find_still(file: Series, reference_degc: float) -> tuple[StillFound, ...]:
    """Return what each channel of a recording says.

    Raises:
        BadBenchData: too short, or with gaps.
        CalibrationFileError: a row that cannot be used.
    """
    time_s = np.array([row.value("time_s") for row in file.rows])
    interval = _interval(file, time_s)
    temperature, behind = file.temperatures(), _readings_behind(file)
    found = []
    for channel in ANGLES:
        if all(row.has(f"{channel}_deg") for row in file.rows):
            y = np.degrees(np.unwrap(file.column_rad(f"{channel}_deg")))
            found.append(
                _channel(channel, y, time_s, interval, temperature, reference_degc, behind)
            )
    if not found:
        raise BadBenchData(file.where, "it holds no channel", "record at least one, such as incl_x")
    return tuple(found)


def _interval(file: Series, time_s: F64) -> float:
    if len(time_s) < LEAST:
        why = f"{len(time_s)} rows are too few, at least {LEAST}"
        raise BadBenchData(file.where, why, "record longer")
    steps = np.diff(time_s)
    interval = float(np.median(steps))
    uneven = np.flatnonzero(~(np.abs(steps - interval) <= UNEVEN * interval))
    if not interval > 0 or uneven.size:
        at = int(uneven[0]) + 2 if uneven.size else 2
        why = f"row {at} is not one interval after the row before"
        raise BadBenchData(file.where, why, "record again, without a gap")
    return interval


def _readings_behind(file: Series) -> float:
    """Return how many readings a row is the mean of, on average; 1 where none says it."""
    told = [row.count("n") if row.has("n") else 1 for row in file.rows]
    return math.fsum(told) / len(told)


def _channel(
    channel: AnyChannel,
    y: F64,
    time_s: F64,
    interval: float,
    temperature: F64,
    reference_degc: float,
    behind: float,
) -> StillFound:
    allan = overlapping_allan(y, interval)
    drift = _drift(y, time_s, temperature, reference_degc)
    density = allan.noise_density
    # A row may be the mean of several readings; the record has the noise of one.
    noise = math.sqrt(behind * float(np.square(np.diff(y)).mean()) / 2.0)
    curve = tuple(
        CurvePoint(tau_s=t, deviation=d, low=low, high=high)
        for t, d, low, high in zip(
            *(c.tolist() for c in (allan.tau_s, allan.deviation, allan.low, allan.high)),
            strict=True,
        )
    )
    stability = Stability.model_validate(
        {
            "channel": channel,
            "unit": "deg",
            "recorded_s": _text(float(time_s[-1] - time_s[0]) + interval),
            "noise_density": None if math.isnan(density) else _text(density),
            "bias_instability": _text(allan.bias_instability),
            "at_tau_s": _text(allan.bias_instability_tau_s),
            **_told(drift),
            "curve": curve,
        }
    )
    figures = ChannelFigures(noise_deg=noise, resolution_deg=WIRE_STEP_DEG)
    return StillFound(channel, allan, drift, stability, figures)


def _drift(y: F64, time_s: F64, temperature: F64, reference_degc: float) -> Fit | None:
    if not np.isfinite(temperature).all():
        return None
    blocks = max(1, len(y) // 200)
    count = len(y) // blocks * blocks

    def means(values: F64) -> F64:
        result: F64 = values[:count].reshape(-1, blocks).mean(axis=1)
        return result

    try:
        return fit_warmup(means(time_s), means(y), means(temperature), reference_degc)
    except BadBenchData:
        return None


def _told(drift: Fit | None) -> Mapping[str, str | None]:
    """Return what the drift fit proves; a recording of a head that is warm proves no warm-up."""
    if drift is None:
        return {}
    told: dict[str, str | None] = {}
    if _proven(drift, "warm-up"):
        told |= {"warm_up": _text(drift.value("warm-up")), "warm_up_s": _text(drift.value("tau"))}
    if _proven(drift, "per degC"):
        told["per_degc"] = _text(drift.value("per degC"))
    return told


def _proven(fit: Fit, name: str) -> bool:
    u = fit.u(name)
    return math.isfinite(u) and u > 0 and abs(fit.value(name)) > PROVEN * u


def _text(value: float) -> str:
    """Return three significant digits without an exponent."""
    if value == 0:
        return "0"
    places = max(0, 2 - math.floor(math.log10(abs(value))))
    return f"{value:.{min(places, 15)}f}"
