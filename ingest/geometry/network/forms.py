"""Quantities computed from the unknowns together with their gradient (forward differentiation).

So every result of a network is linearised exactly, and the covariance of any two results follows.
"""

import math
from dataclasses import dataclass

import numpy as np

from ingest.geometry.network.unknowns import F64, Unknowns


@dataclass(frozen=True, slots=True)
class Form:
    """A value and its derivative by each unknown, shape (p,)."""

    value: float
    slope: F64

    def __add__(self, other: "Form") -> "Form":
        return Form(self.value + other.value, self.slope + other.slope)

    def __sub__(self, other: "Form") -> "Form":
        return Form(self.value - other.value, self.slope - other.slope)

    def __mul__(self, factor: float) -> "Form":
        return Form(self.value * factor, self.slope * factor)

    def wrapped(self, about_rad: float = 0.0) -> "Form":
        """Return an angle within half a turn of another."""
        off = math.remainder(self.value - about_rad, math.tau)
        return Form(about_rad + off, self.slope)


@dataclass(frozen=True, slots=True)
class Spot:
    """A point in plan."""

    x: Form
    y: Form

    def middle(self, other: "Spot") -> "Spot":
        """Return the point half way to another."""
        return Spot((self.x + other.x) * 0.5, (self.y + other.y) * 0.5)

    def bearing(self, other: "Spot") -> Form:
        """Return the bearing of another point from here, rad."""
        dx, dy = other.x - self.x, other.y - self.y
        square = dx.value**2 + dy.value**2
        slope = (dy.slope * dx.value - dx.slope * dy.value) / square
        return Form(math.atan2(dy.value, dx.value), slope)

    def distance(self, other: "Spot", rise_m: float = 0.0) -> Form:
        """Return the distance to a point that lies ``rise_m`` higher, m."""
        dx, dy = other.x - self.x, other.y - self.y
        length = math.hypot(dx.value, dy.value, rise_m)
        return Form(length, (dx.slope * dx.value + dy.slope * dy.value) * (1.0 / length))

    def left_of(self, start: "Spot", line: Form) -> Form:
        """Return how far left of the line through ``start`` with bearing ``line`` it lies, m."""
        dx, dy = self.x - start.x, self.y - start.y
        c, s = math.cos(line.value), math.sin(line.value)
        along = c * dx.value + s * dy.value
        return Form(c * dy.value - s * dx.value, dy.slope * c - dx.slope * s - line.slope * along)


@dataclass(frozen=True, slots=True)
class Unknown:
    """Gives the unknowns of an adjusted network as forms."""

    unknowns: Unknowns
    state: F64

    def spot(self, station: str) -> Spot:
        """Return where a station stands."""
        place = self.unknowns.x(station)
        return Spot(self._at(place), self._at(place + 1))

    def heading(self, station: str) -> Form:
        """Return where a wheel points, rad from X."""
        return self._at(self.unknowns.heading(station))

    def _at(self, place: int) -> Form:
        slope = np.zeros(len(self.state))
        slope[place] = 1.0
        return Form(float(self.state[place]), slope)
