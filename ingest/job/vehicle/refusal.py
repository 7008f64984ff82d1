"""Why a vehicle is refused, and how places in its file are named."""

from ingest.core.errors import IngestError


class VehicleRefused(IngestError):
    """A vehicle cannot be so. ``place`` is the key in its file, ``value`` what stands there."""

    def __init__(self, place: str, value: object, reason: str) -> None:
        super().__init__(f"{place} = {value!r}: {reason}")
        self.place = place
        self.value = value
        self.reason = reason


def of_axle(number: int, key: str) -> str:
    """Return the place of a key of an axle's table."""
    return f"axle {number}: {key}"


def of_unit(unit_id: str, key: str) -> str:
    """Return the place of a key of a unit's table."""
    return f"unit {unit_id}: {key}"


def of_blocked(place: int) -> str:
    """Return the place of a blocked line, counted from 1."""
    return f"blocked {place}: wheels"
