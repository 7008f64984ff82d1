"""Components of variance: intervals that cover, estimates that are not there, what is refused."""

import numpy as np
import pytest
from scipy import stats

from calibration.anova import INTERACTION, MOUNTING, POOL_FROM, SETTLING, TECHNICIAN, analyse
from calibration.errors import BadBenchData
from calibration.measured import Measured, Source
from calibration.reporting import coverage_factor

SEEDS = 2000
LEAST, MOST = 0.933, 0.966

CASES = {
    "four wheels, three technicians": ((4, 3, 3, 2), (0.5, 1.0, 0.5, 1.0)),
    "two technicians, quiet settling": ((4, 2, 3, 2), (0.2, 1.0, 0.7, 2.0)),
    "no settling apart": ((4, 3, 4, 1), (0.0, 1.0, 0.6, 0.8)),
    "one wheel": ((1, 4, 4, 2), (0.6, 1.0, 0.0, 1.5)),
    "one technician": ((6, 1, 4, 2), (0.6, 1.0, 0.0, 0.0)),
}
CAUSES = (SETTLING, MOUNTING, INTERACTION, TECHNICIAN)


def draw(rng, shape, deviations):
    """Return readings of a bay whose settling, mounting, interaction, technicians so scatter."""
    a, b, n, _ = shape
    settling, mounting, interaction, technician = deviations
    readings = 10.0 * rng.normal(size=(a, 1, 1, 1)) + technician * rng.normal(size=(1, b, 1, 1))
    readings = readings + interaction * rng.normal(size=(a, b, 1, 1))
    readings = readings + mounting * rng.normal(size=(a, b, n, 1))
    return readings + settling * rng.normal(size=shape)


@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_each_component_s_interval_covers(case):
    shape, deviations = case
    true = {cause: s**2 for cause, s in zip(CAUSES, deviations, strict=True)}
    hits = {}
    for seed in range(SEEDS):
        for each in analyse(draw(np.random.default_rng(seed), shape, deviations)).components:
            covered = each.low <= true[each.cause] <= each.high
            hits[each.cause] = hits.get(each.cause, 0) + covered
    assert len(hits) == sum(s > 0.0 for s in deviations)
    for cause, count in hits.items():
        assert LEAST <= count / SEEDS <= MOST, (cause, count / SEEDS)


def test_estimates_are_right_on_average():
    shape, deviations = (4, 3, 3, 2), (0.5, 1.0, 0.5, 1.0)
    found = [analyse(draw(np.random.default_rng(s), shape, deviations)) for s in range(SEEDS)]
    unpooled = [each for each in found if not each.pooled]
    assert 0 < len(unpooled) < SEEDS
    for cause, true in ((SETTLING, 0.25), (TECHNICIAN, 1.0)):
        variances = np.array([each.of(cause).variance for each in found])
        assert variances.mean() == pytest.approx(true, abs=4.0 * variances.std() / SEEDS**0.5)


def test_pooling_leaves_the_whole_spread_where_it_was():
    # What an interaction that counts as chance no longer has, mounting takes over.
    rng = np.random.default_rng(3)
    found = analyse(draw(rng, (4, 3, 3, 1), (0.0, 1.0, 0.0, 0.5)))
    assert found.pooled
    assert found.p_interaction >= POOL_FROM
    mounting, interaction, *_ = found.rows
    pooled = (mounting.ss + interaction.ss) / (mounting.dof + interaction.dof)
    assert found.of(MOUNTING).variance == pytest.approx(pooled)
    assert found.of(MOUNTING).dof == mounting.dof + interaction.dof
    assert (found.of(INTERACTION).u, found.of(INTERACTION).dof) == (0.0, None)


def test_an_interaction_that_is_no_chance_stays_and_has_its_own_degrees_of_freedom():
    found = analyse(draw(np.random.default_rng(4), (4, 3, 3, 2), (0.1, 0.3, 2.0, 0.0)))
    assert not found.pooled
    interaction = found.of(INTERACTION)
    assert interaction.u == pytest.approx(2.0, rel=0.5)
    assert 3.0 < interaction.dof <= 6.0


def test_a_negative_estimate_counts_as_zero_and_its_interval_still_says_something():
    rng = np.random.default_rng(8)
    values = draw(rng, (3, 3, 3, 1), (0.0, 1.0, 0.0, 0.0))
    habits = values.mean(axis=(0, 2, 3), keepdims=True)
    values -= 0.7 * (habits - habits.mean())  # technicians agree better than chance would have it
    technician = analyse(values).of(TECHNICIAN)
    assert technician.variance < 0.0
    assert (technician.u, technician.dof, technician.low) == (0.0, None, 0.0)
    assert technician.high > 0.0


def test_readings_that_all_agree_scatter_nothing():
    found = analyse(np.full((2, 2, 2, 2), 0.25))
    assert all(each.u == 0.0 and each.dof is None for each in found.components)


def test_one_mounting_a_cell_is_refused():
    with pytest.raises(BadBenchData, match="mounting"):
        analyse(np.zeros((3, 3, 1, 2)))


def test_a_cell_without_a_number_is_refused():
    values = np.zeros((2, 2, 2, 2))
    values[0, 1, 1, 0] = np.nan
    with pytest.raises(BadBenchData, match="missing"):
        analyse(values)


@pytest.mark.parametrize("shape", [(4, 3, 3, 2), (4, 5, 3, 2)])
def test_a_result_of_somebody_else_in_that_bay_lies_within_the_u_of_its_study(shape):
    """U at 95.45 % from the components and their degrees of freedom, as results carry them.

    With two technicians who differ more than all else together it would be 91 %: one difference
    tells too little, and may come out as none.
    """
    deviations, hits = (0.3, 1.0, 0.3, 1.0), 0
    for seed in range(SEEDS):
        rng = np.random.default_rng(seed)
        spread = Measured.exact(0.0)
        for each in analyse(draw(rng, shape, deviations)).components:
            if each.dof is not None:
                source = Source(each.cause, each.dof, shared=True)
                spread = spread + Measured.of(0.0, each.u, source=source)
        error = rng.normal(0.0, np.sqrt(np.sum(np.square(deviations))))
        hits += abs(error) <= coverage_factor(spread.dof) * spread.u
    assert LEAST <= hits / SEEDS <= MOST


def two_mean_squares(ratio, b=4, n=6):
    """Return readings of one wheel whose technicians' mean square is so many times the inner."""
    between, within = np.linspace(-1.0, 1.0, b), np.linspace(-1.0, 1.0, n)
    between /= np.sqrt(n * np.sum(between**2) / (b - 1))
    within /= np.sqrt(b * np.sum(within**2) / (b * (n - 1)))
    return (np.sqrt(ratio) * between[:, None] + within[None, :])[None, :, :, None]


@pytest.mark.parametrize("nearly", [0.999, 1.001])
def test_an_interval_reaches_zero_just_where_the_f_test_says_so(nearly):
    """The bound that the modified large samples were made to keep: SciPy's F says where."""
    upper = analyse(two_mean_squares(nearly * stats.f.ppf(0.975, 3, 20))).of(TECHNICIAN)
    assert (upper.low > 0.0) == (nearly > 1.0)
    lower = analyse(two_mean_squares(nearly * stats.f.ppf(0.025, 3, 20))).of(TECHNICIAN)
    assert (lower.high > 0.0) == (nearly > 1.0)


def test_pooling_leaves_intervals_as_they_were():
    found = analyse(draw(np.random.default_rng(3), (4, 3, 3, 1), (0.0, 1.0, 0.0, 0.5)))
    mounting, within = found.of(MOUNTING), found.rows[0]
    assert found.pooled
    ends = within.ss / stats.chi2.ppf([0.975, 0.025], within.dof)
    assert (mounting.low, mounting.high) == pytest.approx(tuple(ends))
