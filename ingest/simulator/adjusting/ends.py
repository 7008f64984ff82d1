"""An axle held by two arms along the vehicle, and what moves its ends.

Coordinates: the axle's middle as built, axes of the vehicle. The axle is put where both arms fit
(Newton's method on the two lengths), which is no formula of a correction.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from ingest.core.blocks import F64
from ingest.core.frames import Side
from ingest.simulator.adjusting.errors import NotAtHand, Stuck
from ingest.simulator.adjusting.screw import Screw
from ingest.simulator.adjusting.shelf import Pack

ARM_M = 0.6
NEWTON_STEPS = 30
HELD_M = 1e-13


class End(Protocol):
    """What holds one end of an axle."""

    @property
    def longer_m(self) -> float:
        """How much longer than as found the arm is."""

    @property
    def shift_m(self) -> tuple[float, float]:
        """How far forward, and how far up, its anchor stands from as found."""


@dataclass(slots=True)
class ArmEnd:
    """An arm whose length is set by a thread."""

    screw: Screw
    shift_m: tuple[float, float] = (0.0, 0.0)

    @property
    def longer_m(self) -> float:
        return self.screw.moved_m


@dataclass(slots=True)
class EccentricEnd:
    """An anchor on an eccentric; ``mark_rad`` is what its mark shows, from the middle forward."""

    radius_m: float
    range_rad: float
    first_rad: float
    mark_rad: float = field(init=False)
    longer_m: float = 0.0

    def __post_init__(self) -> None:
        self.mark_rad = self.first_rad

    @property
    def shift_m(self) -> tuple[float, float]:
        forward = math.sin(self.mark_rad) - math.sin(self.first_rad)
        upward = math.cos(self.first_rad) - math.cos(self.mark_rad)
        return self.radius_m * forward, self.radius_m * upward

    def swing(self, forward_rad: float) -> None:
        """Turn it towards the front. Raises ``Stuck`` at the end of its range."""
        if abs(self.mark_rad + forward_rad) > self.range_rad * (1.0 + 1e-9):
            raise Stuck("it is at the end of its range")
        self.mark_rad += forward_rad


@dataclass(slots=True)
class PackEnd:
    """An anchor on shims; ``sign`` is +1 where a thicker pack moves the axle's end forward."""

    sign: float
    pack: Pack
    longer_m: float = 0.0

    @property
    def shift_m(self) -> tuple[float, float]:
        return self.sign * self.pack.thicker_m, 0.0


@dataclass(slots=True)
class PinEnd:
    """An anchor on a bar pin, in one of its positions."""

    forward_m: Mapping[str, float]
    first: str
    at: str = field(init=False)
    longer_m: float = 0.0

    def __post_init__(self) -> None:
        self.at = self.first

    @property
    def shift_m(self) -> tuple[float, float]:
        return self.forward_m[self.at] - self.forward_m[self.first], 0.0

    def set(self, position: str) -> None:
        """Fit it otherwise. Raises ``NotAtHand`` where it has no such position."""
        if position not in self.forward_m:
            raise NotAtHand(f"it has no position {position!r}")
        self.at = position


class HeldAxle:
    """An axle, its brackets ``between_m`` apart, on arms that lead ahead or behind."""

    def __init__(
        self, between_m: float, heading_rad: float, ahead: bool, ends: Mapping[Side, End]
    ) -> None:
        self.ends = ends
        across = np.array([-math.sin(heading_rad), math.cos(heading_rad), 0.0])
        reach = np.array([ARM_M if ahead else -ARM_M, 0.0, 0.0])
        self._brackets = {side: side.sign * between_m / 2.0 * across for side in Side}
        self._anchors = {side: bracket + reach for side, bracket in self._brackets.items()}

    def held(self) -> tuple[float, float]:
        """Return how far the axle is turned to the left and moved ahead, rad and m."""
        turned, ahead = 0.0, 0.0
        for _ in range(NEWTON_STEPS):
            misses, slopes = zip(*(self._miss(s, turned, ahead) for s in Side), strict=True)
            change = np.linalg.solve(np.array(slopes), -np.array(misses))
            turned, ahead = turned + float(change[0]), ahead + float(change[1])
            if np.abs(change).max() < HELD_M:
                return turned, ahead
        raise Stuck("the arms cannot hold the axle so")

    def _miss(self, side: Side, turned: float, ahead: float) -> tuple[float, F64]:
        """Return how much too long one arm would have to be, and how that changes."""
        end = self.ends[side]
        forward, upward = end.shift_m
        anchor = self._anchors[side] + np.array([forward, 0.0, upward])
        x, y, z = self._brackets[side]
        cos, sin = math.cos(turned), math.sin(turned)
        bracket = np.array([cos * x - sin * y + ahead, sin * x + cos * y, z])
        arm = bracket - anchor
        length_m = float(np.linalg.norm(arm))
        swept = np.array([-sin * x - cos * y, cos * x - sin * y, 0.0])
        slope = np.array([arm @ swept, arm[0]]) / length_m
        return length_m - (ARM_M + end.longer_m), slope
