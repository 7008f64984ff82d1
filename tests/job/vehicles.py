"""Vehicles for tests: the shipped ones as tables that a test may change, and files made of them."""

import tomllib
from copy import deepcopy

from ingest.commands.vehicle_source import shipped
from ingest.payload.vehicle_file import VehicleFile

SHIPPED = shipped()
TABLES = {name: tomllib.loads(text) for name, text in SHIPPED.items()}


def tables(name):
    """The file of a shipped vehicle, free to be changed."""
    return deepcopy(TABLES[name])


def vehicle(name):
    """A shipped vehicle."""
    return vehicle_of(TABLES[name])


def vehicle_of(found):
    """The vehicle of tables."""
    return VehicleFile.model_validate(found).value()
