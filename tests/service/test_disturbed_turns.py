"""Emulated heads that fail in the middle of a turn: the result is refused or right."""

import asyncio
import contextlib
import time

import pytest

from ingest.core.ids import HeadName, MonotonicNs
from ingest.core.units import DEG
from ingest.drivers.serial import SerialLink, SerialSettings
from ingest.payload.topics import Topics
from ingest.service.bayhead import Wheel
from ingest.simulator.streams import stream
from ingest.simulator.technician import Pace, Technician
from ingest.simulator.truth import wheel_truth
from ingest.store.database import open_database
from ingest.store.head_names import StoredHeadNames
from ingest.store.records import StoredRecords

PACE = Pace(through_s=5.0)
MIDDLE_S = 2.5
PATIENCE_S = 30.0


class Heard:
    """An outlet that remembers."""

    def __init__(self):
        self.topics = []
        self.news = asyncio.Event()

    def publish(self, topic, payload, *, retain, qos, expiry_s):
        self.topics.append(topic)
        self.news.set()

    def reply(self, request, payload):
        raise AssertionError("nobody asked")


def now_ns():
    return MonotonicNs(time.monotonic_ns())


class Scene:
    """The standard rig at a vehicle on stands, and the service that hears it."""

    def __init__(self, rig, store, live_service):
        self.rig = rig
        self.demo = rig.demo
        self.outlet = Heard()
        self.topics = Topics("emu")
        names, records = StoredHeadNames(store), StoredRecords(store)
        for name, head in self.demo.heads.items():
            names.set_name(head.design.head, HeadName(name))
        for text in self.demo.records:
            records.add(text, "simulated bench")
        links = [SerialLink(SerialSettings(head.path), now_ns) for head in rig.heads.values()]
        by_name = {link.name: link for link in links}
        self.service = live_service(self.topics.bay, by_name, self.outlet, store)
        self.technician = Technician(
            self.demo.rig, stream(29, "technician"), self.demo.now_s, PACE, 0.02 * DEG
        )
        wheels = self.demo.rig.vehicle.wheels[:4]
        self.on = dict(zip(self.demo.heads, wheels, strict=True))

    def head(self, name):
        head = self.service.bay.named(name)
        assert head is not None
        return head

    async def until(self, holds):
        async with asyncio.timeout(PATIENCE_S):
            while not holds():
                self.outlet.news.clear()
                await self.outlet.news.wait()

    async def online(self):
        await self.until(
            lambda: all((h := self.service.bay.named(n)) and h.online for n in self.on)
        )

    async def lifted(self):
        await self.online()
        for name, wheel in self.on.items():
            self.technician.mount(self.demo.heads[name], wheel)
            self.service.bay.put_on(self.head(name), Wheel(wheel.axle, wheel.side))
        await asyncio.sleep(1.5)
        steps = [self.technician.jack(axle) for axle in (1, 2)]
        await asyncio.sleep(max(step.wait_s for step in steps) + 2.0)

    async def turned(self, names, disturb=None):
        """Turn the wheels of these heads through; what became of each turn."""
        for name in names:
            begun = self.service.bay.work.begin(self.head(name))
            assert begun.ok, begun.text
        steps = [self.technician.through(self.on[name]) for name in names]
        ends_s = self.demo.now_s() + max(step.wait_s for step in steps)
        if disturb is not None:
            await asyncio.sleep(MIDDLE_S)
            await disturb()
        await asyncio.sleep(ends_s - self.demo.now_s())
        await self.online()
        return [self.service.bay.work.end(self.head(name)) for name in names]

    async def lowered(self):
        steps = [self.technician.lower(axle) for axle in (1, 2)]
        await asyncio.sleep(max(step.wait_s for step in steps))

    async def right(self, names):
        """Wait until the cambers of these heads' wheels stand and are true; return all that stand.

        On a starved machine the emulated sensors lag behind the simulated vehicle, and what they
        say is true of what they have seen. A clamp's error that is wrong never comes right.
        """

        def true():
            found = self.cambers()
            near = {name for name, (value, u, true) in found.items() if abs(value - true) < 4.0 * u}
            return set(names) <= near

        with contextlib.suppress(TimeoutError):
            await self.until(true)
        return self.cambers()

    async def turned_until_good(self, name):
        """Turn a wheel that nobody disturbs; a starved machine may refuse it once or twice."""
        for _ in range(3):
            (done,) = await self.turned([name])
            if done.ok:
                break
        return done

    def cambers(self):
        """Published camber and its truth by head: value, standard uncertainty, truth, rad."""
        found = {}
        standing = self.service.bay.work.results.standing
        for name, wheel in self.on.items():
            measured = standing.get(self.topics.axle(wheel.axle, wheel.side.value, "camber"))
            if measured is not None:
                true = wheel_truth(self.demo.rig.vehicle, wheel, self.demo.now_s())
                found[name] = (measured.value, measured.u, true.camber_rad)
        return found


@contextlib.asynccontextmanager
async def scene_of(rig, live_service):
    with contextlib.closing(open_database(":memory:")) as store:
        async with rig.plugged():
            scene = Scene(rig, store, live_service)
            task = asyncio.create_task(scene.service.run())
            try:
                yield scene
            finally:
                task.cancel()
                await asyncio.gather(task, return_exceptions=True)


def replugged_crosswise(one, other):
    """Each of two heads comes back on the port of the other."""
    for head in (one, other):
        head.unplug()
    one._link, other._link = other._link, one._link
    for head in (one, other):
        head.plug()


@pytest.mark.timeout(120)
def test_a_head_that_fails_in_the_middle_of_a_turn_gives_no_wrong_result(
    emulated_rig, live_service
):
    heads = emulated_rig.heads

    async def freeze_and_reset():
        heads["cedar"].reset()
        heads["alder"].stall(True)
        await asyncio.sleep(1.2)
        heads["alder"].stall(False)

    async def unplug_and_swap():
        heads["birch"].unplug()
        replugged_crosswise(heads["dogwood"], heads["cedar"])
        await asyncio.sleep(0.5)
        heads["birch"].plug()

    async def main():
        async with scene_of(emulated_rig, live_service) as scene:
            await scene.lifted()
            frozen, reset = await scene.turned(["alder", "cedar"], freeze_and_reset)
            assert not reset.ok
            unplugged, swapped = await scene.turned(["birch", "dogwood"], unplug_and_swap)
            assert not unplugged.ok
            assert not swapped.ok
            good = await scene.turned_until_good("birch")
            assert good.ok, good.text
            await scene.lowered()
            expected = {"birch"} | ({"alder"} if frozen.ok else set())
            found = await scene.right(expected)
            assert set(found) == expected
            for name, (camber, u, true) in found.items():
                assert abs(camber - true) < 4.0 * u, name
            await asyncio.sleep(2.0)
            assert set(scene.cambers()) <= expected

    asyncio.run(main())


def test_a_press_of_the_button_is_acted_on_once(emulated_rig, live_service):
    async def main():
        async with scene_of(emulated_rig, live_service) as scene:
            await scene.lifted()
            assert scene.service.bay.work.begin(scene.head("alder")).ok
            topics, taken = scene.outlet.topics, scene.topics.event("stop-taken")
            refused = scene.topics.event("stop-refused")
            for pressed in range(1, 6):  # on a starved machine the wheel may not seem at rest yet
                emulated_rig.heads["alder"].press()
                await scene.until(
                    lambda n=pressed: topics.count(taken) + topics.count(refused) == n
                )
                if taken in topics:
                    break
            await asyncio.sleep(0.5)
            assert topics.count(taken) == 1
            assert topics.count(refused) == pressed - 1

    asyncio.run(main())
