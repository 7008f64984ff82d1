"""A technician who adjusts from published advice alone."""

from collections.abc import Iterator, Sequence

from ingest.core.frames import Side
from ingest.simulator.adjusting.adjusters import Adjusters
from ingest.simulator.adjusting.advice import Fit, FitWedge, SetPin, Swing, Turn, read
from ingest.simulator.adjusting.axle import Place
from ingest.simulator.technician import Step


def follow(adjusters: Adjusters, axle: int, sentences: Sequence[str]) -> Iterator[Step]:
    """Do what the sentences about an axle say, one after the other; wait between the steps.

    The turning is taken from the words that say it as seen from somewhere, where they do, and from
    the verb or the effect where they do not.
    Raises: ``Unreadable`` for a sentence that nobody could act on, ``Stuck`` and ``NotAtHand`` from
    the adjuster.
    """
    for sentence in sentences:
        step = act(adjusters, axle, sentence)
        if step is not None:
            yield step


def sweep_goals(adjusters: Adjusters, axle: int) -> tuple[float, float] | None:
    """Return how far the inner wheel of an axle is steered to its stops, left and right; None
    where it has no stop bolts."""
    there = adjusters.axles.get(axle)
    if there is None or len(there.stops) < len(Side):
        return None
    left, right = (adjusters.lock_knuckle_rad(axle, side) for side in Side)
    return left, right


def act(adjusters: Adjusters, axle: int, sentence: str) -> Step | None:
    """Do what one sentence says; None where it says to leave all as it is."""
    match read(sentence):
        case Turn(part, side, turns, longer, seen):
            place = Place(axle, part, side)
            if seen is None:
                return adjusters.turn(place, turns if longer else -turns)
            return adjusters.screw(place, turns, clockwise=seen.clockwise, seen_from=seen.seen_from)
        case Swing(side, angle_rad, forward, seen):
            place = Place(axle, "eccentric", side)
            if seen is None:
                return adjusters.swing(place, angle_rad if forward else -angle_rad)
            return adjusters.swing_seen(
                place, angle_rad, clockwise=seen.clockwise, seen_from=seen.seen_from
            )
        case Fit(part, side, sizes_m):
            return adjusters.fit(Place(axle, part, side), sizes_m)
        case SetPin(side, position):
            return adjusters.set(Place(axle, "bar pin", side), position)
        case FitWedge(side, wedge_rad):
            return adjusters.wedge(Place(axle, "spring pad", side), wedge_rad)
        case _:
            return None
