"""An encoder against known angles: a reference encoder or indexed positions.

``raw - true = zero + sum_k (a_k cos k raw + b_k sin k raw)``, linear since raw is known.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.errors import BadBenchData
from calibration.fits.guidance import Suggestion, suggest
from calibration.fits.result import Fit, solve
from calibration.harmonic_order import proven_orders
from calibration.harmonics import harmonic_matrix
from calibration.records.parts import OPEN_ZERO_DEG, EncoderPart, Harmonic

F64 = NDArray[np.float64]

ORDERS = (1, 2, 4)


@dataclass(frozen=True, slots=True)
class SeatedZero:
    """An encoder's zero against a reference that knows differences alone, degrees.

    ``as_sat_deg`` is what was read as the head sat, ``seat_deg`` how far its encoder was turned
    against the reference then, with ``U_seat_deg`` (k = 2): what the seat adds to the true angle is
    taken from the zero. ``half_gap_deg`` is half of what up and down differ by.
    """

    as_sat_deg: float
    u_fit_deg: float
    dof: float
    u_reference_deg: float
    half_gap_deg: float
    seat_deg: float
    U_seat_deg: float

    @property
    def value_deg(self) -> float:
        """The zero."""
        return self.as_sat_deg - self.seat_deg

    @property
    def u_deg(self) -> float:
        """Its standard uncertainty."""
        shares = self.u_fit_deg, self.u_reference_deg, self.half_gap_deg, self.U_seat_deg / 2.0
        return math.hypot(*shares)


def harmonic_names(orders: Sequence[int]) -> tuple[str, ...]:
    """Return ``cos k`` and ``sin k`` for each order."""
    return tuple(f"{part} {k}" for k in orders for part in ("cos", "sin"))


def fit_turn(
    raw_rad: F64,
    true_rad: F64,
    *,
    orders: Sequence[int] = ORDERS,
    candidates: Sequence[int] = (),
    sigma: float | None = None,
    labels: Sequence[str] | None = None,
) -> Fit:
    """Fit zero and harmonics; ``candidates`` are added only where an F test proves them.

    Args:
        raw_rad, true_rad: shape (n,), wrapped or not, counted the same way round.
    """
    error = wrapped_about_mean(raw_rad - true_rad)
    chosen = proven_orders(raw_rad, error, orders=orders, candidates=candidates)
    names = ("zero", *harmonic_names(chosen))
    return solve(harmonic_matrix(raw_rad, chosen), error, names, sigma=sigma, labels=labels)


def fit_counts(counts: F64, reference_turns: F64, *, sigma: float | None = None) -> Fit:
    """Fit ``start`` and ``counts per turn``, negative where the encoder counts backwards.

    ``counts`` are unwrapped, ``reference_turns`` known, shape (n,); whole turns are best, as
    harmonics then stay out of it.
    """
    design = np.column_stack([np.ones(len(counts)), reference_turns])
    return solve(design, counts, ("start", "counts per turn"), sigma=sigma)


def next_position(fit: Fit, candidates_rad: Sequence[float]) -> Suggestion:
    """Return which raw angle to take next after a turn fitted by ``fit_turn``."""
    orders = [int(name.split()[1]) for name in fit.names[1::2]]
    rows = [harmonic_matrix(np.array([angle]), orders) for angle in candidates_rad]
    return suggest(fit.jacobian, rows)


def encoder_part(fit: Fit) -> EncoderPart:
    """Return the record's part; a zero that the fit does not know is 0 with u of half a turn.

    Raises:
        BadBenchData: a harmonic is undetermined, or has no place in a record.
    """
    known = {int(n.split()[1]) for n in fit.names if n.startswith("cos ")}
    if not known <= set(ORDERS) or set(harmonic_names(sorted(known))) & set(fit.undetermined):
        raise BadBenchData("encoder", "harmonics open or beyond 1, 2, 4", "take more positions")
    has_zero = "zero" in fit.names and "zero" not in fit.undetermined
    return EncoderPart(
        zero_deg=math.degrees(fit.value("zero")) if has_zero else 0.0,
        u_zero_deg=math.degrees(fit.u("zero")) if has_zero else OPEN_ZERO_DEG,
        harmonics=tuple(_harmonic(fit, k) for k in ORDERS if k in known),
        dof=fit.dof if math.isfinite(fit.dof) else None,
    )


def wrapped_about_mean(angle_rad: F64) -> F64:
    """Return angles within half a turn of their circular mean, itself within half a turn."""
    mean = float(np.angle(np.exp(1j * angle_rad).sum()))
    result: F64 = mean + np.angle(np.exp(1j * (angle_rad - mean)))
    return result


def _harmonic(fit: Fit, order: int) -> Harmonic:
    cos, sin = f"cos {order}", f"sin {order}"
    return Harmonic.model_validate(
        {
            "order": order,
            "cos_deg": math.degrees(fit.value(cos)),
            "sin_deg": math.degrees(fit.value(sin)),
            # The record keeps one figure for both: the larger is safe.
            "u_deg": math.degrees(max(fit.u(cos), fit.u(sin))),
        }
    )
