"""Tilt readings as arrays: attitudes on the sphere, and placements at known angles."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]
ANY = NDArray[Any]


@dataclass(frozen=True, slots=True, eq=False)
class Tumbled:
    """Attitudes on the sphere: raw shares of gravity (n, 3), temperatures above reference (n,)."""

    raw: F64
    above_degc: F64


@dataclass(frozen=True, slots=True, eq=False)
class Placed:
    """Readings of one placement on a plate: raw (n, 3), temperature above reference (n,).

    ``axis`` 0 or 1 is the head's axis along which ``angle_rad`` (n,) is known, but for the
    plate's own tilt; ``facing`` (n,) is -1 where the head was turned half round on its place.
    """

    name: str
    axis: int
    angle_rad: F64
    facing: F64
    raw: F64
    above_degc: F64


@dataclass(frozen=True, slots=True, eq=False)
class Plates:
    """All placed readings in one, shape (n,), each with its placement's number."""

    number: NDArray[np.int64]
    along_x: NDArray[np.bool_]
    angle_rad: F64
    facing: F64
    above_degc: F64

    @classmethod
    def of(cls, placed: Sequence[Placed]) -> "Plates":
        counts = [len(p.raw) for p in placed]
        return cls(
            np.repeat(np.arange(len(placed)), counts),
            np.repeat([p.axis == 0 for p in placed], counts),
            np.concatenate([p.angle_rad for p in placed]),
            np.concatenate([p.facing for p in placed]),
            np.concatenate([p.above_degc for p in placed]),
        )

    def true(self, tilts: ANY) -> ANY:
        """Return true shares of gravity, (..., n, 3), at tilts along and across each place."""
        along, across = tilts[..., 2 * self.number], tilts[..., 2 * self.number + 1]
        known = np.sin(self.angle_rad + self.facing * along)
        other = np.sin(self.facing * across)
        up = np.sqrt(1.0 - known * known - other * other)
        x, y = np.where(self.along_x, known, other), np.where(self.along_x, other, known)
        stacked: ANY = np.stack([x, y, up], axis=-1)
        return stacked

    def foretold(self, tilts: ANY, bias: ANY, matrix: ANY, drift: ANY) -> ANY:
        """Return raw readings, shape (..., 3 n)."""
        above = self.above_degc[:, None]
        unscaled = self.true(tilts) / (1.0 + drift[..., None, 3:] * above)
        zero = bias[..., None, :] + drift[..., None, :3] * above
        raw: ANY = zero + unscaled @ np.linalg.inv(matrix).swapaxes(-1, -2)
        return raw.reshape(*raw.shape[:-2], -1)
