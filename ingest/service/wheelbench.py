"""What goes on at one head's wheel, from its being put on to its being taken off."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from ingest.chain.chain import Chain
from ingest.chain.rest import RestReading
from ingest.core.channels import ROW, Channel
from ingest.core.units import DEG, NS
from ingest.geometry.runout import Runout
from ingest.service.bayhead import BayHead
from ingest.service.results import Settled
from ingest.service.sightlines import Sat
from ingest.service.turns import WheelTurn

LOWERED_S = 20.0
"""A wheel that has not moved for so long since its axle's turn on a jack stands on its plates; one
that moves before then is being let down. What it reads until then is of a wheel in the air."""


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

    def sat(self, rest: RestReading, standing: int) -> Sat | None:
        """Return the head as it sits; None while its clamp's error is not known."""
        if self.runout is None or self.head.wheel is None:
            return None
        return Sat(self.head, self.mounting, standing, self.runout, rest)

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


def hang_on(benches: Iterable[Bench]) -> None:
    """Take note that a turn on a jack is over: these wheels are still to come down."""
    for bench in benches:
        bench.lowered_ns = bench.fed_ns + round(LOWERED_S * NS)
