"""What the bar itself adds to a head's readings, and readings on it as a record has them.

Head A on end 1, head B on end 2, the bar not rolled over; ``fits.bar`` has the equations.
"""

import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from calibration.files.check_rows import CheckReading
from calibration.records.parts import CHANNELS as ALL_CHANNELS
from calibration.records.results import FitSummary
from calibration.sensors import Correction

F64 = NDArray[np.float64]

CHANNELS = ("incl_y", "incl_x", "azimuth_cross")
ROWS: dict[str, int] = {name: row for row, name in enumerate(ALL_CHANNELS)}
QUARTER_RAD = math.pi / 2.0
SEAT_RAD = math.radians(0.003)
"""How well a reading repeats on the bar, standard uncertainty: common practice on clean seats."""
AGREE = 4.0
"""Standard uncertainties by which the attitudes may differ before something has moved."""


def corrected(readings: Sequence[CheckReading], correction: Correction) -> dict[str, F64]:
    """Return one head's corrected readings, rad, shape (n,) each; azimuths less their nominal
    quarter turn."""
    values = np.full((len(ROWS), len(readings)), math.nan)
    for column, reading in enumerate(readings):
        for channel, value in reading.raw_rad.items():
            values[ROWS[channel], column] = value
        values[ROWS["temperature"], column] = reading.temperature_degc
    true = correction.apply(values, ROWS)
    found = {channel: true[ROWS[channel]] for channel in CHANNELS}
    sight = found["azimuth_cross"]
    return found | {"azimuth_cross": sight - np.round(sight / QUARTER_RAD) * QUARTER_RAD}


def bar_fits(fits: Sequence[FitSummary]) -> dict[str, FitSummary]:
    """Return the fits of the bar by channel: ``incl_y``, ``incl_x`` and ``azimuth``."""
    return {fit.channel: fit for fit in fits if fit.kind == "bar"}


def azimuth_shares(head: str, length_m: float) -> Mapping[str, float]:
    """Return with which factors the fit's coefficients add to a head's azimuth on its own end."""
    return {f"swing {1 if head == 'A' else 2}": -1.0, "port B - port A": 1.0 / length_m}
