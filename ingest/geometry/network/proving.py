"""Distances that a person can tape, foretold by the network, and held against what was taped.

Tapes that took part in the adjustment prove nothing: what is read here was kept out of it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from calibration.measured import Measured
from ingest.core.frames import Side
from ingest.geometry.network.adjusting import Adjusted
from ingest.geometry.network.forms import Form, Unknown
from ingest.geometry.network.quantities import usual
from ingest.geometry.network.results import measured
from ingest.geometry.network.stations import Network, Reading

COVERAGE = 2.0
"""k of the expanded uncertainty that a difference is held against."""

TAPE = "a tape kept out of the network"


@dataclass(frozen=True, slots=True)
class Foretold:
    """A distance, m: what the network makes of it (None: not determined), and what was read."""

    at: str
    to: str
    told: Measured | None
    check: int | None = None
    """Number of the check in the file, None where nobody taped it."""

    read: Measured | None = None

    @property
    def off(self) -> Measured | None:
        """Read minus told."""
        if self.told is None or self.read is None:
            return None
        return self.read - self.told

    @property
    def agrees(self) -> bool | None:
        """Whether the difference lies within its own expanded uncertainty."""
        off = self.off
        return None if off is None else abs(off.value) <= COVERAGE * off.u


def prove(adjusted: Adjusted) -> tuple[Foretold, ...]:
    """Return the checks in their order, then the usual distances that nobody taped."""
    network = adjusted.network
    checks = [(i, check.line.at, check.line.to) for i, check in enumerate(network.checks)]
    taped = {frozenset(pair) for _, *pair in checks}
    taped |= {
        frozenset((r.line.at, r.line.to)) for r in network.readings if r.used and not r.is_angular
    }
    usual_pairs = [p for p in handy_pairs(network) if frozenset(p) not in taped]
    every = [(at, to) for _, at, to in checks] + usual_pairs
    told = measured(adjusted, _distances(adjusted, every))
    return tuple(
        Foretold(at, to, value, i if i < len(checks) else None, _read(network.checks, i))
        for i, ((at, to), value) in enumerate(zip(every, told, strict=True))
    )


def handy_pairs(network: Network) -> tuple[tuple[str, str], ...]:
    """Return pairs of stations that a tape reaches: hubs of next axles, kingpin to axle ends."""
    axles = sorted(network.axles(), key=lambda axle: -network.ahead_m(axle))
    pairs = []
    for front, rear in pairwise(axles):
        for side in Side:
            one, other = network.wheel(front, side), network.wheel(rear, side)
            if one is not None and other is not None:
                pairs.append((one.id, other.id))
    for pin in [end for end in usual(network).centre_line or () if isinstance(end, str)]:
        ends = [network.wheel(axles[0], side) for side in Side] if axles else []
        pairs += [(pin, wheel.id) for wheel in ends if wheel is not None]
    return tuple(pairs)


def _distances(adjusted: Adjusted, pairs: Sequence[tuple[str, str]]) -> list[Form]:
    unknown = Unknown(adjusted.unknowns, adjusted.state)
    height = {station.id: station.z_m for station in adjusted.network.stations}
    return [
        unknown.spot(at).distance(unknown.spot(to), height[to] - height[at]) for at, to in pairs
    ]


def _read(checks: Sequence[Reading], i: int) -> Measured | None:
    if i >= len(checks) or checks[i].value is None:
        return None
    return Measured.of(checks[i].value or 0.0, checks[i].sigma, source=TAPE)
