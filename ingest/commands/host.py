"""Wires one bay together: links, store, outlet, service. Used by serve and by the demo."""

import asyncio
import contextlib
import gc
import importlib.metadata
import logging
import random
import time
import uuid
from collections.abc import AsyncIterator, Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from ingest.capture.writer import CaptureWriter
from ingest.core.ids import MonotonicNs
from ingest.core.ports import HeadNames, Link
from ingest.core.published import PublishedResults
from ingest.outputs.broker import EmbeddedBroker, EmbeddedBrokerSettings
from ingest.outputs.broker_state import BrokerState
from ingest.outputs.mqtt import MqttOutlet
from ingest.outputs.plainmirror import EVERY_S, PlainMirror
from ingest.outputs.settings import BrokerSettings
from ingest.outputs.voice import Voice
from ingest.payload.cmd import Request
from ingest.payload.topics import Topics
from ingest.service.backoff import Backoff, BackoffSettings
from ingest.service.ports import CalibrationRecords, Recorder
from ingest.service.service import Service, ServiceSettings
from ingest.service.servicedesk import DeskSettings
from ingest.service.workings import Jobs
from ingest.store.published import ResultLog

log = logging.getLogger(__name__)


def monotonic_ns() -> MonotonicNs:
    """Read the host's monotonic clock."""
    return MonotonicNs(time.monotonic_ns())


def keep_for_good() -> None:
    """Have the collector of garbage pass over all that stands from the start on.

    A full collection looks through some 90 000 objects of modules and libraries: 50 ms, in which no
    head is heard and a result waits.
    """
    gc.collect()
    gc.freeze()


@dataclass(frozen=True, slots=True)
class HostSettings:
    """One bay with its broker. ``embedded`` None: the broker of ``broker`` is used."""

    bay: str = "bay1"
    embedded: EmbeddedBrokerSettings | None = field(default_factory=EmbeddedBrokerSettings)
    broker: BrokerSettings = field(default_factory=BrokerSettings)
    service: ServiceSettings = field(default_factory=ServiceSettings)
    plain: bool = False
    """Whether the plain mirror is published."""


async def saying_again(mirror: PlainMirror) -> None:
    """Have the mirror say its lines again and again, until cancelled."""
    while True:
        await asyncio.sleep(EVERY_S)
        mirror.say_again()


@dataclass(slots=True)
class _Late:
    """The service, which the outlet needs before there is one."""

    service: Service | None = None

    def birth(self) -> bytes:
        assert self.service is not None
        return self.service.birth()

    def farewell(self) -> bytes:
        assert self.service is not None
        return self.service.farewell()

    def on_request(self, request: Request) -> None:
        if self.service is not None:
            self.service.on_request(request)

    def on_state(self, state: BrokerState) -> None:
        """The outlet has logged it; there is nobody else to tell while the broker is away."""


class _Trouble:
    """Says as an alert what the thread of a file's writer cannot do any more."""

    def __init__(self, code: str, seen: Callable[[str], None] = lambda text: None) -> None:
        self._code = code
        self._seen = seen
        self._loop = asyncio.get_running_loop()
        self.service: Service | None = None

    def __call__(self, text: str) -> None:
        self._seen(text)
        try:
            self._loop.call_soon_threadsafe(self._warn, text)
        except RuntimeError:  # the loop has ended: no service is there to say it
            log.warning("%s", text)

    def _warn(self, text: str) -> None:
        if self.service is not None:
            self.service.warn(self._code, text)
        else:
            log.warning("%s", text)


@contextlib.asynccontextmanager
async def running_broker(settings: HostSettings) -> AsyncIterator[BrokerSettings]:
    """Start the embedded broker where there is to be one; yield how to reach the broker."""
    if settings.embedded is None:
        yield settings.broker
        return
    broker = EmbeddedBroker(settings.embedded)
    await broker.start()
    try:
        yield replace(settings.broker, host=settings.embedded.host, port=broker.port, mqtt_5=False)
    finally:
        await broker.stop()


@contextlib.asynccontextmanager
async def running_service(
    settings: HostSettings,
    broker: BrokerSettings,
    links: Iterable[Link],
    names: HeadNames,
    records: CalibrationRecords,
    capture: Path | None = None,
    results: Path | None = None,
    seen: Callable[[str], None] = lambda text: None,
    jobs: Jobs | None = None,
) -> AsyncIterator[Service]:
    """Run outlet and service while the block runs; say goodbye at its end.

    ``capture``: a new file, in which all that happens to the service is kept. ``results``: a
    database, in which what it publishes of settled wheels is logged. ``seen`` is told when the
    capture cannot be written any more.
    """
    with contextlib.ExitStack() as stack:
        troubles = _Trouble("capture", seen), _Trouble("results")
        recorder = published = None
        if capture is not None:
            recorder = CaptureWriter(capture, troubles[0])
            stack.callback(recorder.close)
        if results is not None:
            published = ResultLog(results, troubles[1])
            stack.callback(published.close)
        plugs = _Plugs(names, records, recorder, published, jobs)
        async with _running(settings, broker, links, plugs) as service:
            for trouble in troubles:
                trouble.service = service
            yield service


@dataclass(frozen=True, slots=True)
class _Plugs:
    """What a service is plugged into besides its links and its broker."""

    names: HeadNames
    records: CalibrationRecords
    recorder: Recorder | None
    published: PublishedResults | None
    jobs: Jobs | None = None


@contextlib.asynccontextmanager
async def _running(
    settings: HostSettings, broker: BrokerSettings, links: Iterable[Link], plugs: _Plugs
) -> AsyncIterator[Service]:
    topics, boot = Topics(settings.bay), f"b-{uuid.uuid4().hex[:8]}"
    late = _Late()
    outlet = MqttOutlet(
        broker,
        topics,
        Voice(boot, late.birth, late.farewell, late.on_request, late.on_state),
        patience=Backoff(BackoffSettings(), random.random),
        clock=monotonic_ns,
        wall=time.time_ns,
    )
    mirror = PlainMirror(outlet, topics, monotonic_ns) if settings.plain else None
    by_name: Mapping[str, Link] = {link.name: link for link in links}
    desk = DeskSettings(version=importlib.metadata.version("levelhead"))
    late.service = Service(
        replace(settings.service, desk=desk),
        topics,
        by_name,
        mirror or outlet,
        names=plugs.names,
        records=plugs.records,
        clock=monotonic_ns,
        wall=time.time_ns,
        random=random.random,
        boot=boot,
        recorder=plugs.recorder,
        published=plugs.published,
        jobs=plugs.jobs,
    )
    tasks = [
        asyncio.create_task(outlet.run(), name="outlet"),
        asyncio.create_task(late.service.run(), name="service"),
    ]
    if mirror is not None:
        tasks.append(asyncio.create_task(saying_again(mirror), name="plain mirror"))
    try:
        yield late.service
    finally:
        await outlet.stop()
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
