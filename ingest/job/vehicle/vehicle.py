"""A vehicle or combination: its units front to rear, each with its axles. Metres, radians."""

from dataclasses import dataclass
from enum import StrEnum

from ingest.job.vehicle.axles import Axle, Role, Wheel


class UnitKind(StrEnum):
    """What one rigid frame is."""

    RIGID = "rigid"
    """A lorry, bus or other motor vehicle that carries its load itself."""
    TRACTOR = "tractor"
    TRAILER = "trailer"
    DOLLY = "dolly"

    @property
    def is_motor(self) -> bool:
        """Whether it drives and steers by itself."""
        return self in (UnitKind.RIGID, UnitKind.TRACTOR)


class CouplingKind(StrEnum):
    """By what a unit is drawn."""

    KINGPIN = "kingpin"
    DRAWBAR = "drawbar"
    TURNTABLE = "turntable"
    """The ball race of a trailer on its own front dolly."""


@dataclass(frozen=True, slots=True)
class Coupling:
    """Where a towed unit turns: the pin, how far it stands behind axle 1, and how high.

    ``to`` is the unit that draws it, None where only the towed units are here. ``height_m`` is
    None where nobody stated it.
    """

    kind: CouplingKind
    behind_m: float
    to: str | None = None
    height_m: float | None = None


@dataclass(frozen=True, slots=True)
class Unit:
    """One rigid frame. ``centre_line``: the two axles of a motor unit that define it, if named."""

    id: str
    kind: UnitKind
    coupling: Coupling | None = None
    centre_line: tuple[int, int] | None = None


class LoadState(StrEnum):
    """How a vehicle is loaded."""

    UNLADEN = "unladen"
    PART_LADEN = "part_laden"
    LADEN = "laden"


@dataclass(frozen=True, slots=True)
class Load:
    """The load that the vehicle's figures are meant for, and who says so."""

    state: LoadState
    source: str


@dataclass(frozen=True, slots=True)
class Blocked:
    """Two wheels whose heads cannot see each other, and what stands between."""

    wheels: frozenset[Wheel]
    by: str = ""


@dataclass(frozen=True, slots=True)
class Vehicle:
    """A vehicle that passed ``checked``. Units and axles front to rear, axles counted from 1."""

    id: str
    name: str
    units: tuple[Unit, ...]
    axles: tuple[Axle, ...]
    load: Load | None = None
    blocked: tuple[Blocked, ...] = ()
    about: str = ""

    @property
    def configuration(self) -> str:
        """What it is in short: ``rigid 8x4``, ``tractor 4x2 + trailer with 3 axles``."""
        return " + ".join(self._configuration(unit) for unit in self.units)

    @property
    def beams(self) -> tuple[int, ...]:
        """Numbers of the axles whose two wheels sit on one beam."""
        return tuple(axle.number for axle in self.axles if axle.beam)

    def axle(self, number: int) -> Axle:
        """Return one axle. Raises ``KeyError``."""
        if not 1 <= number <= len(self.axles):
            raise KeyError(number)
        return self.axles[number - 1]

    def unit(self, unit_id: str) -> Unit:
        """Return one unit. Raises ``KeyError``."""
        for unit in self.units:
            if unit.id == unit_id:
                return unit
        raise KeyError(unit_id)

    def axles_of(self, unit: Unit) -> tuple[Axle, ...]:
        """Return a unit's axles, front to rear."""
        return tuple(axle for axle in self.axles if axle.unit == unit.id)

    def sees(self, one: Wheel, other: Wheel) -> bool:
        """Return whether no part of the vehicle stands between the heads on two wheels."""
        return all(each.wheels != {one, other} for each in self.blocked)

    def _configuration(self, unit: Unit) -> str:
        axles = self.axles_of(unit)
        if unit.kind.is_motor:
            driven = sum(axle.role is Role.DRIVE for axle in axles)
            return f"{unit.kind} {2 * len(axles)}x{2 * driven}"
        return f"{unit.kind} with {len(axles)} axle{'' if len(axles) == 1 else 's'}"
