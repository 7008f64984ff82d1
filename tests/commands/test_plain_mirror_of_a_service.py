"""``plain = true`` in ``[broker]``: what a service publishes is said again as plain lines."""

import asyncio

from ingest.commands.host import HostSettings, running_service
from ingest.config import load_config
from ingest.outputs.mqtt import MqttOutlet
from ingest.outputs.settings import BrokerSettings
from ingest.payload.examples import EXAMPLES
from ingest.store.database import open_database
from ingest.store.head_names import StoredHeadNames
from ingest.store.records import StoredRecords

CAMBER = "levelhead/v1/bay1/axle/1/left/camber"


def test_the_key_is_off_unless_it_is_said(tmp_path):
    path = tmp_path / "bay.toml"
    path.write_text("")
    assert load_config(path).plain is False
    path.write_text("[broker]\nplain = true\n")
    assert load_config(path).plain is True


def lines_of(monkeypatch, *, plain):
    """What a service without heads says under val/ while it publishes one result, once."""
    said = []
    monkeypatch.setattr("ingest.commands.host.EVERY_S", 0.01)
    monkeypatch.setattr(
        MqttOutlet,
        "publish",
        lambda self, topic, payload, **manner: "/val/" in topic and said.append((topic, payload)),
    )

    async def published():
        store = open_database(":memory:")
        plugs = StoredHeadNames(store), StoredRecords(store)
        settings, nowhere = HostSettings(plain=plain), BrokerSettings(port=1)
        async with running_service(settings, nowhere, [], *plugs) as service:
            announcer = service.bay.work.results._announcer
            announcer.state(CAMBER, EXAMPLES["axle-result/1"])
            for _ in range(200):
                await asyncio.sleep(0.01)
                if len(said) >= 3 or not plain:
                    break
        store.close()

    asyncio.run(published())
    return said


def test_a_result_is_said_again_and_again_where_the_mirror_is_on(monkeypatch):
    said = lines_of(monkeypatch, plain=True)
    assert len(said) >= 3
    assert set(said) == {
        ("levelhead/v1/bay1/val/axle/1/left/camber", b"-0.423 0.059 deg none good")
    }


def test_nothing_is_said_under_val_where_it_is_off(monkeypatch):
    assert lines_of(monkeypatch, plain=False) == []
