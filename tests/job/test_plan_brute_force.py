"""The planner's cost against an independent brute force, on every small unit.

All units of up to four axles (once for each that differ by more than which of like axles is which),
with one to three pairs of heads; samples of five and six axles, which take the brute force seconds
each: ``python -m tests.job.every_unit 6`` compares all of a size.
"""

import random
from itertools import combinations

import pytest

from tests.job.brute_force import START
from tests.job.every_unit import PAIRS, both, every_unit, slow_unit


@pytest.mark.parametrize("n", [1, 2, 3, 4])
def test_every_unit_costs_what_brute_force_finds(n):
    for unit in every_unit(n):
        for pairs in PAIRS:
            slow, found = both(n, *unit, pairs)
            assert found == slow, (unit, pairs)


@pytest.mark.parametrize(("n", "pairs", "count"), [(5, 2, 6), (5, 3, 4), (6, 2, 1)])
def test_a_sample_of_larger_units_does_too(n, pairs, count):
    chosen = random.Random(f"{n} {pairs}").sample(list(every_unit(n)), count)
    for unit in chosen:
        slow, found = both(n, *unit, pairs)
        assert found == slow, unit


def test_units_with_blocked_sightlines_do_too():
    """Here axles differ by what can be seen, too, and some units cannot be done at all."""
    draw = random.Random(20261128)
    units = list(every_unit(4))
    answers = set()
    for _ in range(90):
        unit, pairs = draw.choice(units), draw.choice((2, 3))
        along = {frozenset(p) for p in combinations(range(1, 5), 2) if draw.random() < 0.3}
        across = {axle for axle in range(1, 5) if draw.random() < 0.25}

        def joined(mounted, along=along, across=across):
            """Both sides see one another along, and one free line across joins them."""
            reached = {min(mounted)}
            for _ in mounted:
                reached |= {b for a in reached for b in mounted if frozenset((a, b)) not in along}
            return reached == mounted and bool(mounted - across)

        slow, found = both(4, *unit, pairs, joined)
        assert found == slow, (unit, pairs, along, across)
        answers.add(slow is None)
    assert answers == {True, False}


def test_an_axle_that_is_done_is_mounted_again_where_only_it_sees_the_next():
    """Axles 1, 4, 2, 3 see one another in a row; axle 2 is not set, yet ties 3 to 4 twice.

    Once each, and 3 and 2 once more after 4 was adjusted with 1 beside it.
    """
    row = {frozenset(pair) for pair in ((1, 4), (4, 2), (2, 3))}

    def joined(mounted):
        return len(mounted) == 1 or mounted in row

    slow, found = both(4, False, False, [1, 3, 4], 2, joined)
    assert found == slow
    assert found[0] == 4 + 2


def test_from_any_state_on_the_way_it_costs_what_brute_force_finds():
    draw = random.Random(20261129)
    units = list(every_unit(4))
    for _ in range(60):
        unit, pairs = draw.choice(units), draw.choice((2, 3))
        walker = slow_unit(4, *unit)
        set_ups, state = walker.set_ups(pairs), START
        for _ in range(draw.randrange(1, 7)):
            ahead = list(walker.moves(state, set_ups))
            # Adjusting is as likely as moving heads, though there are fewer ways to do it.
            adjusting = [move for move in ahead if move[0][:2] == (0, 0)]
            _, state = draw.choice(adjusting if adjusting and draw.random() < 0.5 else ahead)
        slow, found = both(4, *unit, pairs, start=state)
        assert found == slow, (unit, pairs, state)


def test_an_axle_that_alone_has_heads_on_is_not_adjusted_where_others_are_tied_to_it():
    """Another pair is put on first: else all that is tied would have to be mounted once more."""
    every = frozenset({1, 2, 3, 4})
    start = (frozenset({4}), every, every, frozenset(), frozenset())
    slow, found = both(4, False, False, [4], 2, start=start)
    assert found == slow == (1, 1, 0)
