"""What mounting, settling and people scatter in this bay: studied, or assumed and said to be.

The noise and the run-out of a turn are in a study's mountings too; the little that is counted
twice is on the safe side.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from calibration.anova import INTERACTION, MOUNTING, SETTLING, TECHNICIAN
from calibration.measured import Measured, Source
from calibration.study import BayStudy, Quantity
from ingest.core.units import DEG

ASSUMED = "assumed spread of the bay"

CAMBER, TOTAL_TOE = "camber", "total-toe"


@dataclass(frozen=True, slots=True)
class Scatter:
    """What one cause scatters: a standard deviation, and how well it is known."""

    cause: str
    u_deg: float
    dof: float


@dataclass(frozen=True, slots=True)
class StudiedSpread:
    """What a study of the bay found. None: that quantity was not studied."""

    name: str
    camber: tuple[Scatter, ...] | None
    total_toe: tuple[Scatter, ...] | None


@dataclass(frozen=True, slots=True)
class SpreadSettings:
    """What mounting and settling scatter in this bay, standard uncertainties.

    Assumed, and said to be, until the bay has been studied: clamp seat, bearing play, tyre
    wind-up and settling of a wheel on its plates, lumped.
    """

    camber_deg: float = 0.02
    heading_deg: float = 0.02
    port_height_m: float = 0.01
    """How far the two ports of a sightline may differ in height."""
    seat_m: float = 0.001
    """How far out or in a clamp sits on its wheel, from mounting to mounting."""
    source: str = ASSUMED
    study: StudiedSpread | None = None

    def __post_init__(self) -> None:
        for name in ("camber_deg", "heading_deg", "port_height_m", "seat_m"):
            if not getattr(self, name) >= 0.0:
                raise ValueError(f"{name} must not be negative")

    @property
    def told(self) -> str:
        """What the results of this bay stand on, for its description."""
        study = self.study
        if study is None:
            return self.source
        left_out = [
            name
            for name, found in ((CAMBER, study.camber), (TOTAL_TOE, study.total_toe))
            if found is None
        ]
        if not left_out:
            return study.name
        return f"{study.name}; {left_out[0]}: {self.source}"


@dataclass(frozen=True, slots=True)
class Occasion:
    """Which draw of each cause a result has. Results with the same draw err together.

    ``wheel`` is a wheel, or an axle for what both its wheels give; ``mounting`` counts the
    heads that were put on, ``settling`` the rests of the wheels since.
    """

    wheel: str
    mounting: str
    settling: str

    def across(self, other: "Occasion", axle: int) -> "Occasion":
        """Return the draw of what this wheel and the one across give together."""
        mounting = "+".join(sorted((self.mounting, other.mounting)))
        settling = "+".join(sorted((self.settling, other.settling)))
        return Occasion(f"axle {axle}", mounting, settling)


def camber_scatter(spread: SpreadSettings, occasion: Occasion) -> Measured:
    """Return zero with what the bay scatters in a wheel's camber, rad."""
    if spread.study is None or spread.study.camber is None:
        return _assumed(spread, spread.camber_deg)
    return _studied(spread.study.name, spread.study.camber, CAMBER, occasion)


def heading_scatter(spread: SpreadSettings) -> Measured:
    """Return zero with what is assumed of one wheel's heading, rad.

    A study tells of an axle's total toe, not of one wheel: then there is nothing to be assumed.
    """
    if spread.study is not None and spread.study.total_toe is not None:
        return Measured.exact(0.0)
    return _assumed(spread, spread.heading_deg)


def total_toe_scatter(spread: SpreadSettings, occasion: Occasion) -> Measured:
    """Return zero with what the bay scatters in a total toe beyond the headings' share, rad."""
    if spread.study is None or spread.study.total_toe is None:
        return Measured.exact(0.0)
    return _studied(spread.study.name, spread.study.total_toe, TOTAL_TOE, occasion)


def standing_scatter(spread: SpreadSettings, wheel: str, standing: int) -> Measured:
    """Return zero with what the bay scatters in a wheel's heading as it stands, rad.

    It is one error for all sightlines of the wheel, by whatever head, until the wheel is moved.
    A study tells of total toes, in which two wheels scatter alike and apart from each other.
    """
    where = f"heading of {wheel}, standing {standing}"
    if spread.study is None or spread.study.total_toe is None:
        source = Source(f"{spread.source}: {where}", shared=True)
        u_rad = spread.heading_deg * DEG
        return Measured.of(0.0, u_rad, source=source, stands_on=(spread.source,))
    found = Measured(0.0, (), frozenset((spread.study.name,)))
    for each in spread.study.total_toe:
        source = Source(f"{spread.study.name}: {each.cause}, {where}", each.dof, shared=True)
        found = found + Measured.of(0.0, each.u_deg * DEG / math.sqrt(2.0), source=source)
    return found


def studied(study: BayStudy) -> StudiedSpread:
    """Return what a study found as results use it."""
    return StudiedSpread(study.name, _scatters(study.of(CAMBER)), _scatters(study.of(TOTAL_TOE)))


def _scatters(found: Quantity | None) -> tuple[Scatter, ...] | None:
    if found is None:
        return None
    told = (c for c in found.components if c.dof is not None)
    return tuple(Scatter(c.cause, c.u_deg, c.dof) for c in told if c.dof is not None)


def _assumed(spread: SpreadSettings, u_deg: float) -> Measured:
    return Measured.of(0.0, u_deg * DEG, source=spread.source, stands_on=(spread.source,))


def _studied(name: str, scatters: Sequence[Scatter], quantity: str, occasion: Occasion) -> Measured:
    """Return zero with a part for each cause, shared by all that has the same draw of it.

    None of it averages out over readings: who measures again without taking the head off has
    the same mounting in both, and whoever measures all wheels has the same technician in all.
    """
    draw = {
        TECHNICIAN: "technician",
        INTERACTION: f"technician at {occasion.wheel}",
        MOUNTING: f"mounting {occasion.mounting}",
        SETTLING: f"settling {occasion.settling}",
    }
    sum_of = Measured(0.0, (), frozenset((name,)))
    for each in scatters:
        source = Source(f"{name}: {draw[each.cause]}, {quantity}", each.dof, shared=True)
        sum_of = sum_of + Measured.of(0.0, each.u_deg * DEG, source=source)
    return sum_of
