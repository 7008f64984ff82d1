"""What stands on the bench, as it truly is: none of it is quite what its papers say."""

from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from ingest.core.blocks import F64
from ingest.core.units import DEG
from ingest.simulator.streams import stream

SINE_BAR_MM = 200.0
BAR_MM = 2000.0
U_SINE_BAR_MM = 0.001
U_BLOCK_MM = 0.0002
U_BAR_MM = 0.2
U_INDEX_DEG = 0.002
"""Expanded uncertainties (k = 2) that the certificates of these things state."""
U_SEAT_DEG = 0.03
"""How squarely the spindle's fence holds a head whose azimuth along the vehicle is read, k = 2."""
BY_HAND_RAD = 0.5 * DEG
"""How any other encoder is set on the spindle: by eye, 1 sigma."""
FENCED = "azimuth_track"


@dataclass(frozen=True, slots=True)
class Repeats:
    """How well a placement repeats, 1 sigma: bedding on a plate (rad), squareness on the sine
    bar (rad), the seat on a spigot (rad), the place of an index (rad); and the flat part of the
    Allan deviation of a head at rest (rad)."""

    bed_rad: float = 0.0004 * DEG
    square_rad: float = 0.01 * DEG
    spigot_rad: float = 0.001 * DEG
    index_rad: float = 0.0005 * DEG
    flicker_rad: float = 0.0003 * DEG


@dataclass(frozen=True, slots=True)
class Spigot:
    """One end of the bar: how its axis rises outward, swings and is twisted about the bar, rad."""

    rise_rad: float
    swing_rad: float
    twist_rad: float


@dataclass(frozen=True, slots=True)
class Things:
    """The bench of one seed, true values."""

    sine_bar_mm: float
    blocks_mm: dict[str, float]
    """True size by nominal."""
    plates: dict[str, tuple[float, float]]
    """Slope of each place on the plate, and of the oven's shelf: along X and along Y, rad."""
    square_rad: float
    """How far from square the sine bar's fence holds a head."""
    index_rad: tuple[float, float]
    """Cosine and sine of the indexing spindle's error, once a turn."""
    spigots: tuple[Spigot, Spigot]
    sag_rad: float
    faces_rad: float
    """How far from parallel the faces are on which the bar lies, and lies when rolled over."""
    stand: tuple[float, float]
    """The stand's slope along the bar and across it, rad."""
    bar_m: float
    backlash_rad: float

    def height_mm(self, blocks: str, height: str) -> float:
        """Return the true height of a stack such as ``10+7.43``, else of one of that height."""
        names = blocks.split("+") if blocks else _stack(height)
        return sum(self.blocks_mm.get(name, float(name)) for name in names if float(name))


NOMINAL = ("1", "2", "5", "7.5", "10", "15", "20", "25", "35", "50")


def draw_things(seed: int) -> Things:
    """Draw a bench from a seed: everything off by what its papers allow, or by what is usual."""
    random = stream(seed, "bench")

    def off(size: float) -> float:
        return float(size * random.standard_normal())

    blocks = {name: float(name) + off(U_BLOCK_MM / 2) for name in NOMINAL}
    places = {name: (off(0.05 * DEG), off(0.05 * DEG)) for name in ("plate", "place x", "place y")}
    along, across = (0.05 * DEG * stream(seed, "oven shelf").standard_normal(2)).tolist()
    places["shelf"] = (along, across)
    return Things(
        sine_bar_mm=SINE_BAR_MM + off(U_SINE_BAR_MM / 2),
        blocks_mm=blocks,
        plates=places,
        square_rad=off(0.02 * DEG),
        index_rad=(off(U_INDEX_DEG / 4 * DEG), off(U_INDEX_DEG / 4 * DEG)),
        spigots=(_spigot(random), _spigot(random)),
        sag_rad=0.01 * DEG,
        faces_rad=float(0.02 * DEG * stream(seed, "bar faces").standard_normal()),
        stand=(off(0.1 * DEG), off(0.1 * DEG)),
        bar_m=(BAR_MM + off(U_BAR_MM / 2)) / 1e3,
        backlash_rad=abs(off(U_INDEX_DEG / 4 * DEG)),
    )


def _spigot(random: np.random.Generator) -> Spigot:
    rise, swing, twist = (0.05 * DEG * random.standard_normal(3)).tolist()
    return Spigot(rise, swing, twist)


def _stack(height: str) -> list[str]:
    """Build a height from the largest blocks that fit; what is left is one of its own size."""
    rest, names = Decimal(height), []
    for name in sorted(NOMINAL, key=Decimal, reverse=True):
        if Decimal(name) <= rest:
            names.append(name)
            rest -= Decimal(name)
    return [*names, str(rest)] if rest else names


def draw_seat_rad(seed: int, *seating: str) -> float:
    """Return how far from the spindle's zero a head sits on it, rad.

    ``seating``: head, channel and run; each is another seating.
    """
    size = U_SEAT_DEG / 2 * DEG if FENCED in seating else BY_HAND_RAD
    return size * float(stream(seed, "seat on the spindle", *seating).standard_normal())


def rotation(axis: int, angle_rad: float) -> F64:
    """Return the right-handed turn about X (0), Y (1) or Z (2)."""
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    one, two = (axis + 1) % 3, (axis + 2) % 3
    turn = np.eye(3)
    turn[one, one] = turn[two, two] = c
    turn[one, two], turn[two, one] = -s, s
    return turn
