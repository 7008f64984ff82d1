"""A turn of a head's wheel, from its begin to what comes of it: the clamp's error, or a refusal."""

import itertools

from ingest.core.blocks import SampleBlock
from ingest.core.errors import MeasurementRefused
from ingest.core.units import NS
from ingest.geometry.runout import Runout
from ingest.geometry.sightline import Sightline
from ingest.service.done import Done
from ingest.service.runouts import RunoutDesk
from ingest.service.turns import WheelTurn
from ingest.service.wheelbench import Bench
from ingest.service.wheelsettings import WheelSettings


class WheelTurns:
    """Collects the turns on the benches of all heads; at most one at a time on each."""

    def __init__(self, settings: WheelSettings, sightline: Sightline, runouts: RunoutDesk) -> None:
        self._settings = settings
        self._sightline = sightline
        self._runouts = runouts
        self._ids = itertools.count(1)

    def begin(self, bench: Bench, *, rolled: bool) -> Done:
        """Begin to collect a turn, or a head's part of a push."""
        head = bench.head
        if head.wheel is None:
            return Done(False, "not-mounted", f"say first which wheel {head.name} is on")
        if bench.turn is not None:
            return Done(False, "already-turning", f"a turn of {head.name} is being collected")
        bench.settled = bench.runout = bench.steered = None
        bench.turn = WheelTurn(
            self._settings.turn, self._sightline, fixed=head.fixed, rolled=rolled
        )
        bench.turn_id = f"ro-{next(self._ids)}"
        bench.progress_ns = 0
        bench.broken = ""
        return Done(
            True, "ok", "turn the wheel; let it rest at each stop, or turn it slowly through"
        )

    def take_stop(self, bench: Bench) -> Done:
        """Take the present position as a stop."""
        name = bench.head.name
        if bench.turn is None:
            return Done(False, "not-turning", f"no turn of {name} is being collected")
        if bench.rest is None:
            return Done(False, "head-moving", f"{name} is still moving; hold for 2 s, try again")
        bench.turn.take(bench.rest)
        self._progress(bench, bench.turn, bench.rest.t_ns)
        return Done(True, "ok", f"stop {bench.turn.stops} taken")

    def feed(self, bench: Bench, blocks: list[SampleBlock], now_ns: int) -> None:
        """Take what the chain gave while a turn is collected."""
        turn = bench.turn
        assert turn is not None
        turn.add(blocks)
        news = bench.rest is not None and turn.rest(bench.rest)
        if news or now_ns - bench.progress_ns >= self._settings.progress_s * NS:
            self._progress(bench, turn, now_ns)

    def conclude(self, bench: Bench, found: Runout | MeasurementRefused) -> Done:
        """Put an end to the turn that is being collected: this came of it."""
        turn, bench.turn = bench.turn, None
        assert turn is not None
        if isinstance(found, MeasurementRefused):
            self._runouts.refuse(bench.head, bench.turn_id, turn, found)
            return Done(False, "refused", str(found)[:200])
        bench.runout, bench.runout_id = found, bench.turn_id
        self._runouts.done(bench.head, bench.turn_id, found)
        bench.result_ns = 0
        return Done(True, "ok", f"run-out found from {found.worth.n} readings")

    def break_off(self, bench: Bench, why: str) -> None:
        """Refuse a turn that is being collected: the head's readings broke off."""
        if bench.turn is None:
            return
        turn, bench.turn, bench.broken = bench.turn, None, why
        text = f"the readings of {bench.head.name} broke off during the turn; begin it again"
        broken = MeasurementRefused(why, text, figure=1.0, limit=0.0)
        self._runouts.refuse(bench.head, bench.turn_id, turn, broken)

    def unmount(self, bench: Bench) -> None:
        """Take back all that was said of a head's turns: it is being taken off."""
        self._runouts.void(bench.head)

    def void(self, bench: Bench) -> None:
        """Take back the clamp's error where one is known."""
        if bench.runout is not None:
            bench.runout = None
            self._runouts.void(bench.head)

    def say_again(self, bench: Bench) -> None:
        """Say the clamp's error under the name that the head has now."""
        if bench.runout is not None:
            self._runouts.done(bench.head, bench.runout_id, bench.runout)

    def _progress(self, bench: Bench, turn: WheelTurn, now_ns: int) -> None:
        bench.progress_ns = now_ns
        self._runouts.turning(bench.head, bench.turn_id, turn)
