"""Two heads on the reference bar: their zeros, told apart from bar and stand, into both drafts."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.drafting.row_names import row_name
from calibration.drafting.wander import steadied, strayed
from calibration.errors import BadBenchData
from calibration.files.series import Series
from calibration.files.table import Row
from calibration.fits.bar import BarAttitude, BarFit, fit_bar
from calibration.fits.parts import levelled
from calibration.measured import Measured
from calibration.records.parts import (
    CHANNELS,
    AzimuthChannel,
    Coefficients,
    EncoderPart,
    Port,
    TiltPart,
)
from calibration.sensors import DEFAULT_ENCODER, DEFAULT_TILT, Correction

F64 = NDArray[np.float64]

HEADS = ("A", "B")
FLAGS = ("turned", "rolled", "exchanged")
BARS_M = (0.2, 10.0)
"""Shorter or longer than this no reference bar for two heads is made (our own choice)."""
ROWS: dict[str, int] = {name: row for row, name in enumerate(CHANNELS)}


@dataclass(frozen=True, slots=True, eq=False)
class BarFound:
    """The fits of the three channels, and what each head's coefficients become."""

    fit: BarFit
    after: Mapping[str, Coefficients]
    open: tuple[str, ...]
    """Zeros that the attitudes leave open."""


def find_bar(
    file: Series,
    known: Mapping[str, Coefficients],
    length_m: float,
    azimuth: AzimuthChannel = "azimuth_cross",
) -> BarFound:
    """Fit the bar, and put the zeros that it tells into what is known of heads A and B.

    Raises:
        BadBenchData: an attitude without both heads, or no reading more than there are unknowns.
        CalibrationFileError: a row that cannot be used.
    """
    fit = _by_rows(fit_pairs(file, known, length_m, azimuth), file)
    degc = _temperatures(file)
    open_ = tuple(n for n in fit.undetermined if "zero" in n or n.startswith("azimuth port"))
    after = dict(known)
    if not any("zero" in n for n in open_):
        if not all(math.isfinite(f.u("zero A")) for f in (fit.incl_y, fit.azimuth)):
            why = "no reading is left over to tell how good the zeros are"
            raise BadBenchData(file.where, why, "read the heads in another attitude")
        after = _mended(fit, known, azimuth, degc)
    return BarFound(fit, after, open_)


def fit_pairs(
    file: Series,
    known: Mapping[str, Coefficients],
    length_m: float,
    azimuth: AzimuthChannel = "azimuth_cross",
) -> BarFit:
    """Fit the bar on readings corrected by what is known of heads A and B already.

    Raises: as ``find_bar``, but for the readings that are left over.
    """
    if not BARS_M[0] <= length_m <= BARS_M[1]:
        why = f"a bar of {length_m * 1e3:g} mm; {BARS_M[0] * 1e3:g} to {BARS_M[1] * 1e3:g} mm are"
        raise BadBenchData(file.where, f"{why} possible", "give its length in mm")
    attitudes, rows = _pairs(file)
    corrected = {
        letter: _corrected([pair[i] for pair in rows], known[letter], azimuth)
        for i, letter in enumerate(HEADS)
    }
    for pair, *quarters in zip(
        rows, *(_quarters(corrected[x][azimuth]) for x in HEADS), strict=True
    ):
        _see_facing(pair, quarters)
    along, across, sight = (
        np.stack([corrected[letter][name] for letter in HEADS], axis=1)
        for name in ("incl_y", "incl_x", azimuth)
    )
    return fit_bar(attitudes, along, across, _from_quarter(sight), length_m)


def _by_rows(fit: BarFit, file: Series) -> BarFit:
    """Return the fits with their readings named by file and row."""
    named = tuple(row_name(file, row) for pair in _pairs(file)[1] for row in pair)
    return replace(
        fit,
        incl_y=replace(fit.incl_y, labels=named),
        incl_x=replace(fit.incl_x, labels=named),
        azimuth=replace(fit.azimuth, labels=named),
    )


def _pairs(file: Series) -> tuple[list[BarAttitude], list[tuple[Row, Row]]]:
    """Return attitudes and their two rows, head A's first."""
    if len(file.rows) % 2:
        raise BadBenchData(file.where, "a row has no partner", "read both heads in each attitude")
    attitudes, rows = [], []
    for one, other in zip(file.rows[::2], file.rows[1::2], strict=True):
        pair = {row.word("head", HEADS): row for row in (one, other)}
        flags = [tuple(row.word(f, ("0", "1")) for f in FLAGS) for row in (one, other)]
        if len(pair) < 2 or flags[0] != flags[1]:
            raise one.fault("and the next are not heads A and B in one attitude; pair them")
        attitudes.append(BarAttitude(*(flag == "1" for flag in flags[0])))
        rows.append((pair["A"], pair["B"]))
    return attitudes, rows


def _corrected(rows: list[Row], own: Coefficients, azimuth: str) -> dict[str, F64]:
    """Return readings corrected by a head's coefficients, rad, shape (n,) each."""
    values = np.full((len(CHANNELS), len(rows)), math.nan)
    for j, row in enumerate(rows):
        for name in ("incl_x", "incl_y"):
            values[ROWS[name], j] = math.radians(row.value(f"{name}_deg"))
        if row.has("incl_z_deg"):
            values[ROWS["incl_z"], j] = math.radians(row.value("incl_z_deg"))
        values[ROWS[azimuth], j] = math.radians(row.value("azimuth_deg"))
        if row.has("temperature_degc"):
            values[ROWS["temperature"], j] = row.value("temperature_degc")
    encoders = {name: part for name, part in own.encoders.items() if name == azimuth}
    known = own.model_copy(update={"encoders": encoders})
    correction = Correction.from_coefficients(known, "draft")
    return dict(zip(CHANNELS, correction.apply(values, ROWS), strict=True))


def _from_quarter(sight: F64) -> F64:
    """Return azimuths less the quarter turn at which each head sees the other."""
    result: F64 = sight - _quarters(sight) * (math.pi / 2)
    return result


def _quarters(sight: F64) -> F64:
    """Return how many quarter turns each azimuth is, nearly."""
    quarters: F64 = np.round(sight / (math.pi / 2))
    return quarters


def _see_facing(pair: tuple[Row, Row], quarters: Sequence[float]) -> None:
    """Two heads that look along one bar at each other read half a turn apart."""
    if (quarters[0] - quarters[1]) % 4.0 != 2.0:
        told = " and ".join(row.text("azimuth_deg") for row in pair)
        reason = (
            f"azimuth_deg of this attitude is {told}: heads that see each other along the bar "
            "read half a turn apart; give degrees, of the channel that looks along the bar"
        )
        raise pair[0].fault(reason)


def _mended(
    fit: BarFit,
    known: Mapping[str, Coefficients],
    azimuth: AzimuthChannel,
    degc: Mapping[str, float],
) -> dict[str, Coefficients]:
    after = {}
    for letter in HEADS:
        own = known[letter]
        name = f"zero {letter}"
        along, sight = (f.measured((name,), source="bar")[0] for f in (fit.incl_y, fit.azimuth))
        tilt = _levelled(own.tilt or DEFAULT_TILT, along, degc[letter])
        encoder = own.encoders.get(azimuth, DEFAULT_ENCODER)
        after[letter] = own.model_copy(
            update={
                "tilt": tilt,
                "encoders": {**own.encoders, azimuth: _zeroed(encoder, sight)},
            }
        )
    return _ported(fit, after, azimuth)


def _temperatures(file: Series) -> dict[str, float]:
    """Return the mean temperature at which each head was read, degC, NaN where none is told."""
    temperatures = file.temperatures()
    letters = np.array([row.word("head", HEADS) for row in file.rows])
    told = {a: temperatures[(letters == a) & np.isfinite(temperatures)] for a in HEADS}
    return {a: float(each.mean()) if each.size else math.nan for a, each in told.items()}


def _levelled(part: TiltPart, along: Measured, degc: float) -> TiltPart:
    """Return the part with the level along the bar, which was found at ``degc``.

    To the part's reference it is carried over a drift that is known no better than the part says.
    The head wanders in the bar's readings as in its own, so no weighing makes that less.
    """
    above = 0.0 if math.isnan(degc) else degc - part.reference_temperature_degc
    u_drift = abs(above) * math.radians(part.u_bias_deg_per_degc[1])
    carried = along + Measured.of(0.0, u_drift, source="drift up to the bar") if u_drift else along
    mended = levelled(steadied(part), None, carried)
    return mended if part.u_wander_deg is None else strayed(mended, part.u_wander_deg)


def _zeroed(encoder: EncoderPart, zero: Measured) -> EncoderPart:
    """Return the encoder with the zero that the bar found on top of its own."""
    return encoder.model_copy(
        update={
            "zero_deg": encoder.zero_deg + math.degrees(zero.value),
            "u_zero_deg": math.degrees(zero.u),
        }
    )


def _ported(
    fit: BarFit, after: dict[str, Coefficients], azimuth: AzimuthChannel
) -> dict[str, Coefficients]:
    """Share the difference of the forward offsets out over both ports, by their variances."""
    ports = {letter: after[letter].ports.get(azimuth) for letter in HEADS}
    a, b = ports["A"], ports["B"]
    if a is None or b is None or "port B - port A" in fit.azimuth.undetermined:
        return after
    u_a, u_b, u = a.u_forward_m, b.u_forward_m, fit.azimuth.u("port B - port A")
    total = u_a**2 + u_b**2 + u**2
    if total == 0:
        return after
    off = fit.azimuth.value("port B - port A") - (b.forward_m - a.forward_m)
    mended = {
        "A": _moved(a, -off * u_a**2 / total, total),
        "B": _moved(b, off * u_b**2 / total, total),
    }
    return {
        letter: after[letter].model_copy(
            update={"ports": {**after[letter].ports, azimuth: mended[letter]}}
        )
        for letter in HEADS
    }


def _moved(port: Port, by_m: float, total: float) -> Port:
    u = port.u_forward_m * math.sqrt(max(1.0 - port.u_forward_m**2 / total, 0.0))
    return port.model_copy(update={"forward_m": port.forward_m + by_m, "u_forward_m": u})
