"""Which limit holds for what was measured, and what is decided.

Probabilities: the motor oil example of JCGM 106:2012 (quoted from memory, recomputed), its figures
taken for degrees; the rest against the normal distribution of scipy.
"""

import math
from typing import NamedTuple

import pytest
from scipy import stats

from calibration.decision import Rule
from calibration.measured import Measured
from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.job.limits.faults import LimitsError
from ingest.job.limits.judging import judge
from ingest.job.limits.limit import Load
from ingest.job.limits.matching import Place, conflicts, match, unused
from ingest.job.limits.quantities import Quantity

ANY, LADEN, UNLADEN = Load.ANY, Load.LADEN, Load.UNLADEN


class AxleOf(NamedTuple):
    number: int
    role: str | None = None


STEER, DRIVE = AxleOf(1, "steer"), AxleOf(3, "drive")
LEFT_CAMBER = Place(Quantity.CAMBER, STEER, Side.LEFT)
SAI = Place(Quantity.SAI, STEER, Side.LEFT)


def measured(value_deg, u_deg, dof=math.inf):
    return Measured.of(value_deg * DEG, u_deg * DEG, source="test", dof=dof)


def test_a_number_beats_a_role_and_a_role_beats_every(limit, limit_set):
    every = limit("every", "camber", None, None, "1")
    role = limit("steer", "camber", None, None, "2", load="laden", side=Side.LEFT)
    number = limit(1, "camber", None, None, "3")
    assert match(limit_set(every, role, number), LEFT_CAMBER, LADEN).limit is number
    assert match(limit_set(every, role), LEFT_CAMBER, LADEN).limit is role
    assert match(limit_set(every, role), LEFT_CAMBER, UNLADEN).limit is every
    assert match(limit_set(every), LEFT_CAMBER, LADEN).limit is every
    assert match(limit_set(role), Place(Quantity.CAMBER, DRIVE, Side.LEFT), LADEN).limit is None
    assert match(limit_set(every), SAI, LADEN).limit is None


def test_the_side_and_the_load_state_that_are_named_come_first(limit, limit_set):
    both = limit(1, "camber", None, None, "1")
    left = limit(1, "camber", None, None, "2", side=Side.LEFT)
    laden = limit(1, "camber", None, None, "3", load="laden")
    named = limit(1, "camber", None, None, "4", side=Side.LEFT, load="laden")
    right = Place(Quantity.CAMBER, STEER, Side.RIGHT)
    assert match(limit_set(both, left), LEFT_CAMBER, LADEN).limit is left
    assert match(limit_set(both, left), right, LADEN).limit is both
    assert match(limit_set(both, laden), LEFT_CAMBER, LADEN).limit is laden
    assert match(limit_set(both, laden), LEFT_CAMBER, ANY).limit is both
    assert match(limit_set(both, laden, left, named), LEFT_CAMBER, LADEN).limit is named


def test_limits_that_contradict_each_other_are_refused_unless_they_say_the_same(limit, limit_set):
    left = limit(1, "camber", None, None, "0.5", side=Side.LEFT)
    laden = limit(1, "camber", None, None, "0.25", load="laden")
    with pytest.raises(LimitsError, match="nothing says which holds") as refused:
        match(limit_set(left, laden), LEFT_CAMBER, LADEN)
    assert conflicts(limit_set(left, laden), [STEER, DRIVE]) == (str(refused.value),)
    assert match(limit_set(left, laden), LEFT_CAMBER, UNLADEN).limit is left
    alike = limit(1, "camber", None, None, "0:30", "deg-min", load="laden")
    assert match(limit_set(left, alike), LEFT_CAMBER, LADEN).limit in (left, alike)


def test_a_limit_that_no_axle_has_a_use_for_is_named(limit, limit_set):
    limits = limit_set(
        limit("steer", "camber", None, None, "1"),
        limit(7, "camber", None, None, "1"),
        limit("vehicle", "thrust", None, "0", None),
        limit("dolly", "scrub", None, "0", None),
    )
    left = unused(limits, [STEER, DRIVE])
    assert [key.axle for key in left] == [7, "dolly"]


def test_a_published_probability_of_conformity(limit, limit_set):
    limits = limit_set(limit(1, "sai", "12.5", None, "16.3"))
    found = judge(limits, SAI, measured(13.6, 1.8), ANY)
    assert found.p_conform == pytest.approx(0.66263, abs=5e-6)
    # U is 3.6, and there are 3.8 between the limits: no value could be called inside.
    assert (found.decision, found.why) == ("undecided", "u-too-large")
    assert "U of 1.1° or less" in found.text


@pytest.mark.parametrize(
    ("rule", "value_deg", "decision", "word"),
    [
        ("guard-u", 0.40, "inside", "inside"),
        ("guard-u", 0.45, "undecided", "undecided"),
        ("guard-u", 0.55, "undecided", "undecided"),
        ("guard-u", 0.61, "outside", "outside"),
        ("simple", 0.45, "inside", "inside"),
        ("simple", 0.51, "outside", "outside"),
        ("guard-u-4", 0.40, "inside", "pass"),
        ("guard-u-4", 0.45, "undecided", "conditional-pass"),
        ("guard-u-4", 0.55, "undecided", "conditional-fail"),
        ("guard-u-4", 0.61, "outside", "fail"),
    ],
)
def test_the_rule_of_the_set_decides(limit, limit_set, rule, value_deg, decision, word):
    limits = limit_set(limit("every", "sai", None, None, "0:30", "deg-min"), rule=Rule(rule))
    found = judge(limits, SAI, measured(value_deg, 0.04), LADEN)
    assert (found.decision, found.word) == (decision, word)
    wanted = stats.norm.cdf((0.5 - value_deg) / 0.04)
    assert found.p_conform == pytest.approx(wanted, abs=1e-9)


def test_few_degrees_of_freedom_widen_the_guard_band(limit, limit_set):
    # t_95.45(4) = 2.87 (GUM table G.2): U is 0.115 where u is 0.04.
    limits = limit_set(limit("every", "sai", None, None, "0.5"))
    assert judge(limits, SAI, measured(0.40, 0.04), ANY).decision == "inside"
    found = judge(limits, SAI, measured(0.40, 0.04, dof=4), ANY)
    assert found.decision == "undecided"
    assert abs(found.U / 0.04 - 2.87) < 0.005


def test_a_length_is_judged_in_its_own_unit(limit, limit_set):
    # 1/8 in across 71.5 in is 0.10017 deg.
    limits = limit_set(limit("drive", "scrub", "-1/8", "0", "1/8", "in", "71.5 in"))
    place = Place(Quantity.SCRUB, DRIVE)
    found = judge(limits, place, measured(0.10017, 0.001), ANY)
    assert found.value == pytest.approx(0.125, abs=5e-6)
    assert abs(found.U - 0.002 * DEG * 71.5) < 1e-6
    assert judge(limits, place, measured(-0.12, 0.001), ANY).decision == "outside"
    aside = limit_set(limit("drive", "lateral_offset", "-1/4", None, "1/4", "in"))
    metres = Measured.of(6.0e-3, 0.1e-3, source="tape")
    found = judge(aside, Place(Quantity.LATERAL_OFFSET, DRIVE), metres, ANY)
    assert (found.decision, found.value) == ("inside", pytest.approx(6.0 / 25.4))


def test_a_figure_for_another_load_state_decides_nothing_and_says_so(limit, limit_set):
    limits = limit_set(limit(1, "sai", "5", None, "6", load="unladen"))
    found = judge(limits, SAI, measured(5.5, 0.01), LADEN)
    assert (found.decision, found.why) == ("none", "other-load")
    assert "measure it unladen" in found.text
    found = judge(limits, SAI, measured(5.5, 0.01), ANY)
    assert (found.decision, found.why) == ("none", "load-unknown")
    assert judge(limits, SAI, measured(5.5, 0.01), UNLADEN).decision == "inside"


def test_without_a_limit_or_a_tolerance_nothing_is_decided(limit, limit_set):
    found = judge(limit_set(), SAI, measured(5.5, 0.01), ANY)
    assert (found.decision, found.why, found.limit) == ("none", "no-limits", None)
    nominal = limit_set(limit(1, "sai", None, "5.5", None))
    found = judge(nominal, SAI, measured(5.5, 0.01), ANY)
    assert (found.decision, found.why) == ("none", "no-limits")
    assert "nominal 5.5°" in found.text


def test_a_limit_too_narrow_for_the_measurement_says_what_it_would_take(limit, limit_set):
    limits = limit_set(limit(1, "sai", "5.48", None, "5.52"))
    found = judge(limits, SAI, measured(5.5, 0.02), ANY)
    assert (found.decision, found.why) == ("undecided", "u-too-large")
    assert "U of 0.02°" in found.text
