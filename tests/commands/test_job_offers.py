"""What a job can be opened with, as the description of the bay lists it for displays."""

from datetime import date

import pytest

from ingest.commands.job_offers import Offers
from ingest.commands.job_shop import Shop
from ingest.commands.vehicle_source import shipped
from ingest.job.limits.limitset import LimitSet, Version
from ingest.payload.job_cmd import JobOpen
from ingest.store.database import open_database
from ingest.store.limits import StoredLimits
from ingest.store.vehicles import StoredVehicles


@pytest.fixture
def path(tmp_path):
    return tmp_path / "store.db"


def test_what_comes_with_the_program_is_offered_and_can_be_opened(path):
    connection = open_database(path)
    offered, shop = Offers(connection).now(), Shop(connection)
    names = dict(offered.vehicles)
    assert names["rigid-8x4"] == "Pellowmere 17, rigid 8x4 tipper"
    assert set(names) == set(shipped())
    assert {each for each, _ in offered.limit_sets} >= {"general", "pellowmere-17"}
    for vehicle in names:
        ask = JobOpen(id="c-1", vehicle=vehicle, limits="general", order="W-1")
        assert shop.take(ask).vehicle_id == vehicle


def test_what_another_process_adds_is_seen_at_the_next_look(path):
    offers, another = Offers(open_database(path)), open_database(path)
    before = offers.now()
    assert offers.now() is before
    text = shipped()["rigid-4x2"].replace("Pellowmere 5", "Sedgeby 9")
    StoredVehicles(another).keep("sedgeby-9", text, "Ada Brindle", 0)
    StoredVehicles(another).keep("rigid-4x2", text, "Ada Brindle", 0)
    day, note = date(2026, 11, 29), "of the maker's sheet"
    StoredLimits(another).add(LimitSet(Version("sedgeby", 1), "Ada Brindle", day, note))
    after = offers.now()
    assert dict(after.vehicles)["sedgeby-9"] == "Sedgeby 9, rigid 4x2 box van"
    assert dict(after.vehicles)["rigid-4x2"] == "Sedgeby 9, rigid 4x2 box van"
    assert dict(after.limit_sets)["sedgeby"] == note


def test_what_was_altered_or_cannot_be_asked_for_breaks_nothing(path):
    connection = open_database(path)
    StoredVehicles(connection).keep("no vehicle file", "x = 1", "Ada Brindle", 0)
    StoredVehicles(connection).keep("odd", "x = 1", "Ada Brindle", 0)
    connection.execute("DROP TRIGGER limit_set_never_changes")
    StoredLimits(connection).add(LimitSet(Version("sedgeby", 1), "A", date(2026, 11, 29)))
    connection.execute("UPDATE limit_set SET text = 'x'")
    offers = Offers(connection)
    offered = offers.now()
    assert dict(offered.vehicles)["odd"] == ""
    assert "no vehicle file" not in dict(offered.vehicles)
    assert dict(offered.limit_sets)["sedgeby"] == ""
    connection.close()
    assert offers.now() == offered
