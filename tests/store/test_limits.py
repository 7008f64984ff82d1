"""Sets of limits in the store: every version stays, nothing is half-written."""

import datetime
import sqlite3
from dataclasses import replace

import pytest

from ingest.core.errors import ConfigError, InputError
from ingest.core.frames import Side
from ingest.job.limits.changes import By, narrowed, new_set
from ingest.job.limits.limit import Load
from ingest.job.limits.limitset import Version
from ingest.job.limits.matching import Place, conflicts, match, unused
from ingest.job.limits.quantities import Quantity
from ingest.job.limits.units import common
from ingest.simulator.fleet import VEHICLES
from ingest.store.database import open_database
from ingest.store.limits import StoredLimits
from ingest.store.shipped_limits import shipped, shipped_names

BY = By("R. Alder", datetime.date(2026, 11, 28))


def general_as(name):
    return replace(shipped("general"), version=Version(name, 1))


def test_every_version_stays_and_outlives_the_process(tmp_path):
    first = general_as("ash")
    second = narrowed(first, "1/3", BY).limits
    connection = open_database(tmp_path / "state.db")
    for each in (first, second, new_set("birch", BY)):
        StoredLimits(connection).add(each)
    connection.close()
    stored = StoredLimits(open_database(tmp_path / "state.db"))
    assert stored.names() == ("ash", "birch")
    assert stored.history("ash") == (first, second)
    assert stored.newest("ash") == second
    assert stored.version(Version("ash", 1)) == first
    assert stored.version(Version("ash", 3)) is None
    assert stored.newest("oak") is None


def test_a_version_can_be_neither_changed_nor_taken_away(tmp_path):
    connection = open_database(":memory:")
    stored = StoredLimits(connection)
    stored.add(general_as("ash"))
    for statement in ("UPDATE limit_set SET text = ''", "DELETE FROM limit_set"):
        with pytest.raises(sqlite3.IntegrityError):
            connection.execute(statement)
    assert stored.newest("ash") == general_as("ash")
    connection.execute("DROP TRIGGER limit_set_never_changes")
    connection.execute("UPDATE limit_set SET text = replace(text, '3.5', '5.5')")
    with pytest.raises(ConfigError, match="was altered"):
        stored.newest("ash")


def test_two_who_change_the_same_version_are_not_mixed_up():
    stored = StoredLimits(open_database(":memory:"))
    first = general_as("ash")
    one, other = narrowed(first, "0.5", BY).limits, narrowed(first, "0.9", BY).limits
    stored.add(first)
    stored.add(one)
    with pytest.raises(InputError, match="there is a version 2 by now"):
        stored.add(other)
    assert stored.history("ash") == (first, one)


def test_a_full_disk_keeps_all_that_was_there_and_nothing_of_what_was_not(tmp_path):
    connection = open_database(tmp_path / "state.db")
    stored = StoredLimits(connection)
    stored.add(general_as("ash"))
    pages = connection.execute("PRAGMA page_count").fetchone()[0]
    connection.execute(f"PRAGMA max_page_count = {pages}")

    def fill():
        for number in range(9):
            stored.add(general_as(f"birch-{number}"))

    with pytest.raises(sqlite3.OperationalError) as full:
        fill()
    assert full.value.sqlite_errorcode == sqlite3.SQLITE_FULL
    kept = [name for name in stored.names() if name != "ash"]
    assert not connection.in_transaction
    connection.execute("PRAGMA max_page_count = 100000")
    stored.add(general_as("oak"))
    connection.close()
    again = StoredLimits(open_database(tmp_path / "state.db"))
    assert again.names() == ("ash", *kept, "oak")
    assert all(again.newest(name).limits == general_as("ash").limits for name in again.names())


@pytest.mark.parametrize("name", shipped_names())
def test_a_set_that_comes_along_is_whole_and_puts_the_vehicle_maker_first(name):
    found = shipped(name)
    assert found.name == name
    assert found.limits
    assert "vehicle maker's figures" in found.note
    assert all(limit.origin.source for limit in found.limits)


def told(limits, axle, quantity, load=Load.ANY, side=None):
    found = next(
        each
        for each in limits.limits
        if (each.key.axle, each.key.quantity, each.key.load) == (axle, quantity, load)
        and each.key.side in (None, side)
    )
    return tuple(
        None if si is None else common(quantity, si)
        for si in (found.low, found.nominal, found.high)
    )


def test_the_general_set_says_what_its_sources_print():
    # TMC RP 642A: toe 0.08 deg, camber below 1/4 deg, caster 3.5 and 4.0 deg, unladen; TTMA RP 71:
    # 1/16 in between axle ends; field limits: 3/16 in (5 mm, rounded) of drive axle offset.
    general = shipped("general")
    assert told(general, "steer", Quantity.TOTAL_TOE, Load.UNLADEN) == (None, 0.08, None)
    assert told(general, "steer", Quantity.CAMBER, Load.UNLADEN) == (-0.25, None, 0.25)
    caster = [told(general, "steer", Quantity.CASTER, Load.UNLADEN, side)[1] for side in Side]
    assert caster == [3.5, pytest.approx(4.0)]
    low, nominal, high = told(general, "trailer", Quantity.SCRUB)
    assert (low, nominal, high) == (pytest.approx(-0.05008, abs=6e-6), 0.0, -low)
    assert told(general, "drive", Quantity.SCRUB)[2] == pytest.approx(0.10017, abs=5e-6)
    assert told(general, "drive", Quantity.LATERAL_OFFSET)[2] == pytest.approx(4.7625)


class Standing:
    def __init__(self, number, role):
        self.number, self.role = number, role


ROLES = {
    "pellowmere-17": ("rigid-8x4", ("steer", "second_steer", "drive", "drive")),
    "pellowmere-42": ("tractor-and-trailer", ("steer", "drive", "trailer", "trailer", "trailer")),
}


@pytest.mark.parametrize("name", ROLES)
def test_an_invented_set_covers_its_vehicle_and_nothing_else(name):
    built, roles = ROLES[name]
    limits = shipped(name)
    numbers = VEHICLES[built](1).axles
    axles = [Standing(n, role) for n, role in zip(numbers, roles, strict=True)]
    assert unused(limits, axles) == ()
    assert conflicts(limits, axles) == ()
    assert all("invented" in limit.origin.source for limit in limits.limits)
    for axle in axles:
        for quantity in (Quantity.TOTAL_TOE, Quantity.HEADING, Quantity.LATERAL_OFFSET):
            found = match(limits, Place(quantity, axle), Load.UNLADEN).limit
            assert found is not None
            assert found.decides
