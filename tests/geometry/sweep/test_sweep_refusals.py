"""What a sweep is refused for, or told of: readings of the exact knuckle, spoilt on purpose."""

import math
from dataclasses import replace

import numpy as np
import pytest

from ingest.core.errors import MeasurementRefused
from ingest.core.frames import Side
from ingest.geometry.sweep import steering
from ingest.geometry.sweep.closure import ways
from ingest.geometry.sweep.fit import fit_axle, fit_sweep
from ingest.geometry.sweep.readings import Sweep, SweepLimits, SweepNoise, positions
from ingest.geometry.sweep.steering import FLAT, NEGATIVE, ROLLS, SWINGS
from ingest.geometry.sweep.turning import SteeredAxle, furthest, toe_out_on_turns

NOISE = SweepNoise(math.radians(0.005), math.radians(0.02))
ONE_WAY = np.linspace(-20.0, 20.0, 41)
OUT_AND_BACK = np.concatenate(
    [np.arange(0.0, 20.5), np.arange(19.0, -20.5, -1.0), np.arange(-19.0, 0.5)]
)
ANY_CLOSURE = SweepLimits(closure_rad=1.0)


@pytest.fixture
def clean(knuckle, with_noise):
    """A noisy sweep with nothing wrong: caster 4, SAI 7."""

    def make(steer=ONE_WAY, **wheel):
        sweep = knuckle(**{"sai_deg": 7.0, **wheel}).sweep(steer)
        return with_noise(sweep, np.random.default_rng(11))

    return make


def refused(sweep, **options):
    with pytest.raises(MeasurementRefused) as caught:
        fit_sweep(sweep, **options)
    return caught.value


@pytest.mark.parametrize("noise", [None, NOISE], ids=["noise unknown", "noise stated"])
def test_a_clean_sweep_is_not_refused(clean, noise):
    for steer in (ONE_WAY, OUT_AND_BACK):
        found = fit_sweep(clean(steer), noise=noise)
        back = () if steer is OUT_AND_BACK else (steering.ONE_WAY,)
        assert (found.outliers, found.hints) == ((), back)
        assert math.degrees(found.sai_rad) == pytest.approx(7.0, abs=0.02)


@pytest.mark.parametrize("noise", [None, NOISE], ids=["noise unknown", "noise stated"])
@pytest.mark.parametrize(
    ("channel", "told"),
    [
        ("steer_rad", "the steering is reversed: camber moves the wrong way"),
        ("incl_y_rad", "incl_y is reversed: camber moves the wrong way"),
        ("incl_x_rad", "incl_x is reversed"),
    ],
)
def test_a_reversed_sign_is_named(clean, channel, told, noise):
    sweep = clean()
    found = refused(replace(sweep, **{channel: -getattr(sweep, channel)}), noise=noise)
    assert found.code == "sign"
    assert told in found.text


def test_the_other_side_is_suspected_where_the_axis_leans_outward(clean):
    found = refused(replace(clean(), side=Side.RIGHT))
    assert (found.code, "the other side" in found.text) == ("sign", True)
    two = clean(np.array([-20.0, 20.0]))
    assert refused(replace(two, incl_x_rad=-two.incl_x_rad)).code == "sign"


@pytest.mark.parametrize("noise", [None, NOISE], ids=["noise unknown", "noise stated"])
def test_a_head_that_swings_gives_caster_alone(clean, noise):
    sweep = clean()
    found = fit_sweep(replace(sweep, incl_x_rad=np.full(41, 0.004)), noise=noise)
    assert (found.sai_rad, found.why_no_sai) == (None, SWINGS)
    assert math.degrees(found.caster_rad) == pytest.approx(4.0, abs=0.02)


def test_a_wheel_that_rolls_while_steered_is_refused(clean):
    # 60 mm of scrub radius on a 0.5 m tyre: 0.12 deg of rolling a deg of steering, either way.
    sweep = clean()
    for way in (0.12, -0.06):
        found = refused(replace(sweep, incl_x_rad=sweep.incl_x_rad + way * sweep.steer_rad))
        assert found.code == "not-held"
        assert found.figure > found.limit


def test_ways_end_at_their_furthest_reading():
    steer = np.radians([0.0, 10.0, 20.0, 19.8, 10.0, 0.0, 0.3, -5.0])
    assert ways(steer).tolist() == [1, 1, 1, -1, -1, -1, -1, -1]


@pytest.mark.parametrize("noise", [None, NOISE], ids=["noise unknown", "noise stated"])
def test_a_slipping_lock_does_not_close(clean, noise):
    # 0.1 deg each way.
    sweep = clean(OUT_AND_BACK)
    slip = math.radians(0.1) * ways(sweep.steer_rad)
    found = refused(replace(sweep, incl_x_rad=sweep.incl_x_rad + slip), noise=noise)
    assert found.code == "not-closed"
    assert found.figure == pytest.approx(0.2, abs=0.02)
    assert found.limit == pytest.approx(0.04)


def test_a_late_steering_does_not_close(clean):
    # 0.3 deg late: incl_x differs by 0.6 deg tan(SAI) at the same steering.
    sweep = clean(OUT_AND_BACK)
    late = math.radians(0.3) * ways(sweep.steer_rad)
    found = refused(replace(sweep, steer_rad=sweep.steer_rad - late))
    assert found.code == "not-closed"
    assert found.figure == pytest.approx(0.6 * math.tan(math.radians(7.0)), abs=0.01)


def test_what_closes_is_told_with_its_uncertainty(clean):
    sweep = clean(OUT_AND_BACK)
    slip = math.radians(0.01) * ways(sweep.steer_rad)
    found = fit_sweep(replace(sweep, incl_x_rad=sweep.incl_x_rad + slip), noise=NOISE)
    gap = found.closure.incl_x
    assert gap.rad == pytest.approx(math.radians(-0.02), abs=3.0 * gap.u_rad)
    # Two means of 40 readings each, of 0.0056 deg (tilt and steering).
    assert math.degrees(gap.u_rad) == pytest.approx(0.0056 * math.sqrt(2.0 / 40.0), rel=0.15)
    assert fit_sweep(clean()).closure is None


def test_scatter_beyond_the_stated_noise_is_refused(clean):
    found = refused(clean(), noise=SweepNoise(math.radians(0.002)))
    assert found.code == "scatter"
    assert found.figure > found.limit


def test_an_outlier_is_left_out_and_named(clean):
    sweep = clean()
    tilt = sweep.incl_y_rad.copy()
    tilt[7] += math.radians(0.3)
    found = fit_sweep(replace(sweep, incl_y_rad=tilt))
    assert (found.outliers, found.n) == ((7,), 40)
    assert math.degrees(found.caster_rad) == pytest.approx(4.0, abs=0.02)


def test_a_rolling_axle_is_told_where_its_roll_is_not_fitted(clean):
    found = fit_sweep(clean(axle_roll=0.008), noise=NOISE)
    assert found.hints == (ROLLS, steering.ONE_WAY)
    assert fit_sweep(clean(axle_roll=0.008), noise=NOISE, roll=True).hints == (steering.ONE_WAY,)


def test_tilts_in_radians_are_suspected(clean):
    sweep = clean()
    small = replace(
        sweep, incl_y_rad=np.radians(sweep.incl_y_rad), incl_x_rad=np.radians(sweep.incl_x_rad)
    )
    assert FLAT in fit_sweep(small).hints


def test_a_negative_caster_is_a_result_and_said(clean):
    found = fit_sweep(clean(caster_deg=-1.0))
    assert math.degrees(found.caster_rad) == pytest.approx(-1.0, abs=0.02)
    assert found.hints == (NEGATIVE, steering.ONE_WAY)


@pytest.mark.parametrize(
    ("steer", "locked", "roll", "code"),
    [
        ([0.0, 20.0], False, False, "too-few-positions"),
        ([0.0, 0.2, 20.0, 20.1], False, False, "too-few-positions"),
        ([0.0, 20.0], True, True, "too-few-positions"),
        ([5.0, 5.0, 5.1, 5.0], True, False, "too-few-positions"),
        ([0.0, 1.0, 2.0], True, False, "span"),
    ],
)
def test_positions_that_determine_nothing_are_refused(knuckle, steer, locked, roll, code):
    assert refused(knuckle().sweep(steer, locked=locked), roll=roll).code == code


def test_readings_that_are_no_numbers_are_refused(knuckle):
    sweep = knuckle().sweep([0.0, 10.0, 20.0])
    for channel in ("steer_rad", "incl_y_rad", "incl_x_rad"):
        values = getattr(sweep, channel).copy()
        values[1] = math.nan
        assert refused(replace(sweep, **{channel: values})).code == "non-finite"


def test_an_axis_known_too_badly_is_refused_with_figure_and_limit(clean):
    found = refused(clean(), noise=NOISE, limits=SweepLimits(u_rad=math.radians(0.002)))
    assert (found.code, found.limit) == ("u-too-large", pytest.approx(0.002))
    assert found.figure == pytest.approx(0.004, rel=0.1)


def test_what_is_refused_of_two_wheels_says_which(clean):
    good, bad = clean(), clean(side=Side.RIGHT)
    with pytest.raises(MeasurementRefused, match=r"^right wheel: "):
        fit_axle(good, replace(bad, incl_x_rad=-bad.incl_x_rad), roll=True)


def ackermann(inner_rad):
    """Outer wheel of a turn that scrubs nothing, 2 m between kingpins, 5 m of wheelbase."""
    return np.arctan(1.0 / (1.0 / np.tan(inner_rad) + 2.0 / 5.0))


@pytest.mark.parametrize("inner", list(Side))
def test_toe_out_on_turns_is_told_at_20_deg_of_the_inner_wheel(inner):
    # cot outer - cot inner = 2/5: 17.625820 deg at 20 (a textbook's formula, worked out again).
    turns = np.radians(np.arange(1.5, 24.0, 2.0))
    inside, outside = inner.sign * turns, inner.sign * ackermann(turns)
    pair = (inside, outside) if inner is Side.LEFT else (outside, inside)
    found = toe_out_on_turns(SteeredAxle(*pair, u_rad=math.radians(0.02)), inner)
    assert math.degrees(found.toe_out_rad) == pytest.approx(20.0 - 17.625820, abs=0.01)
    assert found.toe_out.u == pytest.approx(math.radians(0.02 * math.sqrt(2.0)))
    assert toe_out_on_turns(SteeredAxle(*pair), inner.other) is None


def test_the_furthest_steering_is_told_to_both_sides():
    assert furthest(np.array([-0.3, 0.1, 0.4])) == (0.4, 0.3)
    assert furthest(np.array([0.1, 0.4])) == (0.4, 0.0)


def test_any_readings_give_a_result_or_a_refusal_with_figures():
    rng, codes = np.random.default_rng(12), set()
    for _ in range(400):
        n = int(rng.integers(1, 25))
        spread = rng.normal(size=n) * rng.choice([0.05, 1.0])
        steer = np.linspace(-0.4, 0.5, n) if rng.random() < 0.5 else spread
        tilts = [
            rng.normal(size=n) * rng.choice([0.0, 1e-12, 0.02, 0.5])
            + rng.choice([0.0, 0.1]) * steer
            for _ in range(2)
        ]
        steer, incl_y, incl_x = (np.clip(each, -1.3, 1.3) for each in (steer, *tilts))
        sweep = Sweep(
            Side.LEFT if rng.random() < 0.5 else Side.RIGHT,
            steer,
            incl_y,
            incl_x if rng.random() < 0.7 else None,
            by_plate=bool(rng.random() < 0.3),
        )
        try:
            found = fit_sweep(sweep, roll=bool(rng.random() < 0.3))
            assert math.isfinite(found.caster_rad)
        except MeasurementRefused as refused:
            codes.add((refused.code, math.isfinite(refused.limit)))
    assert len(codes) > 4
    assert all(has_limit for _, has_limit in codes)


def test_a_wheel_that_is_read_all_the_way_has_many_positions(knuckle):
    # 2001 readings over 40 deg: no two neighbours differ by more than the least step.
    found = fit_sweep(knuckle().sweep(np.linspace(-20.0, 20.0, 2001)))
    assert math.degrees(found.caster_rad) == pytest.approx(4.0, abs=1e-9)
    assert positions(np.radians(np.linspace(-20.0, 20.0, 2001))) == pytest.approx(79, abs=2)
    assert positions(np.radians([0.0, 0.3, 10.0, 10.4])) == 2
    assert positions(np.zeros(0)) == 0


def test_a_sweep_to_one_side_is_pointed_at(clean):
    def hints(*steer_deg):
        return fit_sweep(clean(np.array(steer_deg, dtype=float))).hints

    for one_side in ((0, 10, 20, 10), (0, -10, -20), (0, 10, 20, 10, 0, -9, 0)):
        assert steering.ONE_SIDE in hints(*one_side)
    assert steering.ONE_SIDE not in hints(0, 10, 20, 10, 0, -11, 0)
