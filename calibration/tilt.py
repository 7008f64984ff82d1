"""The inclinometer's error model: ``s_true = M(T) @ (s_raw - b(T))`` on sines.

A sensing axis reads the sine of its elevation (its share of gravity), so bias, scale and
cross-axis sensitivity are linear there, and only there.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from calibration.measured import Measured, Part, Source
from calibration.records.parts import TiltPart

F64 = NDArray[np.float64]

AXES = ("incl_x", "incl_y", "incl_z")
LEVEL_SINE = (0.0, 0.0, 1.0)
"""What the axes of a level head read; stands in for an axis that has no value."""


@dataclass(frozen=True, slots=True, eq=False)
class Tilt:
    """Coefficients for k axes (2 or 3). Sines, per degree Celsius where named so.

    ``bias`` (k,), ``matrix`` (k, k), ``bias_per_degc`` (k,), ``scale_per_degc`` (k,), each with
    its standard uncertainties; ``owner`` names the record in the sources.
    """

    owner: str
    reference_degc: float
    bias: F64
    matrix: F64
    bias_per_degc: F64
    scale_per_degc: F64
    u_bias: F64
    u_matrix: F64
    u_bias_per_degc: F64
    u_scale_per_degc: F64
    dof: float
    thermal: bool

    @classmethod
    def from_part(cls, part: TiltPart, owner: str) -> Self:
        """Turn the record's part, in degrees, into coefficients for sines."""
        bias_per_degc = np.radians(part.bias_deg_per_degc)
        scale_per_degc = np.array(part.scale_per_degc)
        return cls(
            owner=owner,
            reference_degc=part.reference_temperature_degc,
            bias=np.radians(part.bias_deg),
            matrix=np.array(part.matrix),
            bias_per_degc=bias_per_degc,
            scale_per_degc=scale_per_degc,
            u_bias=np.radians(part.u_bias_deg),
            u_matrix=np.array(part.u_matrix),
            u_bias_per_degc=np.radians(part.u_bias_deg_per_degc),
            u_scale_per_degc=np.array(part.u_scale_per_degc),
            dof=math.inf if part.dof is None else part.dof,
            thermal=bool(bias_per_degc.any() or scale_per_degc.any()),
        )

    @property
    def channels(self) -> tuple[str, ...]:
        """The channels that the model takes and gives."""
        return AXES[: self.bias.shape[0]]

    def correct(self, raw_rad: F64, temperature_degc: F64) -> F64:
        """Return true elevations, shape (k, n), for readings (k, n) and temperatures (n,).

        An axis without a value (NaN) keeps none, and the others are corrected as if it were
        level; without a temperature the reference temperature is taken.
        """
        sines = np.sin(raw_rad)
        missing = np.isnan(sines)
        some_missing = bool(missing.any())
        if some_missing:
            level = np.array(LEVEL_SINE[: len(sines)])[:, None]
            sines = np.where(missing, level, sines)
        if self.thermal:
            above = temperature_degc - self.reference_degc
            above[np.isnan(above)] = 0.0
            sines -= self.bias[:, None] + self.bias_per_degc[:, None] * above
            true = self.matrix @ sines
            true *= 1.0 + self.scale_per_degc[:, None] * above
        else:
            true = self.matrix @ (sines - self.bias[:, None])
        elevation: F64 = np.arcsin(np.minimum(np.maximum(true, -1.0), 1.0))
        if some_missing:
            elevation[missing] = math.nan
        return elevation

    def systematic(
        self, channel: str, readings_rad: Mapping[str, float], temperature_degc: float
    ) -> Measured:
        """Return the error left in one channel: 0, with a shared part per coefficient."""
        i = AXES.index(channel)
        raw = [
            math.sin(readings_rad[axis]) if axis in readings_rad else LEVEL_SINE[j]
            for j, axis in enumerate(self.channels)
        ]
        above = 0.0 if math.isnan(temperature_degc) else temperature_degc - self.reference_degc
        unbiased = np.array(raw) - self.bias - self.bias_per_degc * above
        row = self.matrix[i] * (1.0 + self.scale_per_degc[i] * above)
        unscaled = float(self.matrix[i] @ unbiased)
        true = unscaled * (1.0 + float(self.scale_per_degc[i]) * above)
        # d(asin s) = ds / cos; an axis that stands upright (incl_z) has no linear law.
        slope = 1.0 / max(math.sqrt(max(0.0, 1.0 - true * true)), 1e-3)
        shares = [(f"scale of {channel} over temperature", unscaled * above)]
        sizes = [float(self.u_scale_per_degc[i])]
        for j, axis in enumerate(self.channels):
            shares.append((f"bias of {axis}", -float(row[j])))
            sizes.append(float(self.u_bias[j]))
            shares.append((f"bias of {axis} over temperature", -float(row[j]) * above))
            sizes.append(float(self.u_bias_per_degc[j]))
            shares.append((f"{channel} by {axis}", float(unbiased[j])))
            sizes.append(float(self.u_matrix[i, j]))
        return self._zero(shares, sizes, slope)

    def _zero(self, shares: list[tuple[str, float]], sizes: list[float], slope: float) -> Measured:
        parts = tuple(
            Part(Source(f"{self.owner}: {what}", self.dof, shared=True), (slope * share * u,))
            for (what, share), u in zip(shares, sizes, strict=True)
            if share * u
        )
        return Measured(0.0, parts, frozenset((self.owner,)))
