"""Shim packs: the search against trying everything, and the published rules of the trade."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.measured import Measured
from ingest.core.errors import MeasurementRefused
from ingest.core.frames import Side
from ingest.geometry.corrections.axle_ends import Ends
from ingest.geometry.corrections.pack_search import ShimKind, Sought, best_packs
from ingest.geometry.corrections.shims import (
    EndShims,
    LateralShims,
    correct_by_lateral_shims,
    correct_by_shims,
)
from ingest.geometry.corrections.wanted import Quantity, Wanted

DEG = math.pi / 180
INCH = 0.0254
BOTH = (Side.LEFT, Side.RIGHT)


def wanted(value, target=0.0, quantity=Quantity.AXLE_HEADING, u=1e-4):
    return Wanted(quantity, 3, Measured.of(value, u, source="test"), target)


def kinds(*rows):
    return tuple(ShimKind(mm * 1e-3, *counts) for mm, *counts in rows)


shim_kinds = st.lists(
    st.tuples(
        st.sampled_from([0.5, 0.8, 1.0, 1.5875, 2.0, 3.0, 3.175]),
        st.integers(0, 2),
        st.integers(0, 1),
        st.integers(0, 1),
    ),
    min_size=1,
    max_size=4,
    unique_by=lambda row: row[0],
)
frees = st.sampled_from([(True, True), (True, False), (False, True)])


def by_trying_all(rows, free, most_mm, difference_mm, enough_mm):
    """Every way to spread every shim: smallest error (all up to ``enough_mm`` being one), then
    fewest handled, then fewest used."""
    per_kind = [
        [
            (a, b)
            for a, b in itertools.product(range(n + le + ri + 1), repeat=2)
            if a + b <= n + le + ri and (free[0] or a == le) and (free[1] or b == ri)
        ]
        for _, n, le, ri in rows
    ]
    counts = np.array(list(itertools.product(*per_kind)))  # ways, kinds, sides
    sizes = np.array([row[0] for row in rows])
    thick = np.einsum("wks,k->ws", counts, sizes)
    fits = (thick <= most_mm + 1e-9).all(axis=1)
    if not fits.any():
        return None
    now = np.array([row[2:] for row in rows])
    error = np.maximum(np.abs(thick[:, 1] - thick[:, 0] - difference_mm)[fits], enough_mm)
    handled = np.abs(counts - now).sum(axis=(1, 2))[fits]
    used = counts.sum(axis=(1, 2))[fits]
    smallest = error.min()
    near = error <= smallest + 1e-8
    return smallest, min(zip(handled[near].tolist(), used[near].tolist(), strict=True))


@given(
    shim_kinds,
    frees,
    st.floats(2.0, 12.0),
    st.integers(-600, 600),
    st.sampled_from([0.0, 0.0, 0.3]),
)
@settings(max_examples=150, deadline=None)
def test_the_search_finds_what_trying_everything_finds(rows, free, most_mm, hundredths, enough_mm):
    difference_mm = hundredths / 100
    best = best_packs(
        kinds(*rows), Sought(difference_mm * 1e-3, free, most_mm * 1e-3, enough_mm * 1e-3)
    )
    tried = by_trying_all(rows, free, most_mm, difference_mm, enough_mm)
    if tried is None:
        assert best is None
        return
    counts = best.counts
    thick = [sum(n[at] * row[0] for n, row in zip(counts, rows, strict=True)) for at in (0, 1)]
    assert [best.left_nm, best.right_nm] == pytest.approx([t * 1e6 for t in thick])
    handled = sum(
        abs(a - row[2]) + abs(b - row[3]) for (a, b), row in zip(counts, rows, strict=True)
    )
    used = sum(a + b for a, b in counts)
    smallest, cost = tried
    error = max(abs(thick[1] - thick[0] - difference_mm), enough_mm)
    assert error == pytest.approx(smallest, abs=1e-8)
    assert (handled, used) == cost


@pytest.mark.parametrize("to_left", [True, False])
def test_a_lateral_shim_is_half_the_side_difference(to_left):
    """1/4 in from side to side is put right by 1/8 in at the torque rod (Hendrickson 17730-299,
    page 29)."""
    offset_m = 0.25 * INCH / 2
    for sign in (1.0, -1.0):
        stock = (ShimKind(INCH / 8, 4, left=1), ShimKind(INCH / 16, 4))
        ask = wanted(sign * offset_m, quantity=Quantity.LATERAL_OFFSET)
        found = correct_by_lateral_shims(ask, LateralShims(stock, to_left, 0.02))
        (step,) = found.steps
        assert abs(step.length_m) == pytest.approx(INCH / 8)
        # A pack that pushes to the left grows where the axle stands too far to the right.
        assert (step.length_m > 0) == ((sign < 0) == to_left)
        assert found.outcomes[0].remaining.value == pytest.approx(0.0, abs=1e-12)
        assert f"the axle goes to the {'right' if sign > 0 else 'left'} by 3.17 mm" in step.text


def heading_of(between_m, forward):
    """The heading of the line through both ends, each so far forward."""
    ends = np.array([[forward[Side.LEFT], between_m / 2], [forward[Side.RIGHT], -between_m / 2]])
    along = ends[0] - ends[1]
    return math.atan2(-along[0], along[1])


@pytest.mark.parametrize("forward", [True, False])
@pytest.mark.parametrize("sides", [BOTH, (Side.LEFT,), (Side.RIGHT,)])
def test_the_remaining_error_is_that_of_the_axle_with_its_new_packs(forward, sides):
    between = 0.9
    stock = kinds((1.0, 6, 2, 2), (2.0, 4, 3, 3), (3.0, 4, 0, 0))
    ask = wanted(0.33 * DEG)
    found = correct_by_shims(ask, EndShims(Ends(between, sides), stock, forward, 0.016))
    forward_m = dict.fromkeys(BOTH, 0.0)
    for step in found.steps:
        grown = math.fsum(step.thicknesses_m) - 0.008
        forward_m[step.side] = grown if forward else -grown
        assert step.length_m == pytest.approx(grown)
    reached = 0.33 * DEG + heading_of(between, forward_m)
    assert found.outcomes[0].expected == pytest.approx(reached, abs=1e-12)
    # Whole millimetres at 0.9 m: what cannot be set is half of one at most.
    assert abs(found.outcomes[0].remaining.value) <= math.atan(0.0005 / between) + 1e-9


def test_a_stock_that_cannot_do_it_gives_what_it_can():
    stock = kinds((1.0, 1, 0, 0))
    found = correct_by_shims(wanted(1.0 * DEG), EndShims(Ends(1.0, BOTH), stock, True, 0.02))
    assert [step.thicknesses_m for step in found.steps] == [(0.001,), ()]
    assert found.outcomes[0].remaining.value == pytest.approx(1.0 * DEG - math.atan(0.001))
    assert found.steps[1].text == "Leave the right shim pack as it is."


def test_an_empty_shelf_leaves_everything_where_it_is():
    found = correct_by_shims(wanted(0.2 * DEG), EndShims(Ends(1.0, BOTH), (), True, 0.02))
    assert all(step.action == "leave" for step in found.steps)
    assert found.outcomes[0].remaining.value == pytest.approx(0.2 * DEG)


def test_the_text_says_what_comes_out_and_what_goes_in():
    stock = kinds((3.0, 1, 0, 0), (2.0, 0, 1, 0))
    shims = EndShims(Ends(1.0, (Side.LEFT,)), stock, True, 0.003)
    (step,) = correct_by_shims(wanted(math.atan(0.001)), shims).steps
    assert step.text == (
        "Left shim pack: take out 1 of 2 mm, put in 1 of 3 mm; in the end it holds 3 mm, "
        "and its end of the axle goes forward by 1.00 mm."
    )


def test_a_pack_that_must_stay_and_is_too_thick_is_refused():
    shims = EndShims(Ends(1.0, (Side.LEFT,)), kinds((5.0, 2, 0, 3)), True, 0.012)
    with pytest.raises(MeasurementRefused, match="15 mm") as refused:
        correct_by_shims(wanted(0.2 * DEG), shims)
    assert (refused.value.figure, refused.value.limit) == (pytest.approx(15.0), pytest.approx(12.0))


def test_a_search_that_would_take_too_long_is_refused():
    many = kinds(*((0.5 + 0.0371 * i, 20, 0, 0) for i in range(20)))
    with pytest.raises(MeasurementRefused, match="packs to try") as refused:
        best_packs(many, Sought(0.003, (True, True), 0.5))
    assert refused.value.code == "too-many-packs"
