"""The vehicles and limits that a job can be opened with: those of the store, and those shipped."""

import sqlite3

from ingest.commands.vehicle_source import shipped as shipped_vehicles
from ingest.core.errors import IngestError
from ingest.job.brief.brief import JobBrief
from ingest.job.course.acts import Refused
from ingest.job.course.events import Opened
from ingest.job.limits.limitset import LimitSet
from ingest.job.limits.matching import conflicts
from ingest.job.vehicle.vehicle import Vehicle
from ingest.payload.job_brief import brief_of
from ingest.payload.job_cmd import JobOpen
from ingest.payload.limits_file import dump_limits
from ingest.payload.vehicle_file import parse_vehicle
from ingest.store.limits import StoredLimits
from ingest.store.shipped_limits import shipped as shipped_limits
from ingest.store.shipped_limits import shipped_names
from ingest.store.vehicles import StoredVehicles


class Shop:
    """Satisfies ``JobShop`` over a store."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._vehicles = StoredVehicles(connection)
        self._limits = StoredLimits(connection)

    def take(self, ask: JobOpen) -> Opened:
        """Return what a job is opened with. Raises ``Refused`` where it cannot be had."""
        try:
            name, text = self._vehicle(ask.vehicle)
            vehicle = parse_vehicle(text, name)
            limits = self._limit_set(ask.limits)
        except IngestError as error:
            raise Refused("failed", str(error)) from error
        _fitting(vehicle, limits)
        return Opened(
            order=ask.order,
            vehicle_id=name,
            vehicle=text,
            limits_name=str(limits.version),
            limits=dump_limits(limits),
            odometer=ask.odometer,
            load_state=ask.load,
            head_pairs=ask.pairs,
            rule=limits.rule.value,
            remark=ask.remark,
        )

    def brief(self, opened: Opened) -> JobBrief:
        """Return what an opened job is held against."""
        return brief_of(opened)

    def _vehicle(self, vehicle_id: str) -> tuple[str, str]:
        kept = self._vehicles.version(vehicle_id)
        if kept is not None:
            return kept.name, kept.text
        found = shipped_vehicles()
        if vehicle_id not in found:
            names = sorted({*found, *(each.vehicle_id for each in self._vehicles.newest())})
            raise Refused("unknown-vehicle", f"no vehicle {vehicle_id}; there are {_list(names)}")
        return vehicle_id, found[vehicle_id]

    def _limit_set(self, name: str) -> LimitSet:
        kept = self._limits.newest(name)
        if kept is not None:
            return kept
        found = shipped_limits(name)
        if found is None:
            names = sorted({*shipped_names(), *self._limits.names()})
            raise Refused("unknown-limits", f"no limits {name}; there are {_list(names)}")
        return found


def _fitting(vehicle: Vehicle, limits: LimitSet) -> None:
    against = conflicts(limits, vehicle.axles)
    if against:
        raise Refused("unknown-limits", against[0])


def _list(names: list[str]) -> str:
    """Return names, cut where a reply could not hold them all."""
    return ", ".join(names[:8]) + (" and more" if len(names) > 8 else "")
