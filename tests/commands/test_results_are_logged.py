"""A service as it is hosted writes its log of results, and says when it no longer can."""

import asyncio
import time

from ingest.commands.host import HostSettings, running_service
from ingest.core.ids import HeadId
from ingest.outputs.settings import BrokerSettings
from ingest.service.bayspread import Occasion
from ingest.store.database import open_database
from ingest.store.head_names import StoredHeadNames
from ingest.store.published import StoredResults
from ingest.store.records import StoredRecords

HEAD = HeadId("00000000000000a1")


class Instrument:
    record = None


class Head:
    """As much of a head as a log asks for."""

    id = HEAD
    instrument = Instrument()


async def hosted(path, then):
    """Host a service without heads, with its log in ``path``, and do something with it."""
    store = open_database(":memory:")
    plugs = StoredHeadNames(store), StoredRecords(store)
    nowhere = BrokerSettings(port=1)
    async with running_service(HostSettings(), nowhere, [], *plugs, results=path) as service:
        await then(service)
    store.close()


def say(service, value):
    """Publish a camber, as a settled wheel does."""
    fields = {"ms": time.time_ns() // 10**6, "value": value, "U": 0.04, "k": 2.0, "q": "good"}
    topic = service.bay.work.results._announcer.topics.axle(1, "left", "camber")
    service.bay.work.results._notes.said(topic, fields, Occasion("w", "1", "1.1"), [Head()])
    service.bay.work.results._notes.over(topic)


def test_what_was_published_is_in_the_database_when_the_service_has_ended(tmp_path):
    path = tmp_path / "levelhead.db"

    async def then(service):
        say(service, -0.42)

    asyncio.run(hosted(path, then))
    (result,) = StoredResults(open_database(path)).of(HEAD, 0, time.time_ns())
    assert (result.bay, result.topic) == ("bay1", "axle/1/left/camber")
    assert (result.value_deg, result.heads) == (-0.42, ((HEAD, None),))


def test_a_log_that_cannot_be_written_is_an_alert_and_the_service_goes_on(tmp_path):
    path = tmp_path / "levelhead.db"
    path.write_bytes(b"no database at all, but long enough to be looked at" * 100)

    async def then(service):
        for _ in range(200):
            if "results" in service.bay.alerts.active:
                break
            await asyncio.sleep(0.05)
        assert "measuring goes on" in service.bay.alerts.active["results"]
        say(service, -0.42)

    asyncio.run(hosted(path, then))
