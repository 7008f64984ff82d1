"""How far a tilt zero strays with time, which no residual of one morning's readings shows.

At rest a sensor flickers (noise of density h / f). The readings of a reversal, some minutes long,
then share an error against the mean of a day of variance ``h ln(day / minutes)``, and
``h = B^2 / pi`` with B the bias instability (IEEE 952: B^2 / pi f; the floor of the Allan
deviation is 0.664 B). Change over weeks is for the check on the bar and the record's due date.
"""

import math
from collections.abc import Sequence

from calibration.records.parts import TiltPart
from calibration.records.results import Stability

AXES = ("incl_x", "incl_y", "incl_z")
READ_S = 300.0
"""A reversal, or an attitude or two of the bar, is read in about this time."""
DAY_S = 86400.0
UNKNOWN_DEG = 0.001
"""Standard uncertainty where nobody recorded the head at rest (our own guess)."""


def u_wander_deg(bias_instability_deg: float) -> float:
    """Return the standard uncertainty of a zero that its wander leaves."""
    return bias_instability_deg * math.sqrt(math.log(DAY_S / READ_S) / math.pi)


def unsteady(part: TiltPart, stability: Sequence[Stability]) -> TiltPart:
    """Return the part with what its zeros stray by in ``u_bias_deg``, in place of any before."""
    told = {s.channel: s.bias_instability for s in stability}
    floors = [told.get(axis) for axis in AXES[: len(part.bias_deg)]]
    wander = tuple(UNKNOWN_DEG if b is None else u_wander_deg(float(b)) for b in floors)
    return strayed(steadied(part), wander)


def strayed(part: TiltPart, wander_deg: Sequence[float]) -> TiltPart:
    """Return a steady part with a wander of its zeros."""
    whole = tuple(math.hypot(u, w) for u, w in zip(part.u_bias_deg, wander_deg, strict=True))
    return part.model_copy(update={"u_bias_deg": whole, "u_wander_deg": tuple(wander_deg)})


def steadied(part: TiltPart) -> TiltPart:
    """Return the part as its readings alone tell it, without the wander that all of them share."""
    if part.u_wander_deg is None:
        return part
    pairs = zip(part.u_bias_deg, part.u_wander_deg, strict=True)
    u = tuple(math.sqrt(max(whole**2 - wander**2, 0.0)) for whole, wander in pairs)
    return part.model_copy(update={"u_bias_deg": u, "u_wander_deg": None})
