"""What else moves the readings while a wheel turns: the floor under it, the sensor's zero.

Neither shows as noise: a floor's wave as long as the roll, or a steady drift, is all but a part
of the cone's own harmonic. Told as shapes along the turn, they go through the fit as readings
do, and come out in the uncertainty, multiplied by what a short arc makes of them.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class TurnTerms:
    """Standard deviations of what is no noise, rad.

    ``floor_rad`` is how much the floor's fall across the vehicle changes along the way that is
    rolled (0: the wheel turns on a jack); ``drift_rad`` how far the inclinometer's zero moves
    from the first reading to the last.
    """

    floor_rad: float = 0.0
    drift_rad: float = 0.0

    def __post_init__(self) -> None:
        for name in ("floor_rad", "drift_rad"):
            value = getattr(self, name)
            if not (math.isfinite(value) and value >= 0.0):
                raise ValueError(f"{name} of {value} is not possible")

    def shapes(self, spin_rad: F64) -> F64:
        """Return elevation errors along a turn, one standard deviation each, shape (k, n).

        The floor is a wave as long as the roll, its phase unknown: of all waves the one that a
        short arc amplifies most, within a tenth. The drift is steady from reading to reading.
        The shapes are independent of each other.

        Args:
            spin_rad: spin angles in order of time, shape (n,).
        """
        rows = []
        if self.floor_rad > 0.0:
            way = np.unwrap(spin_rad)
            way -= way.min()
            wave = way * (2.0 * math.pi / max(float(way.max()), 1e-12))
            rows += [self.floor_rad * np.cos(wave), self.floor_rad * np.sin(wave)]
        if self.drift_rad > 0.0:
            rows.append(self.drift_rad * np.linspace(0.0, 1.0, len(spin_rad)))
        return np.array(rows).reshape(len(rows), len(spin_rad))


ON_A_JACK = TurnTerms()
ROLLED = TurnTerms(floor_rad=math.radians(0.01))
"""Rolled over a floor laid for alignment: 0.35 mm rms between wheels 2 m apart. Assumed, until
the bay's heights are known."""
