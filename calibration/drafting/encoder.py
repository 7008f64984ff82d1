"""A turn against a reference, or rounds of a dividing plate, to an encoder's part."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import get_args

import numpy as np
from numpy.typing import NDArray

from calibration.drafting.impossible import Impossible
from calibration.drafting.row_names import row_name
from calibration.errors import BadBenchData
from calibration.files.series import DIRECTIONS, ENCODERS, Series
from calibration.files.sheet import Seat
from calibration.fits.backlash import fit_backlash, hysteresis_rad
from calibration.fits.encoder_closure import fit_closure
from calibration.fits.encoder_turn import (
    ORDERS,
    SeatedZero,
    encoder_part,
    fit_turn,
    harmonic_names,
    wrapped_about_mean,
)
from calibration.fits.result import Fit, also_open
from calibration.records.parts import OPEN_ZERO_DEG, CircularChannel, EncoderPart

F64 = NDArray[np.float64]

NEAR_RAD = math.radians(0.5)
"""Positions this near to each other, read from both sides, are one."""
GROSS_DEG = 10.0
"""No encoder in working order is so far off on part of its turn (our own choice)."""


@dataclass(frozen=True, slots=True, eq=False)
class EncoderFound:
    """One channel's fit, the part that came of it (None: harmonics are open), its backlash.

    ``hysteresis_rad`` is the largest gap between the ways as it was seen. ``zero`` is what a stated
    seat on the spindle made of the zero; None: it is open.
    """

    channel: CircularChannel
    method: str
    fit: Fit
    part: EncoderPart | None
    backlash: Fit | None
    open: tuple[str, ...]
    hysteresis_rad: float | None = None
    zero: SeatedZero | None = None


def find_encoder(
    file: Series, u_reference_rad: float, seats: Mapping[CircularChannel, Seat] | None = None
) -> tuple[EncoderFound, ...]:
    """Fit each channel of a turn or closure file.

    A plate or reference encoder knows angles against each other. What the encoder's zero is, only
    a stated seat of the head on it tells; a channel without one has an open zero.

    Args:
        u_reference_rad: standard uncertainty of the reference's angles, for a turn.
        seats: how the head sat, by channel, for a turn.

    Raises:
        BadBenchData: rounds that are not whole, or an encoder that counts backwards.
        CalibrationFileError: a row that cannot be used.
    """
    names = [row.word("channel", ENCODERS) for row in file.rows]
    found = []
    for channel in get_args(CircularChannel):
        own = tuple(r for r, n in zip(file.rows, names, strict=True) if n == channel)
        if own:
            series = Series(file.where, file.kind, own)
            if file.kind == "turn":
                found.append(_turn(channel, series, u_reference_rad, (seats or {}).get(channel)))
            else:
                found.append(_closure(channel, series))
    return tuple(found)


def first_impossible(file: Series) -> Impossible | None:
    """Return the first row of a turn whose encoder stands elsewhere against the reference than in
    the other rows, None where there is none. Raises as ``find_encoder``."""
    if file.kind != "turn":
        return None
    names = np.array([row.word("channel", ENCODERS) for row in file.rows])
    raw, true = file.column_rad("raw_deg"), file.column_rad("true_deg")
    for channel in dict.fromkeys(names.tolist()):
        own = np.flatnonzero(names == channel)
        _refuse_backwards(f"{file.where}: {channel}", raw[own], true[own])
        off = wrapped_about_mean(raw[own] - true[own])
        off = np.degrees(off - np.median(off))
        for at, each in zip(own.tolist(), off.tolist(), strict=True):
            if abs(each) > GROSS_DEG:
                row = file.rows[at]
                text = (
                    f"{file.where}, row {row.number}: raw_deg {row.text('raw_deg')} at true_deg "
                    f"{row.text('true_deg')} is {each:+.2f} deg off the others, limit "
                    f"{GROSS_DEG:g} deg; look for a wrong value in it or for radians (both are "
                    "degrees), or take it again"
                )
                return Impossible(text, abs(each), GROSS_DEG)
    return None


def _turn(
    channel: CircularChannel, file: Series, u_reference_rad: float, seat: Seat | None
) -> EncoderFound:
    raw, true = file.column_rad("raw_deg"), file.column_rad("true_deg")
    _refuse_backwards(f"{file.where}: {channel}", raw, true)
    fit = fit_turn(raw, true, labels=[row_name(file, row) for row in file.rows])
    ways = _both_ways(file, raw, true)
    gap = None if ways is None else fit_backlash(*ways)
    most = None if ways is None else hysteresis_rad(*ways[1:])
    part, zero, method = _part(fit), None, "full turn"
    if part is not None:
        u = math.degrees(u_reference_rad)
        harmonics = tuple(
            h.model_copy(update={"u_deg": math.hypot(h.u_deg, u)}) for h in part.harmonics
        )
        zero = None if seat is None else _seated(part, u, gap, seat)
        known = (part.zero_deg, OPEN_ZERO_DEG) if zero is None else (zero.value_deg, zero.u_deg)
        told = {"zero_deg": known[0], "u_zero_deg": known[1], "harmonics": harmonics}
        part = part.model_copy(update=told)
    if zero is None and "zero" not in fit.undetermined:
        fit = also_open(fit, ("zero",))
    elif seat is not None:
        method = f"full turn; seat {seat.value_deg:+g}° ± {seat.U_deg:g}° (k = 2): {seat.basis}"
    return EncoderFound(channel, method, fit, part, gap, _open(fit), most, zero)


def _seated(part: EncoderPart, u_reference_deg: float, gap: Fit | None, seat: Seat) -> SeatedZero:
    # Whichever way a position is come to, it is half the gap off the middle of both.
    half = 0.0 if gap is None else math.degrees(gap.values[0]) / 2.0
    return SeatedZero(
        as_sat_deg=part.zero_deg,
        u_fit_deg=part.u_zero_deg,
        dof=math.inf if part.dof is None else part.dof,
        u_reference_deg=u_reference_deg,
        half_gap_deg=0.0 if math.isnan(half) else abs(half),
        seat_deg=seat.value_deg,
        U_seat_deg=seat.U_deg,
    )


def _closure(channel: CircularChannel, file: Series) -> EncoderFound:
    places = [(row.count("start"), row.count("position")) for row in file.rows]
    starts, positions = max(s for s, _ in places), max(p for _, p in places)
    wanted = [(s, p) for s in range(1, starts + 1) for p in range(1, positions + 1)]
    if places != wanted:
        first = next((w for w, p in zip(wanted, places, strict=False) if w != p), wanted[-1])
        why = f"round {first[0]}, position {first[1]} is missing or out of order"
        raise BadBenchData(f"{file.where}: {channel}", why, "read all positions of each round")
    raw = np.unwrap(file.column_rad("raw_deg").reshape(starts, positions), axis=1)
    try:
        fit = fit_closure(raw)
    except BadBenchData as error:
        why = f"{starts} rounds of {positions} positions; {error.why} are needed"
        raise BadBenchData(f"{file.where}: {channel}", why, error.remedy) from error
    own = ("zero", *harmonic_names(ORDERS))
    kept = replace(
        fit,
        names=own,
        values=fit.values[: len(own)],
        covariance=fit.covariance[: len(own), : len(own)],
        undetermined=tuple(n for n in fit.undetermined if n in own),
        labels=tuple(row_name(file, row) for row in file.rows),
    )
    return EncoderFound(channel, "circle closure", kept, _part(kept), None, _open(kept))


def _part(fit: Fit) -> EncoderPart | None:
    try:
        return encoder_part(fit)
    except BadBenchData:
        return None


def _open(fit: Fit) -> tuple[str, ...]:
    return tuple(n for n in fit.undetermined if n == "zero" or n.startswith(("cos", "sin")))


def _refuse_backwards(where: str, raw: F64, true: F64) -> None:
    turned = np.angle(np.exp(1j * np.diff(raw))), np.angle(np.exp(1j * np.diff(true)))
    if len(raw) > 2 and float(turned[0] @ turned[1]) < 0:
        remedy = "turn the direction round in the head's firmware, and read again"
        raise BadBenchData(where, "counts backwards against the reference", remedy)


def _both_ways(file: Series, raw: F64, true: F64) -> tuple[F64, F64, F64] | None:
    """Return the positions that were read on both ways, and the errors rising and falling."""
    up = np.array([row.word("direction", DIRECTIONS) == "up" for row in file.rows])
    gap = np.angle(np.exp(1j * (raw - true)))
    at, ways = [], []
    for position, rising in zip(true[up], gap[up], strict=True):
        off = np.abs(np.angle(np.exp(1j * (true[~up] - position))))
        if off.size and off.min() < NEAR_RAD:
            at.append(position)
            ways.append((rising, gap[~up][int(off.argmin())]))
    if not at:
        return None
    rising, falling = np.array(ways).T
    return np.array(at), rising, falling
