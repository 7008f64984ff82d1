"""Which version of MQTT is tried when, against scripted brokers.

The bytes are those of the OASIS specifications of MQTT 3.1.1 and 5.0, sections 3.1 and 3.2.
"""

import asyncio
import contextlib

import pytest

from ingest.outputs.broker_state import BrokerCondition
from ingest.outputs.settings import BrokerSettings

OLD, NEW = 4, 5
"""The version octets of MQTT 3.1.1 and MQTT 5."""
ACCEPTED = {OLD: bytes.fromhex("20020000"), NEW: bytes.fromhex("2003000000")}
REFUSED_AS_IN_5 = bytes.fromhex("2003008400")
REFUSED_AS_IN_3_1_1 = bytes.fromhex("20020001")
SILENT, CLOSES = b"", None


class ScriptedBroker:
    """Notes the version octet of each CONNECT and answers as ``script(nth, version)`` says."""

    def __init__(self, script):
        self.script = script
        self.versions = []
        self.peers = []

    async def serve(self, reader, writer):
        with contextlib.suppress(ConnectionError, asyncio.IncompleteReadError):
            header = await reader.readexactly(2)
            await reader.readexactly(header[1] > 127)  # a length of two bytes
            assert header[0] == 0x10
            assert await reader.readexactly(6) == b"\x00\x04MQTT"
            self.versions.append((await reader.readexactly(1))[0])
            answer = self.script(len(self.versions), self.versions[-1])
            if answer is not CLOSES:
                self.peers.append(writer)
                writer.write(answer)
                await reader.read()
        writer.close()

    def cut(self):
        """Drop the connection that was accepted last."""
        self.peers[-1].transport.abort()


@contextlib.asynccontextmanager
async def scripted(kit, script, **settings):
    broker = ScriptedBroker(script)
    server = await asyncio.start_server(broker.serve, "127.0.0.1", 0)
    port = server.sockets[0].getsockname()[1]
    bench = kit.bench(
        BrokerSettings(port=port, **{"connect_timeout_s": 0.4, "stop_timeout_s": 0.3, **settings})
    )
    try:
        async with kit.running(bench) as outlet:
            yield broker, bench, outlet
    finally:
        server.close()
        for peer in broker.peers:
            peer.transport.abort()
        await server.wait_closed()


@pytest.mark.parametrize("to_5", [SILENT, CLOSES, REFUSED_AS_IN_5, REFUSED_AS_IN_3_1_1])
def test_a_broker_that_will_not_speak_5_is_met_with_3_1_1_at_once_and_for_good(kit, to_5):
    async def story():
        def script(_, version):
            return ACCEPTED[OLD] if version == OLD else to_5

        async with scripted(kit, script) as (broker, bench, outlet):
            await kit.until(lambda: outlet.connected)
            told = [state.condition for state in bench.states]
            broker.cut()
            await kit.until(lambda: outlet.connections == 2)
            return broker.versions, told, bench.states[-1].text

    versions, told, text = asyncio.run(story())
    assert versions == [NEW, OLD, OLD]
    assert told == [BrokerCondition.CONNECTED]
    assert text.endswith("MQTT 3.1.1")


def test_a_broker_that_served_5_before_goes_on_with_5_after_a_silence(kit):
    async def story():
        def script(nth, version):
            return SILENT if nth == 2 else ACCEPTED[version]

        async with scripted(kit, script) as (broker, _, outlet):
            await kit.until(lambda: outlet.connected)
            broker.cut()
            await kit.until(lambda: outlet.connections == 2)
            return broker.versions

    assert asyncio.run(story()) == [NEW, NEW, NEW]


def test_a_broker_that_was_replaced_by_an_older_one_is_met_with_3_1_1(kit):
    async def story():
        def script(nth, version):
            return REFUSED_AS_IN_5 if version == NEW and nth > 1 else ACCEPTED[version]

        async with scripted(kit, script) as (broker, _, outlet):
            await kit.until(lambda: outlet.connected)
            broker.cut()
            await kit.until(lambda: outlet.connections == 2)
            return broker.versions

    assert asyncio.run(story()) == [NEW, NEW, OLD]


def test_a_broker_that_answers_neither_is_tried_from_5_again(kit):
    async def story():
        async with scripted(kit, lambda *_: CLOSES) as (broker, bench, _):
            await kit.until(lambda: len(broker.versions) >= 4)
            return broker.versions[:4], [state.condition for state in bench.states]

    versions, told = asyncio.run(story())
    assert versions == [NEW, OLD, NEW, OLD]
    assert told == [BrokerCondition.UNREACHABLE]


def test_a_stop_amid_a_silence_tries_no_other_version(kit):
    async def story():
        async with scripted(
            kit, lambda *_: SILENT, connect_timeout_s=30.0, stop_timeout_s=10.0
        ) as (broker, _, outlet):
            await kit.until(lambda: broker.versions)
            await outlet.stop()
            await asyncio.sleep(0.2)
            return broker.versions

    assert asyncio.run(story()) == [NEW]


def test_with_mqtt_5_switched_off_it_is_never_tried(kit):
    async def story():
        def script(_, version):
            return ACCEPTED[version]

        async with scripted(kit, script, mqtt_5=False) as (broker, _, outlet):
            await kit.until(lambda: outlet.connected)
            return broker.versions

    assert asyncio.run(story()) == [OLD]
