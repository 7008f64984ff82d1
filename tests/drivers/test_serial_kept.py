"""Serial links kept open by the service's keeper: plugged, unplugged, stalled, shared."""

import asyncio
import random
import threading
import time

import pytest
import serial

from ingest.core.errors import LinkBusy, LinkLost
from ingest.core.ids import MonotonicNs
from ingest.drivers import serial as serial_module
from ingest.service.backoff import BackoffSettings
from ingest.service.linkkeeper import KeeperSettings, LinkKeeper, LinkState
from ingest.service.watchdog import WatchdogSettings

BACKOFF = BackoffSettings(0.005, 0.01, 0.02, 5.0)
"""As in service, but faster: these tests wait for real ports."""

PATIENT = WatchdogSettings(30.0, 30.0)
IMPATIENT = WatchdogSettings(0.15, 0.1)


class Kept:
    """A keeper on a link; takes lines that end in a full stop as valid."""

    def __init__(self, link, watchdog=PATIENT):
        self.taken = b""
        self.changes = []
        self.news = asyncio.Event()
        self.keeper = LinkKeeper(
            link,
            KeeperSettings(BACKOFF, watchdog),
            clock=lambda: MonotonicNs(time.monotonic_ns()),
            random=random.Random(1).random,
            on_chunk=self.take,
            on_state=self.note,
        )
        self.running = asyncio.create_task(self.keeper.run())

    async def take(self, chunk):
        self.taken += chunk.data
        if chunk.data.endswith(b"."):
            self.keeper.note_good(chunk.arrived_ns)
        self.news.set()

    def note(self, change):
        self.changes.append(change)
        self.news.set()

    async def until(self, condition):
        while not condition():
            self.news.clear()
            await self.news.wait()

    async def until_state(self, state):
        await self.until(lambda: self.keeper.state is state)

    async def until_said(self, words):
        await self.until(lambda: words in self.taken)

    async def end(self):
        self.running.cancel()
        await asyncio.wait({self.running})
        assert self.running.cancelled()


def test_a_head_that_is_plugged_in_later_pulled_and_plugged_in_again(run, far_pty, link_to):
    async def main():
        far_pty.vanish()
        kept = Kept(link_to(far_pty))
        await kept.until_state(LinkState.ABSENT)
        for words in (b"first.", b"second."):
            far_pty.appear()
            await kept.until_state(LinkState.OPEN)
            far_pty.say(words)
            await kept.until_said(words)
            far_pty.vanish()
            await kept.until_state(LinkState.ABSENT)
            assert isinstance(kept.changes[-1].error, LinkLost)
        assert kept.keeper.reconnects == 1
        assert len(kept.changes) == 6
        await kept.end()

    run(main())


def test_a_head_that_stalls_is_silent_and_is_back_with_its_first_valid_line(run, far_pty, link_to):
    async def main():
        kept = Kept(link_to(far_pty), IMPATIENT)
        await kept.until_state(LinkState.OPEN)
        far_pty.say(b"alive.")
        await kept.until_state(LinkState.SILENT)
        while kept.keeper.state is LinkState.SILENT:
            far_pty.say(b"\r\nboot: \xff\xfe half a li")
            await asyncio.sleep(0.03)
            far_pty.say(b"back.")
            await asyncio.sleep(0.03)
        assert kept.keeper.state is LinkState.OPEN
        assert b"back." in kept.taken
        await kept.end()

    run(main())


def test_waits_for_a_port_that_another_holds(run, far_pty, link_to):
    async def main():
        other = link_to(far_pty)
        await other.open()
        kept = Kept(link_to(far_pty))
        await kept.until_state(LinkState.BUSY)
        assert isinstance(kept.changes[-1].error, LinkBusy)
        await other.close()
        await kept.until_state(LinkState.OPEN)
        await kept.end()

    run(main())


def test_links_that_fail_or_hang_do_not_delay_another(run, far_pty, link_to, tmp_path, monkeypatch):
    """Each line is answered before the next is said, while twenty other links misbehave."""
    go_on = threading.Event()
    real = serial.serial_for_url

    def opening(device, **settings):
        if "hanging" in device:
            go_on.wait(8.0)
        return real(device, **settings)

    monkeypatch.setattr(serial_module.serial, "serial_for_url", opening)

    async def main():
        bad = [Kept(link_to(str(tmp_path / f"missing-{n}"))) for n in range(10)]
        bad += [Kept(link_to(f"/dev/hanging-{n}", open_timeout_s=0.1)) for n in range(10)]
        kept = Kept(link_to(far_pty))
        await kept.until_state(LinkState.OPEN)
        for number in range(50):
            words = b"%d." % number
            far_pty.say(words)
            await kept.until_said(words)
            await kept.keeper.send(words)
            assert await asyncio.to_thread(far_pty.hear, 100) == words
        assert [change.state for change in kept.changes] == [LinkState.OPENING, LinkState.OPEN]
        for other in bad:
            await other.until_state(LinkState.ABSENT)
        go_on.set()
        for one in (kept, *bad):
            await one.end()

    run(main())


@pytest.mark.parametrize("moment", ["opening", "open", "absent"])
def test_a_cancel_frees_the_port(run, far_pty, link_to, moment):
    async def main():
        if moment == "absent":
            far_pty.vanish()
        kept = Kept(link_to(far_pty))
        await kept.until_state(LinkState(moment))
        await kept.end()
        if moment == "absent":
            far_pty.appear()
        other = link_to(far_pty, open_timeout_s=5.0)
        for _ in range(100):
            try:
                await other.open()
                break
            except LinkBusy:  # an opening under way is undone by its thread
                await asyncio.sleep(0.01)
        else:
            pytest.fail("the port is held for ever")
        await other.close()

    run(main())
