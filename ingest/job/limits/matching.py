"""Which limit holds for what was measured: an axle's number beats its role, a role beats every."""

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from typing import Protocol

from ingest.core.frames import Side
from ingest.job.limits.faults import LimitsError
from ingest.job.limits.limit import EVERY, VEHICLE, Key, Limit, Load
from ingest.job.limits.limitset import LimitSet
from ingest.job.limits.quantities import Of, Quantity


class AnAxle(Protocol):
    """An axle of a vehicle, as far as limits know it."""

    @property
    def number(self) -> int:
        """Counted from the front, from 1."""

    @property
    def role(self) -> str | None:
        """What it is for; None where nobody has said."""


@dataclass(frozen=True, slots=True)
class Place:
    """What was measured: a quantity of an axle (None: of the vehicle), of one side where it has."""

    quantity: Quantity
    axle: AnAxle | None = None
    side: Side | None = None

    def __str__(self) -> str:
        axle = VEHICLE if self.axle is None else self.axle.number
        return str(Key(axle, self.quantity, self.side))


@dataclass(frozen=True, slots=True)
class Match:
    """The limit of a place; ``other_load`` where the only one is for another load state."""

    limit: Limit | None
    other_load: bool = False


def match(limits: LimitSet, place: Place, load: Load) -> Match:
    """Return the limit that holds for a place on a vehicle of a load state.

    Of those that hold in that state the axle's number beats its role, and a role beats every; then
    a limit of the one side beats one of both, and one of the very state beats one of any. With
    ``Load.ANY`` the state of the vehicle is not known, and only limits of any state hold.

    Raises:
        LimitsError: of two that name the axle alike one is of the side and the other of the state,
            and they say different things.
    """
    fitting = [limit for limit in limits.limits if _level(limit.key, place)]
    holding = [limit for limit in fitting if limit.key.load in (load, Load.ANY)]
    chosen = holding or fitting
    if not chosen:
        return Match(None)
    return Match(_closest(chosen, limits, place), other_load=not holding)


def conflicts(limits: LimitSet, axles: Collection[AnAxle]) -> tuple[str, ...]:
    """Return a line for each place of a vehicle that the set has contradicting limits for."""
    found: dict[str, None] = {}
    for place in _places(axles):
        for load in Load:
            try:
                match(limits, place, load)
            except LimitsError as error:
                found[str(error)] = None
    return tuple(found)


def unused(limits: LimitSet, axles: Collection[AnAxle]) -> tuple[Key, ...]:
    """Return the limits that no axle of a vehicle has a use for."""
    used = set()
    for place in _places(axles):
        used |= {limit.key for limit in limits.limits if _level(limit.key, place)}
    return tuple(limit.key for limit in limits.limits if limit.key not in used)


def _places(axles: Collection[AnAxle]) -> Iterator[Place]:
    for quantity in Quantity:
        sides = tuple(Side) if quantity.kind.has_sides else (None,)
        whose = (None,) if quantity.kind.of is Of.VEHICLE else tuple(axles)
        for axle in whose:
            for side in sides:
                yield Place(quantity, axle, side)


def _level(key: Key, place: Place) -> int:
    """Return how closely a limit names the axle, 0 where it is not of this place at all."""
    if key.quantity is not place.quantity or key.side not in (None, place.side):
        return 0
    if place.axle is None:
        return 1 if key.axle == VEHICLE else 0
    if key.axle == place.axle.number:
        return 3
    if key.axle == place.axle.role:
        return 2
    return 1 if key.axle == EVERY else 0


def _closest(found: list[Limit], limits: LimitSet, place: Place) -> Limit:
    level = max(_level(limit.key, place) for limit in found)
    alike = [limit for limit in found if _level(limit.key, place) == level]
    first = max(alike, key=lambda limit: sum(_names(limit.key)))
    for other in alike:
        closer = all(a >= b for a, b in zip(_names(first.key), _names(other.key), strict=True))
        if not closer and _bounds(first) != _bounds(other):
            reason = f"{place}: one limit is that of {first.key}, another that of {other.key}"
            advice = "nothing says which holds; give one for the side and the load state together"
            raise LimitsError(limits.name, f"{reason}; {advice}")
    return first


def _names(key: Key) -> tuple[bool, bool]:
    return key.side is not None, key.load is not Load.ANY


def _bounds(limit: Limit) -> tuple[float | None, float | None, float | None]:
    return limit.low, limit.nominal, limit.high
