"""A thread that a person turns, with the play that every thread has."""

import math

import numpy as np

from ingest.simulator.adjusting.errors import Stuck
from ingest.simulator.adjusting.parts import Hand, Threads

BACKLASH_M = 2e-5
"""Most that is lost when the direction changes; drawn evenly up to it (our own guess)."""
OPPOSITE = {
    one: other
    for pair in (
        ("the front", "the rear"),
        ("the left", "the right"),
        ("above", "below"),
        ("outside the vehicle", "under the vehicle's middle"),
    )
    for one, other in (pair, pair[::-1])
}


class Screw:
    """One threaded part: how much longer than as found it is now.

    The pitch is exact. Where the maker does not say which turning lengthens it, chance does.
    """

    def __init__(self, threads: Threads, random: np.random.Generator) -> None:
        self._threads = threads
        self._per_turn_m = math.fsum(threads.pitches_m)
        self._backlash_m = float(random.uniform(0.0, BACKLASH_M))
        self._taken_up_m = float(random.uniform(0.0, self._backlash_m))
        self._screwed_m = 0.0
        drawn = Hand(bool(random.integers(2)), "the front")
        self.hand = threads.lengthens or drawn
        self.moved_m = 0.0

    def turn(self, turns: float) -> None:
        """Turn it, longer positive. Raises ``Stuck`` at the end of its travel."""
        length_m = turns * self._per_turn_m
        screwed_m = self._screwed_m + length_m
        most_m = self._threads.longer_m if screwed_m > 0 else self._threads.shorter_m
        if most_m is not None and abs(screwed_m) > most_m:
            raise Stuck("it is at the end of its travel")
        self._screwed_m = screwed_m
        slack_m = self._backlash_m - self._taken_up_m if length_m > 0 else self._taken_up_m
        lost_m = min(abs(length_m), slack_m)
        self._taken_up_m += math.copysign(lost_m, length_m)
        self.moved_m += math.copysign(abs(length_m) - lost_m, length_m)


def lengthens(hand: Hand, clockwise: bool, seen_from: str) -> bool:
    """Say whether a turning, seen from somewhere, is the one that ``hand`` means.

    Raises: ``ValueError`` where the turning cannot be told from there.
    """
    if seen_from == hand.seen_from:
        return clockwise == hand.clockwise
    if seen_from == OPPOSITE[hand.seen_from]:
        return clockwise != hand.clockwise
    raise ValueError(f"from {seen_from} nobody sees which way it turns")
