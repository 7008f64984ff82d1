"""An outlet, and brokers to connect it to: the embedded one and Debian's mosquitto."""

import asyncio
import contextlib
import gc
import json
import time
from dataclasses import dataclass, field

import pytest

from ingest.outputs.broker import EmbeddedBroker, EmbeddedBrokerSettings
from ingest.outputs.listener import Listener
from ingest.outputs.mqtt import MqttOutlet
from ingest.outputs.settings import BrokerSettings
from ingest.outputs.voice import Voice
from ingest.payload.topics import Topics
from ingest.service.backoff import Backoff, BackoffSettings
from tests.rig.mosquitto import free_port


@pytest.fixture(autouse=True)
def sweep():
    """Collect what the broker library and the MQTT client leave to the garbage collector.

    The embedded broker does not close connections that it refused, nor paho a socket whose TLS
    handshake failed; their complaints belong to the test that caused them.
    """
    yield
    gc.collect()


TOPICS = Topics("t")
PATIENCE = BackoffSettings(least_s=0.02, first_s=0.05, max_s=0.2)
WITHIN_S = 15.0


@dataclass
class Bench:
    """An outlet whose surroundings are remembered."""

    settings: BrokerSettings
    boot: str = "b-1"
    requests: list = field(default_factory=list)
    states: list = field(default_factory=list)
    outlet: MqttOutlet | None = None

    def make(self):
        def status(state, why):
            return json.dumps({"state": state, "boot": self.boot, "why": why}).encode()

        voice = Voice(
            self.boot,
            lambda: status("online", ""),
            lambda: status("offline", "stopped"),
            self.requests.append,
            self.states.append,
        )
        self.outlet = MqttOutlet(
            self.settings,
            TOPICS,
            voice,
            patience=Backoff(PATIENCE, lambda: 0.5),
            clock=time.monotonic_ns,
            wall=time.time_ns,
        )
        return self.outlet

    def state(self, topic, payload):
        self.outlet.publish(topic, payload, retain=True, qos=1, expiry_s=None)


@contextlib.asynccontextmanager
async def running(bench):
    task = asyncio.create_task(bench.make().run())
    try:
        yield bench.outlet
    finally:
        await bench.outlet.stop()
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


@contextlib.asynccontextmanager
async def heard(settings, filters=("levelhead/v1/#",)):
    """Listen as a display does; yield the messages (topic, payload, retained)."""
    messages = []
    listener = Listener(settings, TOPICS, filters, lambda *m: messages.append(m))
    await listener.start()
    try:
        yield messages, listener
    finally:
        await listener.stop()


async def until(holds):
    async with asyncio.timeout(WITHIN_S):
        while not holds():  # noqa: ASYNC110  (what is waited for lies outside)
            await asyncio.sleep(0.01)


@dataclass
class Kit:
    """What the tests of this folder use."""

    bench: type = Bench
    running: object = staticmethod(running)
    heard: object = staticmethod(heard)
    until: object = staticmethod(until)
    topics: Topics = TOPICS
    free_port: object = staticmethod(free_port)


@pytest.fixture
def kit():
    return Kit()


@pytest.fixture(params=["embedded", "mosquitto"])
def any_broker(request, mosquitto):
    """Return an asynchronous context that gives the settings of a running broker."""

    @contextlib.asynccontextmanager
    async def embedded():
        broker = EmbeddedBroker(EmbeddedBrokerSettings(port=0))
        await broker.start()
        try:
            yield BrokerSettings(port=broker.port, mqtt_5=False)
        finally:
            await broker.stop()

    @contextlib.asynccontextmanager
    async def foreign():
        broker = mosquitto().start()
        yield BrokerSettings(port=broker.port)
        broker.kill()

    return embedded if request.param == "embedded" else foreign
