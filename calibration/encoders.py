"""The encoders' error model: ``true = raw - zero - sum_k (a_k cos k raw + b_k sin k raw)``.

Eccentricity of the disc or magnet shows as the first harmonic, its tilt and the unequal gain
of two tracks as the second, the interpolation of four quadrants as the fourth.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Self, TypeVar

import numpy as np
from numpy.typing import NDArray

from calibration.measured import Measured, Part, Source
from calibration.records.parts import OPEN_ZERO_DEG, EncoderPart

F64 = NDArray[np.float64]

ORDERS = (1, 2, 4)
DIFFERENCES = ("rotation",)
"""Channels of which differences alone are used: a run-out's phase and the place of the wheel that
it is carried to are read by the same encoder, whose zero drops out."""
C = TypeVar("C", bound=str)


@dataclass(frozen=True, slots=True, eq=False)
class Encoders:
    """Coefficients of m encoders, rad. ``zero`` (m, 1); ``cosine``, ``sine`` (3, m, 1).

    ``u_zero`` (m,), ``u_harmonic`` (m, 3) and ``dof`` (m,) are their standard uncertainties;
    ``highest`` is the place in ``ORDERS`` after the last harmonic that is not zero.
    """

    owner: str
    channels: tuple[str, ...]
    zero: F64
    cosine: F64
    sine: F64
    u_zero: F64
    u_harmonic: F64
    dof: F64
    highest: int

    @classmethod
    def from_parts(cls, parts: Mapping[C, EncoderPart], owner: str) -> Self:
        """Turn the record's parts, in degrees, into coefficients."""
        m = len(parts)
        table = np.zeros((3, m, 3))
        for j, part in enumerate(parts.values()):
            for h in part.harmonics:
                table[ORDERS.index(h.order), j] = h.cos_deg, h.sin_deg, h.u_deg
        table = np.radians(table)
        used = [i + 1 for i in range(3) if table[i, :, :2].any()]
        return cls(
            owner=owner,
            channels=tuple(parts),
            zero=np.radians([[p.zero_deg] for p in parts.values()]).reshape(m, 1),
            cosine=table[:, :, 0:1].copy(),
            sine=table[:, :, 1:2].copy(),
            u_zero=np.radians([p.u_zero_deg for p in parts.values()]),
            u_harmonic=table[:, :, 2].T.copy(),
            dof=np.array([math.inf if p.dof is None else p.dof for p in parts.values()]),
            highest=max(used, default=0),
        )

    def correct(self, raw_rad: F64) -> F64:
        """Return true angles, shape (m, n), for readings (m, n); turns are kept, not wrapped."""
        true = raw_rad - self.zero
        if self.highest == 0:
            return true
        cos, sin = np.cos(raw_rad), np.sin(raw_rad)
        for i in range(self.highest):
            # 1, 2, 4 are doublings: no further trigonometry is needed.
            if i:
                cos, sin = (cos - sin) * (cos + sin), 2.0 * sin * cos
            true -= self.cosine[i] * cos
            true -= self.sine[i] * sin
        return true

    def zero_open(self, channel: str) -> bool:
        """Say whether the zero of a channel was left open; False where nothing is said of it."""
        if channel not in self.channels:
            return False
        return float(self.u_zero[self.channels.index(channel)]) >= math.radians(OPEN_ZERO_DEG)

    def systematic(self, channel: str, reading_rad: float) -> Measured:
        """Return the error left in one channel: 0, with a shared part per coefficient.

        A rotation whose zero is open is told from that zero, wherever it is.
        """
        j = self.channels.index(channel)
        without = channel in DIFFERENCES and self.zero_open(channel)
        sizes = {"zero": 0.0 if without else -float(self.u_zero[j])}
        for order, u in zip(ORDERS, self.u_harmonic[j].tolist(), strict=True):
            sizes[f"cos {order}"] = -u * math.cos(order * reading_rad)
            sizes[f"sin {order}"] = -u * math.sin(order * reading_rad)
        dof = float(self.dof[j])
        parts = tuple(
            Part(Source(f"{self.owner}: {channel} {what}", dof, shared=True), (size,))
            for what, size in sizes.items()
            if size
        )
        return Measured(0.0, parts, frozenset((self.owner,)))
