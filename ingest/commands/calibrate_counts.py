"""``levelhead calibrate counts``: how many counts an encoder makes in a turn, and which way."""

import argparse
import math

import numpy as np
from numpy.typing import NDArray

from calibration.errors import BadBenchData
from calibration.fits.encoder_turn import fit_counts
from calibration.fits.guidance import suggest
from ingest.commands.calibrate_advice import Advice
from ingest.commands.calibrate_work import Answer, Work, as_json, coefficients, read_series

F64 = NDArray[np.float64]

PER_TURN = "counts per turn"
LEAST_TURNS = 0.9
"""Over less than about a turn the encoder's own harmonics pass for counts (our own choice)."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("file", metavar="FILE.csv", help="counts at known turns of the shaft")


def find(args: argparse.Namespace, work: Work) -> Answer:
    """Fit and say. Nothing goes into a record: the figure belongs into the head's firmware.

    Raises:
        BadBenchData: the shaft was not turned far enough, or counts did not follow it.
    """
    series, _ = read_series(args.file, None, ("counts",))
    turns, counts = (np.array([r.value(c) for r in series.rows]) for c in ("turns", "counts"))
    if np.ptp(turns) < LEAST_TURNS:
        why = f"the shaft was turned by {np.ptp(turns):.3g} turns"
        raise BadBenchData(args.file, why, "turn it through one whole turn or more")
    fit = fit_counts(counts, turns)
    per_turn = fit.value(PER_TURN)
    if abs(per_turn) < 1.0:
        why = f"{per_turn:+.3g} counts per turn: the counts do not follow the shaft"
        raise BadBenchData(args.file, why, "look after the encoder and its wiring")
    told = coefficients(fit)
    doubt = told[fit.names.index(PER_TURN)]["U"]
    nearest, way = round(abs(per_turn)), "with" if per_turn > 0 else "against"
    fits = None if doubt is None else abs(abs(per_turn) - nearest) <= max(doubt, 1e-9 * nearest)
    lines = [f"{PER_TURN}: {abs(per_turn):.3f}{_doubt(doubt)}, counted {way} the turn"]
    lines.append(f"  rank {fit.rank} of 2, {fit.dof:.0f} degrees of freedom; still open: nothing")
    if fit.distrusted():
        lines.append(f"  take again, not like the others: {', '.join(fit.distrusted())}")
    lines.append(_advice(nearest, fits))
    if per_turn < 0:
        lines.append("  turn the direction round in the head's firmware")
    advice = _next(turns, needed=fits is not True)
    lines += advice.lines
    found = {"nearest": nearest, "whole": fits, "direction": way} | advice.as_json
    return Answer("\n".join(lines), {"what": "counts"} | found | as_json(fit, told))


def _next(turns: F64, *, needed: bool) -> Advice:
    """The slope of a line is told best as far out as one gets, on either side."""
    farther = [float(turns.max()) + 1.0, float(turns.min()) - 1.0]
    rows = [np.array([[1.0, at]]) for at in farther]
    best = suggest(np.column_stack([np.ones(turns.size), turns]), rows).index
    return Advice(f"on to {farther[best]:+g} turns, and the counts there", needed)


def _doubt(expanded: float | None) -> str:
    known = expanded is not None and math.isfinite(expanded)
    return f" ± {expanded:.2g}" if known else " (too few rows for an uncertainty)"


def _advice(nearest: int, whole: bool | None) -> str:
    if whole is None:
        return f"  more rows are needed, whole turns are best; the nearest number is {nearest}"
    if whole:
        return f"  set the firmware to {nearest} counts per turn"
    return (
        f"  no whole number lies within that ({nearest} is the nearest): counts were lost, or the "
        "turns are not those written down; repeat it, more slowly"
    )
