"""The decision rules where the published vectors leave off."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.decision import CERTIFICATE_TO_DISPLAY, Rule, decide

numbers = st.floats(-100, 100)


@pytest.mark.parametrize("rule", [Rule.GUARD_U, Rule.GUARD_U_4])
def test_too_large_an_uncertainty_never_decides_inside(rule):
    decision = decide(0.5, 0.4, 0.0, 1.0, rule)
    assert decision.decision in ("undecided", "conditional-pass")
    assert decision.why == "u-too-large"
    assert (decision.acceptance_low, decision.acceptance_high) == (0.8, 0.2)


def test_too_large_an_uncertainty_still_decides_outside_far_away():
    assert decide(1.81, 0.4, 0.0, 1.0).decision == "outside"
    assert decide(1.8, 0.4, 0.0, 1.0).decision == "undecided"


def test_a_value_on_the_acceptance_limit_is_inside_in_decimals():
    # 0.3 - 0.1 is 0.19999999999999998 in binary; the limit a person works out is 0.2.
    assert decide(0.2, 0.05, None, 0.3).decision == "inside"
    assert decide(0.2000001, 0.05, None, 0.3).decision == "undecided"


def test_a_value_on_the_far_edge_of_the_guard_band_is_undecided():
    assert decide(0.4, 0.05, None, 0.3).decision == "undecided"
    assert decide(0.4000001, 0.05, None, 0.3).decision == "outside"


def test_one_limit_leaves_the_other_side_null():
    decision = decide(1.0, 0.1, 0.5, None)
    assert (decision.acceptance_low, decision.acceptance_high) == (0.7, None)
    assert decision.decision == "inside"


def test_no_uncertainty_means_no_decision():
    decision = decide(0.1, None, 0.0, 1.0)
    assert (decision.decision, decision.why, decision.p_conform) == (
        "none",
        "no-uncertainty",
        None,
    )


def test_no_limit_means_no_decision():
    assert decide(0.1, 0.1, None, None).why == "no-limits"


def test_an_exact_value_is_decided_with_certainty():
    assert decide(1.0, 0.0, 0.0, 1.0).p_conform == 1.0
    assert decide(1.1, 0.0, 0.0, 1.0).p_conform == 0.0
    assert decide(1.1, 0.0, 0.0, 1.0).decision == "outside"


def test_another_coverage_factor_widens_the_guard_band():
    assert decide(0.75, 0.1, None, 1.0).decision == "inside"
    assert decide(0.75, 0.1, None, 1.0, k=2.87).decision == "undecided"


@pytest.mark.parametrize(
    ("value", "u", "low", "high"),
    [
        (float("nan"), 0.1, 0.0, 1.0),
        (0.5, float("inf"), 0.0, 1.0),
        (0.5, -0.1, 0.0, 1.0),
        (0.5, 0.1, 1.0, 0.0),
    ],
)
def test_refuses_impossible_numbers(value, u, low, high):
    with pytest.raises(ValueError, match=r"finite|negative|above"):
        decide(value, u, low, high)


@given(value=numbers, u=st.floats(0, 50), low=numbers, width=st.floats(0, 100))
def test_the_rules_agree_with_each_other(value, u, low, width):
    high = low + width
    words = {rule: decide(value, u, low, high, rule).decision for rule in Rule}
    assert CERTIFICATE_TO_DISPLAY[words[Rule.GUARD_U_4]] == words[Rule.GUARD_U]
    if words[Rule.GUARD_U] == "inside":
        assert words[Rule.SIMPLE] == "inside"
    if words[Rule.GUARD_U] == "outside":
        assert words[Rule.SIMPLE] == "outside"


@given(value=numbers, u=st.floats(0.01, 50), low=numbers, width=st.floats(0, 100))
def test_a_mirrored_question_has_the_same_answer(value, u, low, width):
    high = low + width
    one, other = decide(value, u, low, high), decide(-value, u, -high, -low)
    assert one.decision == other.decision
    assert one.p_conform == pytest.approx(other.p_conform, abs=1e-12)
