"""The factor of the largest of several values, against the studentised maximum modulus."""

import math

import numpy as np
import pytest
from scipy import integrate, special, stats

from calibration.measured import Measured, Part, Source
from calibration.reporting import P, coverage_factor
from calibration.verification.largest import largest


def apart(values, u=1.0, dof=math.inf):
    """Uncorrelated values whose uncertainties were pooled: one source, a direction each."""
    source = Source("readings", dof, shared=True)
    directions = (u * np.eye(len(values))).tolist()
    return [Measured(v, (Part(source, tuple(d)),)) for v, d in zip(values, directions, strict=True)]


def exact(m, dof):
    """The factor of m independent means over one pooled deviation, by quadrature."""

    def chance(k):
        if math.isinf(dof):
            return (2 * special.ndtr(k) - 1) ** m

        def share(x):
            inside = 2 * special.ndtr(k * math.sqrt(x / dof)) - 1
            return inside**m * stats.chi2.pdf(x, dof)

        return integrate.quad(share, 0, 10 * dof + 50, limit=200)[0]

    low, high = 1.0, 12.0
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (middle, high) if chance(middle) < P else (low, middle)
    return low


@pytest.mark.parametrize(("m", "dof"), [(2, math.inf), (5, math.inf), (5, 24), (10, 24), (24, 48)])
def test_values_alike_get_the_simultaneous_factor(m, dof):
    place, k = largest(apart([0.0] * m, dof=dof))
    assert place == 0
    assert k == pytest.approx(exact(m, dof), rel=0.02)


def test_sidak_of_two_and_five_normals():
    # Tables of the studentised maximum modulus, 95 %, infinite dof: 2.236 and 2.569 (from
    # memory; the closed form is Sidak's). The quadrature above is held to them at 95 %.
    for m, printed in ((2, 2.236), (5, 2.569)):
        assert special.ndtri((1 + 0.95 ** (1 / m)) / 2) == pytest.approx(printed, abs=5e-4)
        assert (2 * special.ndtr(exact(m, math.inf)) - 1) ** m == pytest.approx(P, abs=1e-9)


@pytest.mark.parametrize("dof", [5, 24, math.inf])
def test_a_value_that_stands_out_keeps_its_own_factor(dof):
    place, k = largest(apart([0.0, -30.0, 1.0], dof=dof))
    assert (place, k) == (1, coverage_factor(dof))


def test_values_that_err_together_are_as_one():
    bar = Source("bar", shared=True)
    same = [Measured(v, (Part(bar, (1.0,)),)) for v in (0.0, 1e-9, 0.0)]
    place, k = largest(same)
    assert place == 1
    assert k == pytest.approx(2.0, rel=0.02)


def test_what_one_source_moves_both_ways_is_no_rival_by_chance():
    bar = Source("bar", shared=True)
    mirrored = [Measured(1.0, (Part(bar, (1.0,)),)), Measured(-1.0, (Part(bar, (-1.0,)),))]
    assert largest(mirrored)[1] == pytest.approx(2.0, rel=0.02)


def test_values_without_doubt_need_no_factor_but_their_own():
    assert largest([Measured.exact(0.0), Measured.exact(-1.0)]) == (1, 2.0)
    assert largest(apart([3.0])) == (0, 2.0)


def test_the_same_readings_give_the_same_factor():
    values = apart([0.1, -0.2, 0.3], dof=12)
    assert largest(values) == largest(values)
