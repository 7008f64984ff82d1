"""The gravity sphere: a three-axis sensor set down in 9 to 24 attitudes, nothing else needed."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from calibration.bench.capture import Settled
from calibration.bench.procedure import Progress, Row, Target, needs_of
from calibration.bench.rows import angle_rad, pooled_spread_deg, reading_columns
from calibration.errors import BadBenchData
from calibration.fits.guidance import suggest
from calibration.fits.tilt_sphere import BIAS, CROSS, FULL, SCALE, fit_sphere, next_attitude

F64 = NDArray[np.float64]

CHANNELS = ("incl_x", "incl_y", "incl_z")
SIDES = {0: ("forward", "backward"), 1: ("left", "right"), 2: ("up", "down")}
FIRST = 6
LAST = 24
NEVER = ("how the sensor is turned in its housing",)


def _attitudes() -> dict[str, F64]:
    """Name a cube's faces, edges and corners, the first 24 of them."""
    named = {}
    for signs in sorted(product((0, 1, -1), repeat=3), key=lambda s: sum(map(abs, s))):
        if any(signs):
            sides = [SIDES[i][0 if s > 0 else 1] for i, s in enumerate(signs) if s]
            named["+".join(sides)] = np.array(signs) / math.sqrt(sum(map(abs, signs)))
    return dict(list(named.items())[:LAST])


ATTITUDES = _attitudes()
"""By name, the true sines of the head's axes (unit vectors): ``left``: the left axis points up."""


@dataclass(frozen=True, slots=True)
class Tumble:
    """Sphere readings of one head until every term is known as well as wanted."""

    u_bias_deg: float = 0.003
    u_scale: float = 5e-5
    most: int = LAST
    heads: tuple[str, ...] = ("A",)
    file: str = "sphere.csv"
    title: str = "Tilt by the sphere of gravity"

    def owns(self, row: Row) -> bool:
        """Every row of the file is of this series."""
        return True

    def progress(self, rows: Sequence[Row]) -> Progress:
        """Say how far the rows go."""
        spread = pooled_spread_deg(rows)
        if len(rows) < FIRST:
            open_ = BIAS + SCALE + CROSS
            return Progress(len(rows), FULL, self.most, 0, 9, open_, NEVER, spread_deg=spread)
        try:
            fit = fit_sphere(raw_sines(rows))
        except BadBenchData as error:
            return Progress(len(rows), FULL, self.most, 0, 9, trouble=str(error), spread_deg=spread)
        return Progress(
            taken=len(rows),
            least=FULL,
            most=self.most,
            rank=fit.rank,
            full_rank=9,
            undetermined=tuple(n for n in fit.undetermined if n in fit.names),
            never=NEVER,
            needs=needs_of(fit, self._wanted()),
            distrusted=fit.distrusted(),
            spread_deg=spread,
        )

    def targets(self, rows: Sequence[Row]) -> tuple[Target, ...]:
        """Return the attitudes, best first; the six faces come before any fit."""
        left = [name for name in ATTITUDES if name not in {row.get("attitude") for row in rows}]
        left = left or list(ATTITUDES)
        if len(rows) < FIRST:
            why = "its face bounds one axis' zero and scale; all six are needed before a fit"
            return tuple(_target(name, why) for name in left)
        try:
            first = left.pop(_best(rows, left))
        except BadBenchData as error:
            return tuple(_target(name, str(error)) for name in left)
        why = "of all attitudes left, this one lowers the uncertainty of zero and scale most"
        other = "not the best choice now, but it counts"
        return (_target(first, why), *(_target(name, other) for name in left))

    def needs(self, target: Target) -> tuple[str, ...]:
        """Return the channels that must have a value."""
        return CHANNELS

    def taken(self, target: Target, readings: Mapping[str, Settled]) -> tuple[Row, ...]:
        """Return the row of the reading."""
        (reading,) = readings.values()
        return ({**target.columns, **reading_columns(reading, CHANNELS)},)

    def _wanted(self) -> dict[str, tuple[float, float, str]]:
        bias = dict.fromkeys(BIAS, (self.u_bias_deg, math.degrees(1), "deg"))
        return bias | dict.fromkeys(SCALE + CROSS, (self.u_scale, 1.0, "1"))


def raw_sines(rows: Sequence[Row]) -> F64:
    """Return the raw shares of gravity, shape (n, 3)."""
    angles = [[angle_rad(row, f"{c}_deg") for c in CHANNELS] for row in rows]
    sines: F64 = np.sin(np.array(angles).reshape(-1, 3))
    return sines


def _best(rows: Sequence[Row], left: Sequence[str]) -> int:
    """Return the place of the best attitude in ``left``."""
    candidates = [ATTITUDES[name] for name in left]
    if len(rows) >= FULL:
        return next_attitude(fit_sphere(raw_sines(rows)), candidates).index
    taken = np.concatenate([_ideal(raw / np.linalg.norm(raw)) for raw in raw_sines(rows)])
    return suggest(taken, [_ideal(up) for up in candidates]).index


def _ideal(up: F64) -> F64:
    """Return what an attitude tells of a sensor near nominal, shape (1, 9): before all nine
    terms are fitted, no fit can say what its rows tell of the cross-axis terms."""
    x, y, z = up
    return np.array([[-x, -y, -z, x * x, y * y, z * z, 2 * x * y, 2 * x * z, 2 * y * z]])


def _target(name: str, why: str) -> Target:
    return Target(
        name=name,
        do=(_words(name.split("+")), "Let go of it, and wait until it stands still."),
        cautions=("Hold the head with both hands until it rests; do not drop it on its ports.",),
        why=why,
        columns={"attitude": name},
    )


def _words(sides: Sequence[str]) -> str:
    if len(sides) == 1:
        return f"Set the head down with its {sides[0]} axis pointing straight up."
    if len(sides) == 2:
        return f"Lean the head so that the edge between {sides[0]} and {sides[1]} is uppermost."
    return f"Lean the head so that the corner of {', '.join(sides[:-1])} and {sides[-1]} is on top."
