"""Results of an adjusted network as measured values, all from the one covariance."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calibration.measured import Measured, Part, Source
from ingest.core.units import DEG
from ingest.geometry.network.adjusting import Adjusted
from ingest.geometry.network.forms import Form, Unknown
from ingest.geometry.network.quantities import Quantity, quantities
from ingest.geometry.network.unknowns import F64

NOISE = "noise of the sightlines and tapes"
ADJUSTMENT = "sightline network"
LARGEST_LOOSE = 1e-6
"""A quantity that changes by more along what is not determined (rad for rad) is not either."""

BY_DEFINITION = 1e-9
"""A quantity that changes by less with any unknown is what it is by definition."""

LARGEST_U_RAD = 5.0 * DEG
"""An angle known no better counts as not determined: it could not be told from its limits."""


@dataclass(frozen=True, slots=True)
class Result:
    """A quantity and what was measured of it; None where it is not determined."""

    quantity: Quantity
    measured: Measured | None


def results(adjusted: Adjusted) -> tuple[Result, ...]:
    """Return all results of the vehicle, rad and m."""
    unknown = Unknown(adjusted.unknowns, adjusted.state)
    found = quantities(adjusted.network, unknown)
    values = measured(adjusted, [quantity.form for quantity in found])
    return tuple(
        Result(quantity, None if value is None or _vague(quantity, value) else value)
        for quantity, value in zip(found, values, strict=True)
    )


def measured(adjusted: Adjusted, forms: Sequence[Form | None]) -> tuple[Measured | None, ...]:
    """Return quantities with their uncertainty, None for those that are not determined.

    The noise of readings is one source, which all of them share; every mounting's zero is a source
    of its own, systematic.
    """
    there = [form for form in forms if form is not None]
    if not there:
        return tuple(None for _ in forms)
    gradients = np.array([form.slope for form in there])
    lines = gradients @ adjusted.factored.inverse
    told = determined(adjusted, gradients)
    noise = Source(NOISE)
    zeros = [Source(adjusted.unknowns.mounted[i].named(), shared=True) for i in adjusted.held]
    m = len(adjusted.rows)
    made = iter(
        _measured(form, line, noise, zeros, m) if known else None
        for form, line, known in zip(there, lines, told, strict=True)
    )
    return tuple(None if form is None else next(made) for form in forms)


def determined(adjusted: Adjusted, gradients: F64) -> tuple[bool, ...]:
    """Return which quantities, of gradients (q, p), the readings determine."""
    loose = adjusted.factored.loose(gradients)
    if not loose.size:
        return (True,) * len(gradients)
    # Lengths are judged by the network's extent, as angles are by the radian.
    size = np.abs(gradients * adjusted.factored.size).max(axis=1)
    share = np.abs(loose).max(axis=1) / np.maximum(size, 1.0)
    return tuple(bool(each <= LARGEST_LOOSE) for each in share)


def _measured(form: Form, line: F64, noise: Source, zeros: Sequence[Source], m: int) -> Measured:
    if np.abs(form.slope).max() < BY_DEFINITION:
        # The offset of an axle that the centre line runs through, the reference's own scrub.
        return Measured(round(form.value, 9) + 0.0, (), frozenset((ADJUSTMENT,)))
    parts = [Part(noise, tuple(line[:m].tolist()))]
    parts += [
        Part(source, (each,)) for source, each in zip(zeros, line[m:].tolist(), strict=True) if each
    ]
    return Measured(form.value, tuple(parts), frozenset((ADJUSTMENT,)))


def _vague(quantity: Quantity, value: Measured) -> bool:
    return quantity.angular and not (math.isfinite(value.u) and value.u <= LARGEST_U_RAD)
