"""One link kept open for ever, whatever it does. Scripted links, virtual time."""

import asyncio

import pytest

from ingest.core.errors import LinkBusy, LinkDenied, LinkLost, LinkNotFound, LinkSilent
from ingest.core.ids import MonotonicNs
from ingest.core.ports import Chunk
from ingest.service.backoff import BackoffSettings
from ingest.service.linkkeeper import KeeperSettings, LinkKeeper, LinkState
from ingest.service.watchdog import WatchdogSettings

SETTINGS = KeeperSettings(BackoffSettings(0.05, 0.25, 10.0, 5.0), WatchdogSettings(2.0, 3.0))
DATA = b"x"


class ScriptedLink:
    """Plays one session per opening: seconds to wait, bytes to give, an error to raise.

    A session that begins with an error fails to open. The last session is played for ever.
    """

    name = "head"
    dropped = 0

    def __init__(self, *sessions):
        self.sessions = list(sessions)
        self.script = None
        self.is_open = False
        self.log = []
        self.sent = []
        self.resting_until_ns = None

    async def open(self):
        assert not self.is_open, "opened before it was closed"
        self.log.append(("open", asyncio.get_running_loop().time()))
        self.script = self.sessions.pop(0) if len(self.sessions) > 1 else self.sessions[0]
        if isinstance(self.script[0], Exception):
            raise self.script[0]
        self.is_open = True

    async def chunks(self):
        for step in self.script:
            if isinstance(step, bytes):
                yield Chunk(step, now_ns())
            elif isinstance(step, Exception):
                raise step
            else:
                await asyncio.sleep(step)

    async def send(self, data):
        self.sent.append(data)

    async def ask_hello(self, command):
        self.sent.append(command)

    def rest(self, until_ns):
        self.resting_until_ns = until_ns

    async def close(self):
        self.is_open = False
        self.log.append(("close", asyncio.get_running_loop().time()))

    def opened_after_s(self):
        """Seconds from each closing to the next opening."""
        times = [at_s for what, at_s in self.log]
        return [round(o - c, 6) for c, o in zip(times[1::2], times[2::2], strict=False)]


def now_ns():
    return MonotonicNs(round(asyncio.get_running_loop().time() * 1e9))


class Owner:
    """Holds a keeper as the service does. Takes all bytes as good, unless told otherwise."""

    def __init__(self, link, *, good=True, draw=1.0):
        self.link = link
        self.good = good
        self.taken = []
        self.changes = []
        self.keeper = LinkKeeper(
            link,
            SETTINGS,
            clock=now_ns,
            random=lambda: draw,
            on_chunk=self.take,
            on_state=self.changes.append,
        )

    async def take(self, chunk):
        self.taken.append(chunk.data)
        if self.good:
            self.keeper.note_good(chunk.arrived_ns)

    def states(self):
        return [change.state for change in self.changes]

    async def run_for(self, seconds):
        running = asyncio.create_task(self.keeper.run())
        await asyncio.wait({running}, timeout=seconds)
        self.after = self.keeper.state
        running.cancel()
        await asyncio.wait({running})
        return running


LOST = LinkLost("head", "gone")
MISSING = LinkNotFound("head", "no such port")
STEADY = (1.0, DATA) * 1000


def test_hands_on_bytes_in_order_and_says_that_it_is_open(run_in_virtual_time):
    async def main():
        owner = Owner(ScriptedLink([b"a", 1.0, b"b", 0.5, b"c", 100.0]))
        await owner.run_for(2.0)
        assert owner.taken == [b"a", b"b", b"c"]
        assert owner.states() == [LinkState.OPENING, LinkState.OPEN]
        assert owner.keeper.reconnects == 0

    run_in_virtual_time(main())


def test_says_once_that_a_port_is_absent_and_finds_it_when_it_comes(run_in_virtual_time):
    async def main():
        owner = Owner(ScriptedLink([MISSING], [MISSING], [MISSING], STEADY))
        await owner.run_for(20.0)
        assert owner.states() == [LinkState.OPENING, LinkState.ABSENT, LinkState.OPEN]
        assert owner.changes[1].error is MISSING
        assert owner.changes[2].error is None
        assert owner.keeper.reconnects == 0

    run_in_virtual_time(main())


@pytest.mark.parametrize(
    ("error", "state"),
    [
        (LinkBusy("head", "held"), LinkState.BUSY),
        (LinkDenied("head", "not yours"), LinkState.DENIED),
        (LOST, LinkState.ABSENT),
    ],
)
def test_says_why_a_link_is_not_open(run_in_virtual_time, error, state):
    async def main():
        owner = Owner(ScriptedLink([error]))
        await owner.run_for(60.0)
        assert owner.states() == [LinkState.OPENING, state]
        assert owner.changes[1].error is error
        assert owner.after is state

    run_in_virtual_time(main())


def test_closes_before_each_opening_and_waits_longer_each_time(run_in_virtual_time):
    async def main():
        link = ScriptedLink([MISSING])
        await Owner(link).run_for(60.0)
        assert [what for what, _ in link.log] == ["open", "close"] * (len(link.log) // 2)
        assert link.opened_after_s()[:7] == [0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 10.0]

    run_in_virtual_time(main())


def test_does_not_spin_with_the_smallest_draw(run_in_virtual_time):
    async def main():
        link = ScriptedLink([DATA, LOST])
        await Owner(link, draw=0.0).run_for(10.0)
        assert set(link.opened_after_s()) == {0.05}

    run_in_virtual_time(main())


def test_a_link_that_opens_and_dies_at_once_is_tried_ever_more_seldom(run_in_virtual_time):
    async def main():
        link = ScriptedLink([DATA, LOST])
        await Owner(link).run_for(60.0)
        assert link.opened_after_s()[:7] == [0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 10.0]

    run_in_virtual_time(main())


def test_good_data_for_a_while_ends_the_backoff(run_in_virtual_time):
    async def main():
        link = ScriptedLink([MISSING], [MISSING], [MISSING], [*(1.0, DATA) * 7, LOST], [MISSING])
        await Owner(link).run_for(15.0)
        assert link.opened_after_s()[:5] == [0.25, 0.5, 1.0, 0.25, 0.5]

    run_in_virtual_time(main())


def test_forbidden_ports_are_tried_at_the_slowest_pace(run_in_virtual_time):
    async def main():
        link = ScriptedLink([LinkDenied("head", "not yours")])
        await Owner(link, draw=0.0).run_for(45.0)
        assert set(link.opened_after_s()) == {10.0}

    run_in_virtual_time(main())


def test_silence_closes_and_reopens_and_is_said_once_until_a_valid_frame(run_in_virtual_time):
    async def main():
        link = ScriptedLink([DATA, 4.0, DATA, 100.0], [100.0], [1.0, DATA, 100.0])
        owner = Owner(link)
        await owner.run_for(4.0 + 2.0 + 0.3 + 5.0 + 0.6 + 2.0)
        assert owner.states() == [
            LinkState.OPENING,
            LinkState.OPEN,
            LinkState.SILENT,
            LinkState.OPEN,
        ]
        assert isinstance(owner.changes[2].error, LinkSilent)
        assert "more than 2 s" in owner.changes[2].error.reason
        first_s = link.log[0][1]
        times = [round(at_s - first_s, 2) for _, at_s in link.log[:4]]
        assert times == [0.0, 6.0, 6.25, 11.25]
        assert owner.keeper.reconnects == 2

    run_in_virtual_time(main())


def test_boot_text_is_tolerated_in_the_grace_but_is_no_sign_of_life(run_in_virtual_time):
    """A board that restarts when its port is opened first sends text for two seconds."""

    async def main():
        link = ScriptedLink([*(0.01, b"boot: hello\r\n") * 200, *(1.0, DATA) * 100])
        owner = Owner(link, good=False)

        async def take(chunk):
            owner.taken.append(chunk.data)
            if chunk.data == DATA:
                owner.keeper.note_good(chunk.arrived_ns)

        owner.keeper._on_chunk = take
        await owner.run_for(20.0)
        assert owner.states() == [LinkState.OPENING, LinkState.OPEN]
        assert len(link.log) == 2

    run_in_virtual_time(main())


def test_a_link_that_only_babbles_is_silent(run_in_virtual_time):
    async def main():
        link = ScriptedLink((0.01, b"garbage") * 2000)
        owner = Owner(link, good=False)
        await owner.run_for(10.0)
        assert owner.after is LinkState.SILENT
        assert len(link.log) >= 3

    run_in_virtual_time(main())


def test_a_cancel_closes_the_link_wherever_it_comes(run_in_virtual_time):
    async def main():
        for seconds in (0.5, 6.1):  # while open, and while waiting to open again
            link = ScriptedLink([DATA, 100.0])
            running = await Owner(link).run_for(seconds)
            assert running.cancelled()
            assert not link.is_open
            assert link.log[-1][0] == "close"

    run_in_virtual_time(main())


def test_a_cancel_while_opening_closes_the_link(run_in_virtual_time):
    class Hanging(ScriptedLink):
        async def open(self):
            await super().open()
            await asyncio.sleep(100.0)

    async def main():
        link = Hanging([DATA])
        running = await Owner(link).run_for(1.0)
        assert running.cancelled()
        assert not link.is_open

    run_in_virtual_time(main())


def test_a_fault_of_the_owner_comes_out_after_the_link_was_closed(run_in_virtual_time):
    async def main():
        link = ScriptedLink([DATA, 100.0])
        owner = Owner(link)

        async def stumble(chunk):
            raise ZeroDivisionError

        owner.keeper._on_chunk = stumble
        running = await owner.run_for(1.0)
        with pytest.raises(ZeroDivisionError):
            running.result()
        assert not link.is_open

    run_in_virtual_time(main())


def test_sends_only_while_open(run_in_virtual_time):
    async def main():
        link = ScriptedLink([1.0, LOST], [MISSING])
        owner = Owner(link)
        with pytest.raises(LinkLost, match="not open now"):
            await owner.keeper.send(b"early")
        running = asyncio.create_task(owner.keeper.run())
        await asyncio.sleep(0.5)
        await owner.keeper.send(b"command")
        await asyncio.sleep(1.0)
        with pytest.raises(LinkLost, match="not open now"):
            await owner.keeper.send(b"late")
        assert link.sent == [b"command"]
        running.cancel()
        await asyncio.wait({running})

    run_in_virtual_time(main())


def test_can_send_as_soon_as_it_says_open(run_in_virtual_time):
    async def main():
        link = ScriptedLink([100.0])
        owner = Owner(link)
        sending = []

        def on_state(change):
            if change.state is LinkState.OPEN:
                sending.append(asyncio.create_task(owner.keeper.send(b"hello?")))

        owner.keeper._on_state = on_state
        await owner.run_for(1.0)
        await asyncio.gather(*sending)
        assert link.sent == [b"hello?"]

    run_in_virtual_time(main())


def test_passes_a_hint_to_rest_on_and_counts_what_was_dropped(run_in_virtual_time):
    async def main():
        link = ScriptedLink([100.0])
        link.dropped = 3
        owner = Owner(link)
        owner.keeper.rest(MonotonicNs(77))
        assert link.resting_until_ns == 77
        assert owner.keeper.dropped == 3

    run_in_virtual_time(main())


def test_links_that_fail_do_not_delay_the_others(run_in_virtual_time):
    async def main():
        good = Owner(ScriptedLink((0.01, DATA) * 2000))
        bad = [
            Owner(ScriptedLink(script), good=False)
            for script in ([MISSING], [DATA, LOST], [100.0], (0.001, b"garbage") * 20_000)
        ]
        await asyncio.gather(*(owner.run_for(10.0) for owner in [good, *bad]))
        assert len(good.taken) >= 999
        assert good.states() == [LinkState.OPENING, LinkState.OPEN]

    run_in_virtual_time(main())
