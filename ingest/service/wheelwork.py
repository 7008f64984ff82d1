"""Turns and settled wheels: from what heads read to run-out, camber and total toe."""

import itertools

import numpy as np

from ingest.chain.chain import Chain
from ingest.chain.rest import RestReading
from ingest.core.blocks import Flag, SampleBlock
from ingest.core.errors import MeasurementRefused
from ingest.core.ids import HeadId
from ingest.core.published import PublishedResults
from ingest.core.units import NS
from ingest.geometry.runout import Runout
from ingest.geometry.sightline import Sightline
from ingest.service.adjusting import newest_of
from ingest.service.announcer import Announcer
from ingest.service.bayhead import BayHead, Wheel
from ingest.service.done import Done
from ingest.service.ground import Ground
from ingest.service.network import NetworkWork
from ingest.service.results import ResultDesk
from ingest.service.runouts import RunoutDesk
from ingest.service.sweepdesk import SweepDesk
from ingest.service.sweepprogress import SweepProgress
from ingest.service.takenoff import TAKEN_OFF_S
from ingest.service.turns import WheelTurn, judged
from ingest.service.wheelbench import Bench, Steered, axle_of, hang_on
from ingest.service.wheelread import WheelReader
from ingest.service.wheelsettings import WheelSettings
from ingest.service.wheelsights import WheelSights
from ingest.service.wheelturns import WheelTurns
from ingest.service.wheelviews import WheelViews


class WheelWork:
    """Keeps the turn, the clamp's error and the last settled reading of each head's wheel.

    What voids what (void: it is gone; stale, uncertain: it stands marked)::

        what happens                          turn under way  clamp's error  results
        a turn or a push begins               (busy)          void           stale
        the turn is refused: slip, knock ...  over            void already   stale already
        the head is put on any wheel, again   void            void           kept (``takenoff``)
          or another, or taken off
        another head speaks on its link       refused         void           stale
        the head starts anew (boot id)        refused         void           stale
        the link is lost or silent            refused         kept           stale
        the link comes back, same start       -               kept           read anew at rest
        the wheel moves                       -               kept           stale
        a sweep begins                        (refused)       kept           stale
        it is over; straight ahead, at rest   -               kept           read anew
        samples are lost                      goes on         kept           kept
        the head is renamed                   goes on         kept, resaid   kept

    A lost link keeps the clamp's error, since the boot id tells whether the head stayed the
    same; its encoder counts on. What nobody can see voids nothing: a clamp that slips while
    no turn is collected. So a technician who knocks a head begins its turn again. A job sees more,
    since its tasks say when a head should stay as it sits (``watching``).
    """

    def __init__(
        self,
        settings: WheelSettings,
        announcer: Announcer,
        published: PublishedResults | None = None,
        network: NetworkWork | None = None,
        ground: Ground | None = None,
    ) -> None:
        self._settings = settings
        self._benches: dict[HeadId, Bench] = {}
        self._network = network
        self._sights: WheelSights | None = None
        if network is not None:
            least_s = settings.turn.least_rest_s
            self._sights = WheelSights(network, self._benches.values(), least_s)
        self.views = WheelViews(self._benches, self._sights)
        sightline = Sightline(length_m=settings.cross_line_m, offset_rms_m=settings.clamp_offset_m)
        runouts = RunoutDesk(announcer, settings.cross_line_m)
        self._turns = WheelTurns(settings, sightline, runouts)
        self._reader = WheelReader(settings, sightline)
        self.results = ResultDesk(announcer, settings.spread, published, ground)
        self.progress = SweepProgress(announcer)
        self.sweeps = SweepDesk(announcer, ground or Ground(None))
        self._mountings = itertools.count(1)

    def bench(self, head: BayHead) -> Bench:
        """Return what is known of a head as it sits."""
        if head.id not in self._benches:
            self._benches[head.id] = Bench(head, next(self._mountings))
        return self._benches[head.id]

    def anew(self, axle: int, why: str) -> None:
        """Let the rests of an axle's heads begin anew: whoever worked there is done.

        A wheel that is turned slowly enough is at rest to its head; what it read meanwhile must not
        be averaged into what it reads from now on. ``why``: what it is stale by until then.
        """
        for bench in self.views.at(axle):
            if bench.chain is not None:
                bench.chain.rest.reset()
                self._move(bench.head, bench, why)

    def keep_newest(self, axle: int, newest_s: float) -> None:
        """Let what an axle's heads read at rest reach back no further than that."""
        for bench in self.views.at(axle):
            if bench.chain is not None:
                bench.chain.rest.keep(newest_s)

    def begin(self, head: BayHead, *, rolled: bool = False) -> Done:
        """Begin to collect a turn, or this head's part of a push."""
        begun = self._turns.begin(self.bench(head), rolled=rolled)
        if begun.ok and head.wheel is not None:
            self._moved_on_purpose(head, head.wheel, "turning")
        return begun

    def steered(self, head: BayHead) -> None:
        """Take note that a sweep begins: the wheel is about to be steered."""
        bench = self.bench(head)
        assert head.wheel is not None
        assert bench.rest is not None
        self._moved_on_purpose(head, head.wheel, "sweeping")
        bench.steered = Steered(bench.rest)

    def steered_back(self, head: BayHead) -> None:
        """Take note that a sweep is over: the wheel counts again when it rests straight ahead."""
        steered = self.bench(head).steered
        if steered is not None:
            steered.sweeping = False

    def _moved_on_purpose(self, head: BayHead, wheel: Wheel, why: str) -> None:
        self.results.withdraw(head, why)
        self.sweeps.over(wheel.axle, why)
        if self._network is not None:
            self._network.turning(wheel, why)

    def collecting(self, head: BayHead) -> WheelTurn | None:
        """Return the turn that is being collected."""
        return self.bench(head).turn

    def broken(self, head: BayHead) -> str:
        """Return the code for which the last turn ended by itself; empty where it did not."""
        return self.bench(head).broken

    def take_stop(self, head: BayHead) -> Done:
        """Take the present position as a stop."""
        return self._turns.take_stop(self.bench(head))

    def end(self, head: BayHead) -> Done:
        """End the turn and fit it."""
        turn = self.bench(head).turn
        if turn is None:
            return Done(False, "not-turning", f"no turn of {head.name} is being collected")
        if turn.rolled:
            return Done(False, "busy", f"{head.name} takes part in a push; end that by push-end")
        return self.conclude(head, judged(turn))

    def conclude(self, head: BayHead, found: Runout | MeasurementRefused) -> Done:
        """Put an end to the turn that is being collected: this came of it."""
        bench = self.bench(head)
        assert bench.turn is not None
        rolled = bench.turn.rolled
        done = self._turns.conclude(bench, found)
        if done.ok and not rolled:
            hang_on(axle_of(bench, self._benches.values()))
        return done

    def unmount(self, head: BayHead) -> None:
        """Void all that stands on how the head sat."""
        bench = self._benches.pop(head.id, None)
        if bench is not None:
            stood = bench.fed_ns - bench.rested_ns <= TAKEN_OFF_S * NS
            self.results.keep(head, stood=stood)
            self.sweeps.off(head, stood=stood)
            self.progress.forget(head)
            if self._network is not None:
                self._network.closed(bench.mounting, stood=stood)
            self._turns.unmount(bench)

    def lost(self, head: BayHead, why: str = "link-lost") -> None:
        """Take note that the head's readings broke off: a turn under way cannot be trusted."""
        bench = self.bench(head)
        self._move(head, bench, why)
        bench.rested_ns = 0
        self._turns.break_off(bench, why)

    def void(self, head: BayHead, why: str) -> None:
        """Take note that what is known of the clamp holds no more.

        The head started anew, so that its encoder may count from another zero; or it was
        swapped for another.
        """
        self.lost(head, why)
        bench = self.bench(head)
        self.sweeps.void(head, why)
        if self._network is not None:
            self._network.void(bench.mounting, why)
        self._turns.void(bench)

    def say_again(self, head: BayHead) -> None:
        """Say the clamp's error under the name that the head has now."""
        self._turns.say_again(self.bench(head))

    def feed(
        self, head: BayHead, blocks: list[SampleBlock], chain: Chain, partner: BayHead | None
    ) -> None:
        """Take what the chain gave."""
        if head.wheel is None:
            return
        bench = self.bench(head)
        rest = chain.rest.latest()
        if any(np.bitwise_or.reduce(block.flags) & np.uint16(Flag.MOVING) for block in blocks):
            self._move(head, bench, "moving")
        bench.rest, bench.chain, bench.newest = rest, chain, newest_of(blocks[-1])
        now_ns = bench.fed_ns = int(blocks[-1].t_ns[-1])
        if rest is not None:
            bench.rested_ns = now_ns
        if bench.turn is not None:
            self._turns.feed(bench, blocks, now_ns)
        elif bench.runout is not None and rest is not None:
            self._settle(bench, rest, partner, now_ns)

    def _settle(
        self, bench: Bench, rest: RestReading, partner: BayHead | None, now_ns: int
    ) -> None:
        if rest.span_s < self._settings.turn.least_rest_s:
            return
        if now_ns - bench.result_ns < self._settings.result_s * NS:
            return
        bench.result_ns = now_ns
        head, settled = bench.head, self._reader.read(bench, rest)
        if settled is None:
            return
        bench.settled = settled
        if bench.steered is not None:
            if not bench.steered.is_back(rest):
                return
            bench.steered = None
        self.results.camber(head, settled)
        self.sweeps.settled(head, settled.wheel.camber.value, rest)
        if self._sights is not None:
            self._sights.settled(bench, settled.wheel.camber.value)
            if self._sights.tells_toe(bench):
                return
        if partner is not None:
            both = self._reader.across(bench, self.bench(partner))
            if both is not None:
                self.results.total_toe(head, both[0], partner, both[1])

    def _move(self, head: BayHead, bench: Bench, why: str) -> None:
        bench.settling += bench.rest is not None
        bench.rest, bench.lowered_ns = None, 0
        self.sweeps.moving(head, why)
        if bench.settled is not None:
            self.results.withdraw(head, why)
            if self._network is not None:
                self._network.rests(bench.mounting, why)
            bench.settled = None
        bench.result_ns = 0
