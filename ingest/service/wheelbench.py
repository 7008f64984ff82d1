"""What goes on at one head's wheel, from its being put on to its being taken off."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from calibration.measured import Measured
from ingest.chain.chain import Chain
from ingest.chain.rest import RestReading
from ingest.core.channels import ROW, Channel
from ingest.core.units import DEG, NS
from ingest.geometry.runout import Runout
from ingest.service.bayhead import BayHead, Wheel, condition
from ingest.service.headseen import HeadSeen
from ingest.service.results import Settled
from ingest.service.sightlines import Sat
from ingest.service.turns import WheelTurn

SIGHTS = (Channel.AZIMUTH_CROSS, Channel.AZIMUTH_TRACK)
LOW_PERCENT = 10
"""A battery that says so, or less, is low; it may be what silenced its head."""
LOWERED_S = 20.0
"""A wheel that has not moved for so long since its axle's turn on a jack stands on its plates; one
that moves before then is being let down. What it reads until then is of a wheel in the air."""


STOOD_RAD = 0.1 * DEG
"""A wheel whose camber has changed by more was moved: five times what settling scatters."""
STRAIGHT_RAD = 0.5 * DEG
"""A wheel that is steered by no more than this against where it stood is straight ahead again."""


def is_straight(off_rad: float) -> bool:
    """Say whether a wheel that stands so far from straight ahead counts as standing there."""
    return abs(math.remainder(off_rad, math.tau)) < STRAIGHT_RAD


TELLS_STEERING = (Channel.STEER, Channel.AZIMUTH_CROSS, Channel.AZIMUTH_TRACK)
"""What tells it, the best first: what a plate reads stands for nothing but the steering."""


@dataclass(slots=True)
class Steered:
    """A wheel that is being steered on purpose, or has not come back since: how it stood before."""

    straight: RestReading
    sweeping: bool = True

    def is_back(self, rest: RestReading) -> bool:
        """Say whether the sweep is over and the wheel rests as it stood before it."""
        for channel in TELLS_STEERING:
            off = float(rest.values[ROW[channel]] - self.straight.values[ROW[channel]])
            if math.isfinite(off):
                return not self.sweeping and is_straight(off)
        return False


@dataclass(slots=True)
class Bench:
    """One mounting of a head, and what is known of it."""

    head: BayHead
    mounting: int
    settling: int = 0
    """Counts the rests that are over."""
    turn: WheelTurn | None = None
    turn_id: str = ""
    broken: str = ""
    runout: Runout | None = None
    runout_id: str = ""
    chain: Chain | None = None
    rest: RestReading | None = None
    newest: RestReading | None = None
    """The newest sample alone, at rest or not: what is followed while something is turned."""
    settled: Settled | None = None
    progress_ns: int = 0
    result_ns: int = 0
    fed_ns: int = 0
    rested_ns: int = 0
    """When the wheel was last seen at rest; 0 where nobody saw it since."""
    lowered_ns: int = 0
    """From then on the wheel is taken to stand, where it was not seen to come down before."""

    steered: Steered | None = None
    """While it is set, the wheel stands as the steering has it: its heading, and what leans with
    it, tell nothing of the vehicle."""
    gained_of: tuple[Settled, Runout, Measured | None] | None = None
    """What was gained last, with what it was made of: it is asked for at each arrival."""

    @property
    def is_due(self) -> bool:
        """Whether a reading at rest is yet to come: the wheel moves, or has only just come to rest.

        Not of a head that nothing comes from, or that turns, or is steered with its wheel.
        """
        reads = self.head.online and self.runout is not None
        busy = self.turn is not None or self.steered is not None
        return reads and not busy and (self.settled is None or self.fed_ns < self.lowered_ns)

    def sat(self, rest: RestReading, standing: int) -> Sat | None:
        """Return the head as it sits; None while its clamp's error is not known."""
        if self.runout is None or self.head.wheel is None:
            return None
        return Sat(self.head, self.mounting, standing, self.runout, rest)

    @property
    def gained(self) -> Measured | None:
        """Camber at rest less that of the turn, rad; None while either is not known."""
        settled, runout, wheel = self.settled, self.runout, self.head.wheel
        if settled is None or self.steered or runout is None or wheel is None:
            return None
        before = self.gained_of
        if before is None or before[0] is not settled or before[1] is not runout:
            turned = runout.camber(wheel.side)
            gained = None if turned is None else settled.wheel.camber - turned
            before = self.gained_of = settled, runout, gained
        return before[2]

    def rest_since(self, since_ns: int, least_s: float) -> RestReading | None:
        """Return what the head has read at rest since a time; None where that is too short."""
        rest = None if self.chain is None else self.chain.rest.latest(since_ns)
        return None if rest is None or rest.span_s < least_s else rest


def plate_rad(bench: Bench) -> float:
    """Return the turn plate under a wheel at rest, rad; NaN where none is read."""
    return math.nan if bench.rest is None else float(bench.rest.values[ROW[Channel.STEER]])


def axle_of(bench: Bench, benches: Iterable[Bench]) -> list[Bench]:
    """Return what goes on at the wheels of the same axle, this one included."""
    wheel = bench.head.wheel
    return [b for b in benches if wheel and b.head.wheel and b.head.wheel.axle == wheel.axle]


def head_seen(
    bench: Bench, benches: Iterable[Bench], partners: Mapping[Channel, Wheel], today: date
) -> HeadSeen:
    """Return what is seen of a head now, for whoever watches over it."""
    head, rest, newest = bench.head, bench.rest, bench.newest
    wheel = head.wheel
    assert wheel is not None
    why = "" if head.online else condition(head, today)[2]  # only of a head that is lost
    charge = None if head.health is None else head.health.battery_percent
    if charge is not None and charge <= LOW_PERCENT:
        why = f"{why}, its battery was at {charge} %"
    hangs = any(b.turn is not None or b.fed_ns < b.lowered_ns for b in axle_of(bench, benches))
    sights = {} if rest is None else {c: float(rest.values[ROW[c]]) for c in SIGHTS}
    missing = () if newest is None else (c for c in SIGHTS if math.isnan(newest.values[ROW[c]]))
    return HeadSeen(
        head.name,
        wheel.axle,
        wheel.side.value,
        bench.mounting,
        bench.fed_ns,
        head.online,
        why,
        bench.runout is not None,
        hangs,
        None if rest is None else float(rest.values[ROW[Channel.INCL_Y]]),
        {c.value: read for c, read in sights.items() if math.isfinite(read)},
        frozenset(c.value for c in missing),
        {c.value: (to.axle, to.side.value) for c, to in partners.items()},
        bench.gained,
    )


def hang_on(benches: Iterable[Bench]) -> None:
    """Take note that a turn on a jack is over: these wheels are still to come down."""
    for bench in benches:
        bench.lowered_ns = bench.fed_ns + round(LOWERED_S * NS)
