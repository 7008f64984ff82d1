"""Positions of a sweep that do not fit the others."""

import numpy as np

from calibration.outliers import kept_rows
from ingest.core.errors import MeasurementRefused
from ingest.geometry.sweep.readings import MASK
from ingest.geometry.sweep.refine import Refined

OUTLIER_SHARE = 0.3
"""A sweep with a larger share of rejected readings is not trusted."""


def outlying(fit: Refined) -> list[MASK]:
    """Return which positions of each side have a reading that does not fit the others."""
    # Residuals at the size of readings, so that what counts as their rounding is known.
    kept = kept_rows(fit.basis, (fit.whitened + fit.design.sum(axis=1))[:, None])
    found: list[MASK] = []
    at = 0
    for rest in fit.residuals:
        own = kept[at : at + rest.size].reshape(rest.shape)
        found.append(np.logical_not(np.logical_and.reduce(own, axis=0)))
        at += rest.size
    return found


def refuse_outliers(rows: MASK) -> None:
    """Raise ``MeasurementRefused`` (``outliers``) where too many of a side are left out."""
    out, allowed = int((~rows).sum()), int(OUTLIER_SHARE * len(rows))
    if out > allowed:
        raise MeasurementRefused(
            "outliers",
            f"{out} of {len(rows)} readings do not fit the others (allowed {allowed}); hold the "
            "brake, lock the head, let the readings settle and sweep again",
            figure=float(out),
            limit=float(allowed),
        )
