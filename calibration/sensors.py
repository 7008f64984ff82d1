"""Applying a calibration to a head's readings, and what its own doubt is worth."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from calibration.encoders import Encoders
from calibration.measured import Measured
from calibration.records.chain import coefficients_of
from calibration.records.parts import Coefficients, EncoderPart, Harmonic, TiltPart
from calibration.records.text import AnyRecord
from calibration.tilt import Tilt

F64 = NDArray[np.float64]

DEFAULT_TILT = TiltPart(
    reference_temperature_degc=20.0,
    bias_deg=(0.0, 0.0, 0.0),
    u_bias_deg=(0.5, 0.5, 0.5),
    matrix=((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)),
    u_matrix=((0.01, 0.01, 0.01), (0.01, 0.01, 0.01), (0.01, 0.01, 0.01)),
    bias_deg_per_degc=(0.0, 0.0, 0.0),
    u_bias_deg_per_degc=(0.01, 0.01, 0.01),
    scale_per_degc=(0.0, 0.0, 0.0),
    u_scale_per_degc=(0.0002, 0.0002, 0.0002),
)
"""A head nobody calibrated: what a soldered low-cost accelerometer may be off by (our guess,
from data-sheet figures in general; large on purpose)."""

DEFAULT_ENCODER = EncoderPart(
    zero_deg=0.0,
    u_zero_deg=1.0,
    harmonics=(
        Harmonic(order=1, cos_deg=0.0, sin_deg=0.0, u_deg=0.3),
        Harmonic(order=2, cos_deg=0.0, sin_deg=0.0, u_deg=0.1),
    ),
)
"""The same for an encoder whose disc or magnet nobody centred against a reference."""

CIRCULAR = ("rotation", "azimuth_cross", "azimuth_track", "steer")


@dataclass(frozen=True, slots=True, eq=False)
class Correction:
    """One head's calibration in the form in which it is applied.

    ``stands_on`` is the record's id, or says that a default was taken; ``calibrated`` is False
    for the default, whose coefficients change nothing and whose uncertainty is large.
    """

    stands_on: str
    calibrated: bool
    tilt: Tilt | None
    encoders: Encoders

    @classmethod
    def from_record(cls, record: AnyRecord) -> Self:
        """Return the correction that a sealed record states."""
        return cls.from_coefficients(coefficients_of(record), record.record_id)

    @classmethod
    def from_coefficients(cls, coefficients: Coefficients, owner: str) -> Self:
        """Return the correction of coefficients; ``owner`` names them in the sources."""
        part = coefficients.tilt
        tilt = None if part is None else Tilt.from_part(part, owner)
        return cls(owner, True, tilt, Encoders.from_parts(coefficients.encoders, owner))

    @classmethod
    def nominal(cls, head_id: str) -> Self:
        """Return the identity, with default uncertainties, for a head that has no record.

        ``head_id`` keeps the unknown errors of two such heads apart.
        """
        owner = f"default uncertainty of head {head_id}"
        encoders = Encoders.from_parts(dict.fromkeys(CIRCULAR, DEFAULT_ENCODER), owner)
        return cls(owner, False, Tilt.from_part(DEFAULT_TILT, owner), encoders)

    def apply(self, values: F64, rows: Mapping[str, int]) -> F64:
        """Return corrected readings, shape (8, n); ``values`` stay as they are.

        Args:
            values: one row per channel, rad (temperature degC), NaN where there is no value.
            rows: channel name -> row, for every channel that the record names.
        """
        result = values.copy()
        if not self.calibrated:
            return result
        if self.tilt is not None:
            at = [rows[name] for name in self.tilt.channels]
            result[at] = self.tilt.correct(values[at], values[rows["temperature"]])
        if self.encoders.channels:
            at = [rows[name] for name in self.encoders.channels]
            result[at] = self.encoders.correct(values[at])
        return result

    def systematic(
        self,
        channel: str,
        readings_rad: Mapping[str, float],
        temperature_degc: float = math.nan,
    ) -> Measured:
        """Return the error that calibration leaves in ``channel``: 0 rad, with shared parts.

        Each part is one coefficient of the record, so that adding it to two readings of one
        head correlates them as they are. ``readings_rad`` holds the channel's own reading and,
        for cross-axis parts, those of the other inclinometer axes (level where missing).

        Raises:
            KeyError: neither record nor default knows the channel, or its reading is missing.
        """
        if self.tilt is not None and channel in self.tilt.channels:
            if channel not in readings_rad:
                raise KeyError(channel)
            return self.tilt.systematic(channel, readings_rad, temperature_degc)
        if channel not in self.encoders.channels:
            raise KeyError(channel)
        return self.encoders.systematic(channel, readings_rad[channel])

    def systematic_u_rad(
        self,
        channel: str,
        readings_rad: Mapping[str, float],
        temperature_degc: float = math.nan,
    ) -> float:
        """Return the standard uncertainty of ``systematic``."""
        return self.systematic(channel, readings_rad, temperature_degc).u
