"""The order of work by brute force: every set-up and every adjustment, no bound, no short cut.

Written from the rules in words and apart from the planner: sets in place of bits, Dijkstra over
all that can be done, costs as tuples (mountings, set-ups, adjustments by a tie).
"""

import heapq
from itertools import combinations, count

START = (frozenset(),) * 5
"""Axles with heads on, tied, found, touched, left: none yet."""


class Unit:
    """What the rules speak of, by axle number."""

    def __init__(self, axles, reference, line, works, steer=None, second=None, joined=None):
        self.axles = frozenset(axles)
        self.reference = reference
        self.line = frozenset(line)
        self.works = frozenset(works)
        self.last = self.works & {steer, second}
        self.against = {a: frozenset() if a == reference else {reference} for a in axles}
        if second is not None:
            self.against[second] = frozenset({reference, steer})
        self.joined = joined or (lambda mounted: True)

    def told(self, axle, mounted, tied):
        """Against the line: both its ends have heads on. Against axles: all are in one network."""
        if axle == self.reference:
            return axle in tied and self.line <= mounted
        return axle in tied and self.against[axle] <= tied

    def final(self, axle, found, touched, left):
        """Nothing more is to be done on it, and nothing that it is told against will change."""
        if not all(self.final(other, found, touched, left) for other in self.against[axle]):
            return False
        if axle in self.works or self.against[axle] & touched:
            return axle in left
        return axle in found

    def measured(self, mounted, tied, found, touched, left):
        """The state once all is measured that can be: it costs nothing, and takes nothing away."""
        known = [axle for axle in self.axles if self.told(axle, mounted, tied)]
        found |= {a for a in known if a not in touched and not self.against[a] & touched}
        for axle in sorted(known, key=lambda a: len(self.against[a])):
            steady = all(self.final(o, found, touched, left) for o in self.against[axle])
            again = axle in touched or (axle not in self.works and self.against[axle] & touched)
            if steady and again:
                left |= {axle}
        return mounted, tied, found, touched, left

    def adjustments(self, state):
        """Yield (price, state) for every axle that may be adjusted as the heads sit."""
        mounted, tied, found, touched, left = state
        for axle in mounted:
            steady = all(self.final(o, found, touched, left) for o in self.against[axle])
            if steady and self.told(axle, mounted, tied) and self.may_adjust(axle, state):
                after = frozenset({axle}) if mounted == {axle} else tied
                price = (0, 0, 0 if self.against[axle] <= mounted else 1)
                yield price, self.measured(mounted, after, found, touched | {axle}, left)

    def may_adjust(self, axle, state):
        mounted, _, found, touched, left = state
        dependents = {other for other in self.axles if axle in self.against[other]}
        witness = mounted - {axle} or (axle == self.reference and not self.line)
        first = axle not in self.last or self.works - self.last <= left
        return (
            axle in self.works - touched
            and {axle} | dependents <= found
            and bool(witness)
            and first
        )

    def set_ups(self, pairs):
        """Every set of axles that may have heads on at once."""
        return [
            frozenset(chosen)
            for n in range(1, pairs + 1)
            for chosen in combinations(sorted(self.axles), n)
            if self.joined(frozenset(chosen))
        ]

    def moves(self, state, set_ups):
        """Yield (price, state) for all that can be done next."""
        yield from self.adjustments(state)
        mounted, tied, found, touched, left = state
        for after in set_ups:
            if after != mounted:
                grown = (tied if mounted & after & tied else frozenset()) | after
                price = (len(after - mounted), 1, 0)
                yield price, self.measured(after, grown, found, touched, left)

    def cheapest(self, pairs, start=START):
        """The cost of the cheapest order from a state on, None where there is none."""
        set_ups = self.set_ups(pairs)
        start = self.measured(*start)
        best, order = {start: (0, 0, 0)}, count()
        heap = [((0, 0, 0), 0, start)]
        while heap:
            cost, _, state = heapq.heappop(heap)
            if cost > best[state]:
                continue
            _, _, found, touched, left = state
            if all(self.final(axle, found, touched, left) for axle in self.axles):
                return cost
            for price, after in self.moves(state, set_ups):
                total = tuple(map(sum, zip(cost, price, strict=True)))
                if after not in best or total < best[after]:
                    best[after] = total
                    heapq.heappush(heap, (total, next(order), after))
        return None
