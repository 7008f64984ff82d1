"""Distances that a person can tape, foretold by the network, and held against what was taped.

Tapes that took part in the adjustment prove nothing: what is read here was kept out of it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations, pairwise

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
    """A distance, or a difference of two, m: what the network makes of it, and what was read.

    ``told`` is None where it is not determined.
    """

    at: str
    to: str
    told: Measured | None
    check: int | None = None
    """Number of the check in the file, None where nobody taped it."""

    less: tuple[str, str] | None = None
    """The pair whose distance is taken off: left less right."""

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


def foretold(adjusted: Adjusted, at: str, to: str) -> Measured | None:
    """Return one distance between two stations, m, by the network's own weights; None where it is
    not determined. Raises ``KeyError`` for a station that there is not."""
    (found,) = measured(adjusted, _distances(adjusted, [(at, to)]))
    return found


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
    forms = _distances(adjusted, every)
    found = [
        Foretold(at, to, None, i if i < len(checks) else None, read=_read(network.checks, i))
        for i, (at, to) in enumerate(every)
    ]
    for left, right in handy_differences(network):
        one, other = _distances(adjusted, (left, right))
        forms.append(one - other)
        read = _difference(network.checks, left, right)
        found.append(Foretold(*left, told=None, less=right, read=read))
    told = measured(adjusted, forms)
    return tuple(replace(each, told=value) for each, value in zip(found, told, strict=True))


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


def handy_differences(
    network: Network,
) -> tuple[tuple[tuple[str, str], tuple[str, str]], ...]:
    """Return pairs of such distances, left and right, whose difference shows a skewed axle."""
    side = {station.id: station.side for station in network.stations}
    axle = {station.id: station.axle for station in network.stations}
    pairs = handy_pairs(network)
    return tuple(
        (left, right)
        for left, right in combinations(pairs, 2)
        if side[left[1]] is Side.LEFT
        and side[right[1]] is Side.RIGHT
        and axle[left[1]] == axle[right[1]]
        and (left[0] == right[0] or axle[left[0]] == axle[right[0]] is not None)
    )


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


def _difference(
    checks: Sequence[Reading], left: tuple[str, str], right: tuple[str, str]
) -> Measured | None:
    """Return left less right, as taped, where both were."""
    taped = {frozenset((c.line.at, c.line.to)): _read(checks, i) for i, c in enumerate(checks)}
    one, other = taped.get(frozenset(left)), taped.get(frozenset(right))
    return None if one is None or other is None else one - other
