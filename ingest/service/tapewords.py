"""When a tape distance agrees with what heads tell of it, and what is said where it does not."""

import math

from ingest.job.course.events import Taped

PROVES = 2.0
"""k of the expanded uncertainty that a tape's difference is held against."""


def may_differ_m(u_tape_m: float, u_told_m: float) -> float:
    """Return how far a tape and the heads may lie apart, m, from their standard uncertainties."""
    return PROVES * math.hypot(u_tape_m, u_told_m)


def disagreement(taped: Taped) -> str:
    """Return by how much a tape does not agree with the heads; empty where nothing says so."""
    told, u = taped.predicted_m, taped.u_predicted_m
    if taped.agrees is not False or told is None or u is None:
        return ""
    apart, most = abs(taped.measured_m - told), may_differ_m(taped.u_m, u)
    tape, heads, apart_mm, most_mm = (
        f"{m * 1e3:.1f} mm" for m in (taped.measured_m, told, apart, most)
    )
    return (
        f"{taped.line} does not agree: {tape} by tape, {heads} by the heads, "
        f"{apart_mm} apart where {most_mm} may be; tape it again"
    )
