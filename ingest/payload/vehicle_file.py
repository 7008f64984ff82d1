"""The vehicle file: what a vehicle or combination is, as TOML.

Described in ``ingest/job/FILES.md``. Read strictly, as a key that is misspelt would be an adjuster
or a blocked line left out.
"""

import json
from typing import Annotated, Any, Literal, Self

from pydantic import Field, ValidationError, model_validator

from calibration.toml import NotToml, parse_toml
from ingest.core.errors import ConfigError
from ingest.job.vehicle.axles import Axle, Wheel
from ingest.job.vehicle.checks import checked
from ingest.job.vehicle.refusal import VehicleRefused
from ingest.job.vehicle.vehicle import (
    Blocked,
    Coupling,
    CouplingKind,
    Load,
    LoadState,
    Unit,
    UnitKind,
    Vehicle,
)
from ingest.payload.base import Part
from ingest.payload.vehicle_axle import AxleNumber, AxleTable, Behind, Id, Word
from ingest.payload.vehicle_faults import fault_of

FORMAT = "levelhead-vehicle"


class LoadTable(Part):
    """The load that the figures of the vehicle are meant for."""

    state: Literal["unladen", "part_laden", "laden"]
    """How it is loaded."""
    source: Word
    """Who says so: the driver, a weighbridge ticket."""


class CouplingTable(Part):
    """What draws a towed unit."""

    kind: Literal["kingpin", "drawbar", "turntable"]
    """By what: a kingpin in a fifth wheel, the eye of a drawbar, a ball race on a dolly."""
    behind_m: Behind
    """How far its pin stands behind axle 1; below 0 where it stands ahead of it."""
    to: Id | None = None
    """The id of the unit that draws it; left out where that one is not here."""
    height_m: Annotated[float, Field(ge=0.1, le=3.0)] | None = None
    """How high a tape at the pin is held, above the ground; without it as high as the hubs."""


class UnitTable(Part):
    """One rigid frame."""

    id: Id
    """Its name in this file."""
    kind: Literal["rigid", "tractor", "trailer", "dolly"]
    """What it is."""
    coupling: CouplingTable | None = None
    """What draws it; a trailer and a dolly have one."""
    centre_line: tuple[AxleNumber, AxleNumber] | None = None
    """Of a motor vehicle: the two axles whose mid-points the centre line runs through."""

    def value(self) -> Unit:
        """Return the unit."""
        table = self.coupling
        coupling = None
        if table is not None:
            kind = CouplingKind(table.kind)
            coupling = Coupling(kind, table.behind_m, table.to, table.height_m)
        return Unit(self.id, UnitKind(self.kind), coupling, self.centre_line)


class BlockedTable(Part):
    """A sightline that the vehicle's own parts block."""

    wheels: tuple[str, str] | None = None
    """The wheels at its ends, such as `["L1", "L2"]`."""
    across: AxleNumber | None = None
    """The axle whose far side cannot be seen, instead of `wheels`."""
    by: Annotated[str, Field(max_length=80, pattern=r"^[^\x00-\x1f]*$")] = ""
    """What stands in the way."""

    @model_validator(mode="after")
    def _check(self) -> Self:
        if (self.wheels is None) == (self.across is None):
            raise ValueError("give either wheels or across")
        for name in self.wheels or ():
            Wheel.named(name)
        return self

    def value(self) -> Blocked:
        """Return the line."""
        names = self.wheels or (f"L{self.across}", f"R{self.across}")
        return Blocked(frozenset(Wheel.named(name) for name in names), self.by)


class VehicleFile(Part):
    """A whole vehicle file."""

    format: Literal["levelhead-vehicle"]
    """What kind of file it is."""
    version: Literal[1]
    """Of the kind."""
    id: Id
    """The vehicle's own name in the store; every version of it has the same."""
    name: Word
    """What people call it."""
    about: Annotated[str, Field(max_length=2000)] = ""
    """For people."""
    load: LoadTable | None = None
    """The load that its figures are meant for."""
    unit: Annotated[tuple[UnitTable, ...], Field(min_length=1, max_length=6)]
    """Rigid frames, front to rear."""
    axle: Annotated[tuple[AxleTable, ...], Field(min_length=1, max_length=20)]
    """Axles, front to rear."""
    blocked: Annotated[tuple[BlockedTable, ...], Field(max_length=200)] = ()
    """Sightlines that cannot be."""

    def value(self) -> Vehicle:
        """Return the vehicle. Raises ``VehicleRefused`` where it cannot be."""
        load = self.load
        axles: tuple[Axle, ...] = tuple(table.value() for table in self.axle)
        return checked(
            Vehicle(
                self.id,
                self.name,
                tuple(table.value() for table in self.unit),
                axles,
                None if load is None else Load(LoadState(load.state), load.source),
                tuple(table.value() for table in self.blocked),
                self.about,
            )
        )


def parse_vehicle(text: str, where: str) -> Vehicle:
    """Read a vehicle file; ``where`` names it in messages.

    Raises:
        ConfigError: it is no TOML, a key is missing or unknown, a value cannot be, or the whole
            is no vehicle.
    """
    found = _toml(text, where)
    try:
        # As JSON, since strict reading takes lists for tuples there alone.
        return VehicleFile.model_validate_json(json.dumps(found, default=str), strict=True).value()
    except ValidationError as error:
        raise fault_of(where, error, found, VehicleFile) from error
    except VehicleRefused as error:
        raise ConfigError(where, error.place, error.value, error.reason) from error


def _toml(text: str, where: str) -> dict[str, Any]:
    try:
        found = parse_toml(text)
    except NotToml as error:
        raise ConfigError(where, "file", where, str(error)) from error
    if found.get("format") != FORMAT or found.get("version") != 1:
        shown = {key: found.get(key) for key in ("format", "version")}
        reason = f'not a vehicle file; its first lines are format = "{FORMAT}" and version = 1'
        raise ConfigError(where, "format", shown, reason)
    return found
