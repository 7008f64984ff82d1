"""From readings to errors, figures and verdicts, on benches whose truth is known."""

import math
from dataclasses import replace
from datetime import date
from decimal import Decimal

import numpy as np
import pytest

from calibration.decision import Rule
from calibration.errors import BadBenchData, CalibrationFileError, ReferenceRefused
from calibration.files.points import Points, Reading
from calibration.files.references import Kind, Reference, Register
from calibration.records.parts import ChannelFigures, Coefficients, EncoderPart, TiltPart
from calibration.reporting import coverage_factor
from calibration.verification.budget import Input
from calibration.verification.budget import evaluate as evaluate_budget
from calibration.verification.errors_at_points import PointError
from calibration.verification.figures import max_error
from calibration.verification.head_class import BUILT_IN, HeadClass
from calibration.verification.models import APART
from calibration.verification.run import verify
from calibration.verification.series import At
from calibration.verification.setup import References, Setup
from calibration.verification.verdicts import impact, verdicts_of

TODAY = date(2026, 11, 25)
NO_LIMITS = HeadClass("none", {})


def reference(name, kind, value, unit, expanded, **rest):
    return Reference(
        id=name,
        kind=kind,
        certificate="FMO-2026-118",
        certificate_sha256="a" * 64,
        issuer="Fenmoor Metrology Office",
        value=Decimal(value),
        unit=unit,
        U=Decimal(expanded),
        k=Decimal(2),
        date=date(2026, 1, 12),
        due=date(2027, 1, 12),
        **rest,
    )


SINE = reference(
    "KL-SINE-1",
    Kind.SINE_BAR,
    "200.002",
    "mm",
    "0.002",
    angle_deg=Decimal("0.0010"),
    U_angle_deg=Decimal("0.0006"),
)
BLOCKS = reference(
    "KL-BLK-1", Kind.GAUGE_BLOCKS, "0.0003", "mm", "0.0002", U_per_mm=Decimal("0.000002")
)
LEVEL = reference("KL-LVL-1", Kind.LEVEL, "0.004", "deg", "0.002")
ENCODER = reference("KL-ENC-1", Kind.REFERENCE_ENCODER, "0", "deg", "0.004")
PLATE = reference("KL-IDX-1", Kind.INDEXING_PLATE, "0", "deg", "0.001")
BAR = reference(
    "KL-BAR-1",
    Kind.BAR,
    "2000.0",
    "mm",
    "0.1",
    angle_deg=Decimal("-0.002"),
    U_angle_deg=Decimal("0.003"),
)
ALL = (SINE, BLOCKS, LEVEL, ENCODER, PLATE, BAR)


def at_hand(*references, on=TODAY):
    return References(Register("references.toml", ALL), tuple(r.id for r in references), on)


def evaluate(readings, *references, coefficients=None, head_class=NO_LIMITS, rule=Rule.GUARD_U_4):
    points = Points("found.csv", tuple(readings))
    return verify(points, coefficients, at_hand(*references), head_class, rule, Setup())


def figures(channel):
    return {f.name: f for f in channel.figures}


def on_the_bar(
    said, *, channel="incl_y", tilts=(-5, -2.5, 0, 2.5, 5), plate=0.0, repeats=2, turn=()
):
    """Readings whose raw value is ``said(tilt, direction, repeat)``, given the true tilt."""
    rows = []
    series = [("up", t) for t in tilts] + [("down", t) for t in reversed(tilts)]
    for repeat in range(1, repeats + 1):
        for direction, tilt in series:
            for facing in ("as-marked", "turned") if tilt in turn else ("as-marked",):
                height = round(200 * math.sin(math.radians(abs(tilt))), 5)
                stack = height + 0.0003 if height else 0.0
                true = math.copysign(math.degrees(math.asin(stack / 200.002)), tilt) + 0.0010
                true += plate if facing == "as-marked" else -plate
                raw = said(true, direction, repeat)
                rows.append(
                    Reading(
                        row=len(rows) + 1,
                        channel=channel,
                        nominal_deg=Decimal(str(tilt)),
                        direction=direction,
                        repeat=repeat,
                        facing=facing,
                        height_mm=height,
                        blocks_mm=(),
                        reference_deg=None,
                        reference_id=None,
                        raw_rad={k: math.radians(v) for k, v in raw.items()},
                        temperature_degc=20.0,
                    )
                )
    return rows


def told(said, angles, *, channel="rotation", repeats=2, name=None):
    rows = []
    series = [("up", a) for a in angles] + [("down", a) for a in reversed(angles)]
    for repeat in range(1, repeats + 1):
        for direction, angle in series:
            rows.append(
                Reading(
                    row=len(rows) + 1,
                    channel=channel,
                    nominal_deg=Decimal(str(angle)),
                    direction=direction,
                    repeat=repeat,
                    facing="as-marked",
                    height_mm=None,
                    blocks_mm=(),
                    reference_deg=float(angle),
                    reference_id=name,
                    raw_rad={channel: math.radians(said(angle, direction, repeat))},
                    temperature_degc=20.0,
                )
            )
    return rows


def test_noise_free_errors_come_back_exactly():
    readings = on_the_bar(
        lambda true, d, r: {"incl_y": 1.003 * true + 0.02, "incl_x": 0.004 * true},
        plate=0.004,
    )
    (channel,) = evaluate(readings, SINE, BLOCKS, LEVEL).channels
    for point in channel.points:
        tilt = (point.indication_deg - 0.02) / 1.003
        assert point.error_deg == pytest.approx(0.003 * tilt + 0.02, rel=1e-9)
        assert point.reference_deg == pytest.approx(tilt, rel=1e-9)
        assert point.repeats == 2
    found = figures(channel)
    assert found["max-error"].at == "5° up"
    level = next(p for p in channel.points if p.at.nominal_deg == 0)
    assert found["zero"].value == pytest.approx(level.error_deg)
    assert found["repeatability"].value == pytest.approx(0.0, abs=1e-12)
    assert found["hysteresis"].value == pytest.approx(0.0, abs=1e-12)
    assert found["linearity"].value == pytest.approx(0.0, abs=1e-12)
    assert found["cross-axis"].value == pytest.approx(0.4, rel=1e-9)  # percent


def test_a_plate_found_by_reversal_drops_out():
    readings = on_the_bar(
        lambda true, d, r: {"incl_y": true + 0.011, "incl_x": 0.0}, plate=0.3, turn=(0,)
    )
    result = evaluate(readings, SINE, BLOCKS)
    (channel,) = result.channels
    for point in channel.points:
        assert point.error_deg == pytest.approx(0.011, rel=1e-9)
    lines = {line.input.source: line.input for line in channel.points[0].budget.lines}
    assert lines["tilt of the plate (deg)"].estimate == pytest.approx(0.3)
    assert [r.id for r in result.references] == ["KL-SINE-1", "KL-BLK-1"]


def test_the_doubt_of_a_reversal_is_in_every_error_and_halved_at_zero():
    rng = np.random.default_rng(5)
    readings = on_the_bar(
        lambda true, d, r: {"incl_y": true + 0.003 * rng.standard_normal(), "incl_x": 0.0},
        plate=0.3,
        turn=(0,),
    )
    (channel,) = evaluate(readings, SINE, BLOCKS).channels
    s = figures(channel)["repeatability"].value
    scatter = {str(p.at): p.budget.lines[0].input.u for p in channel.points}
    # Four readings each way at zero: u(plate)^2 = s^2/4 (1/4 + 1/4); a point has two readings.
    assert scatter["5° up"] == pytest.approx(s * math.sqrt(1 / 2 + 1 / 8))
    # Both points at zero: half of (marked + turned) over both directions, eight readings.
    zero = figures(channel)["zero"].measured
    readings_alone = next(p for p in zero.parts if p.source.name == "indication (deg)")
    assert math.sqrt(readings_alone.variance) == pytest.approx(s / math.sqrt(8))


def test_repeatability_is_pooled_over_the_points():
    rng = np.random.default_rng(6)
    noise = {}

    def said(true, direction, repeat):
        noise.setdefault((round(true, 3), direction), []).append(0.003 * rng.standard_normal())
        return {"incl_y": true + noise[round(true, 3), direction][-1], "incl_x": 0.0}

    (channel,) = evaluate(on_the_bar(said, repeats=4), SINE, BLOCKS, LEVEL).channels
    variances = [np.var(v, ddof=1) for v in noise.values()]
    found = figures(channel)["repeatability"]
    assert found.value == pytest.approx(math.sqrt(np.mean(variances)))
    assert found.at == "30 degrees of freedom"
    assert found.k is None


def test_hysteresis_is_down_minus_up_where_it_is_largest():
    lag = {-2.5: 0.004, 0: -0.010, 2.5: 0.006}

    def said(true, direction, repeat):
        near = min(lag, key=lambda t: abs(t - true))
        late = lag[near] if direction == "down" and abs(near - true) < 0.1 else 0.0
        return {"incl_y": true + late, "incl_x": 0.0}

    (channel,) = evaluate(on_the_bar(said), SINE, BLOCKS, LEVEL).channels
    found = figures(channel)["hysteresis"]
    assert found.value == pytest.approx(-0.010)
    assert found.at == "0°"
    # Bar, blocks, face and plate are the same up and down, and cancel.
    names = {part.source.name for part in found.measured.parts if part.variance > 1e-24}
    assert names <= {"indication (deg)", "resolution of the head (deg)"}


def test_linearity_from_the_best_line_and_from_end_points():
    bent = {-5: 0.0, -2.5: 0.003, 0: 0.009, 2.5: 0.004, 5: 0.002}

    def said(true, direction, repeat):
        near = min(bent, key=lambda t: abs(t - true))
        return {"incl_y": true + bent[near], "incl_x": 0.0}

    (channel,) = evaluate(on_the_bar(said), SINE, BLOCKS, LEVEL).channels
    found = figures(channel)
    errors = np.array(list(bent.values()))
    tilts = np.array([p.reference_deg for p in channel.points[:5]])
    left = errors - np.polyval(np.polyfit(tilts, errors, 1), tilts)
    assert found["linearity"].value == pytest.approx(left[np.argmax(np.abs(left))], rel=1e-6)
    assert found["linearity"].at == "0°"
    # Ends at 0 and 0.002: half way along that is 0.001, and 0.009 lies 0.008 above.
    assert found["linearity-end-points"].value == pytest.approx(0.008, abs=1e-5)


def test_two_angles_make_no_linearity():
    readings = on_the_bar(lambda t, d, r: {"incl_y": t, "incl_x": 0.0}, tilts=(-5, 5))
    (channel,) = evaluate(readings, SINE, BLOCKS, LEVEL).channels
    assert "linearity" not in figures(channel)
    assert "zero" not in figures(channel)


def test_how_squarely_the_head_stands_is_most_of_the_doubt_of_a_cross_axis():
    readings = on_the_bar(lambda t, d, r: {"incl_y": t, "incl_x": 0.0})
    (channel,) = evaluate(readings, SINE, BLOCKS, LEVEL).channels
    found = figures(channel)["cross-axis"]
    # 0.1 deg with k = 2 by default: in percent, 100 times 0.05 deg in radians.
    assert found.measured.u == pytest.approx(100 * math.radians(0.05), rel=1e-3)


def test_the_largest_error_has_the_budget_of_its_point():
    readings = on_the_bar(lambda true, d, r: {"incl_y": 1.01 * true, "incl_x": 0.0})
    (channel,) = evaluate(readings, SINE, BLOCKS, LEVEL).channels
    worst = max(channel.points, key=lambda p: abs(p.error_deg))
    found = figures(channel)["max-error"]
    assert found.value == worst.error_deg
    assert found.measured.u == worst.budget.u


def test_every_part_of_the_sine_bar_contributes_what_it_should():
    readings = on_the_bar(lambda true, d, r: {"incl_y": true + 0.002 * r, "incl_x": 0.0})
    (channel,) = evaluate(readings, SINE, BLOCKS, LEVEL).channels
    point = next(p for p in channel.points if str(p.at) == "5° up")
    lines = {line.input.source: line.contribution for line in point.budget.lines}
    theta = math.radians(5.0)
    s = 0.002 / math.sqrt(2)  # two readings 0.002 apart
    blocks = (0.0002 + 0.000002 * 17.43115) / 2
    expected = {
        "indication (deg)": s / math.sqrt(2),
        "resolution of the head (deg)": 1e-4 / math.sqrt(12),
        "drift with temperature (deg)": 0.0,
        "gauge blocks (mm)": math.degrees(blocks / (200.002 * math.cos(theta))),
        "length of the sine bar (mm)": math.degrees(math.tan(theta) * 0.001 / 200.002),
        "blocks warmer than bar (K)": math.degrees(math.tan(theta) * 11.5e-6 * 0.5 / math.sqrt(3)),
        "face of the sine bar (deg)": 0.0003,
        "tilt of the plate (deg)": 0.001,
    }
    assert lines == pytest.approx(expected, rel=1e-4)
    assert point.budget.u == pytest.approx(math.hypot(*expected.values()), rel=1e-4)
    assert point.budget.k == pytest.approx(coverage_factor(point.budget.dof))


def test_temperature_that_wandered_is_in_the_budget():
    readings = on_the_bar(lambda true, d, r: {"incl_y": true, "incl_x": 0.0})
    warm = [replace(r, temperature_degc=20.0 + 0.1 * r.row) for r in readings]
    (channel,) = evaluate(warm, SINE, BLOCKS, LEVEL).channels
    line = channel.points[0].budget.lines[2]
    # 0.01 deg per degC for a head nobody calibrated, over a range of 1.9 degC.
    assert line.contribution == pytest.approx(0.01 * 1.9 / math.sqrt(12))


def test_readings_are_taken_with_the_coefficients_given():
    tilt = TiltPart(
        reference_temperature_degc=20.0,
        bias_deg=(0.0, 0.5, 0.0),
        u_bias_deg=(0.0, 0.0, 0.0),
        matrix=((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)),
        u_matrix=((0.0,) * 3,) * 3,
        bias_deg_per_degc=(0.0, 0.0, 0.0),
        u_bias_deg_per_degc=(0.0, 0.002, 0.0),
        scale_per_degc=(0.0, 0.0, 0.0),
        u_scale_per_degc=(0.0, 0.0, 0.0),
    )
    known = {"incl_y": ChannelFigures(noise_deg=0.003, resolution_deg=0.01)}
    coefficients = Coefficients(tilt=tilt, channels=known)

    def said(true, direction, repeat):
        sine = math.sin(math.radians(true)) + math.radians(0.5)
        return {"incl_y": math.degrees(math.asin(sine)), "incl_x": 0.0}

    readings = on_the_bar(said)
    (raw,) = evaluate(readings, SINE, BLOCKS, LEVEL).channels
    corrected = evaluate(readings, SINE, BLOCKS, LEVEL, coefficients=coefficients).channels[0]
    assert figures(raw)["max-error"].value > 0.49
    assert abs(figures(corrected)["max-error"].value) < 0.0045  # the level's own 0.004
    step = corrected.points[0].budget.lines[1]
    assert step.contribution == pytest.approx(0.01 / math.sqrt(12))


def test_an_encoder_is_held_against_the_mean_of_its_errors():
    def said(angle, direction, repeat):
        return angle + 137.0 + 0.02 * math.cos(math.radians(angle))

    readings = told(said, (0, 90, 180, 270))
    result = evaluate(readings, ENCODER)
    (channel,) = result.channels
    errors = {str(p.at): p.error_deg for p in channel.points}
    assert errors["0° up"] == pytest.approx(0.02)
    assert errors["180° down"] == pytest.approx(-0.02)
    found = figures(channel)
    assert "zero" not in found
    assert "linearity" not in found
    assert "cross-axis" not in found
    assert [r.id for r in result.references] == ["KL-ENC-1"]


def test_a_turn_more_or_less_does_not_count():
    readings = told(lambda a, d, r: a - 360.0 * r + 0.01, (0, 90, 180, 270))
    (channel,) = evaluate(readings, ENCODER).channels
    assert max(abs(p.error_deg) for p in channel.points) < 1e-9
    assert figures(channel)["repeatability"].value == pytest.approx(0.0, abs=1e-9)


def test_a_bar_knows_the_zero_of_a_sightline():
    # The bar's far end points 0.002 deg to the right, as its certificate says.
    readings = told(lambda a, d, r: a + 0.05 - 0.002, (0, 10), channel="azimuth_cross")
    (channel,) = evaluate(readings, BAR).channels
    assert figures(channel)["zero"].value == pytest.approx(0.05)
    lines = {line.input.source: line for line in channel.points[0].budget.lines}
    assert lines["reference angle (deg)"].contribution == pytest.approx(0.0015)


def test_what_a_bar_gets_wrong_it_gets_wrong_at_every_angle():
    readings = told(lambda a, d, r: a + 0.001 * r, (0, 10, 20), channel="azimuth_cross")
    (channel,) = evaluate(readings, BAR).channels
    parts = {p.source.name: p.variance for p in figures(channel)["linearity"].measured.parts}
    assert parts["reference angle (deg)"] == pytest.approx(0.0, abs=1e-20)
    assert parts["indication (deg)"] > 1e-8


def test_an_error_from_the_mean_of_q_positions_has_less_of_the_reference_in_it():
    readings = told(lambda a, d, r: a + 0.001 * r, (0, 90, 180, 270))
    (channel,) = evaluate(readings, ENCODER).channels
    lines = {line.input.source: line.contribution for line in channel.points[0].budget.lines}
    assert lines["reference angle (deg)"] == pytest.approx(0.002 * math.sqrt(1 - 1 / 4))
    # Eight points of two readings each, 0.001 apart: s / sqrt 2, less the mean of all.
    s = 0.001 / math.sqrt(2)
    assert lines["indication (deg)"] == pytest.approx(s / math.sqrt(2) * math.sqrt(1 - 1 / 8))
    step = 1e-4 / math.sqrt(12)
    assert lines["resolution of the head (deg)"] == pytest.approx(step * math.sqrt(1 - 1 / 8))


def test_one_reference_for_every_channel_or_its_name():
    readings = told(lambda a, d, r: float(a), (0, 90, 180))
    with pytest.raises(BadBenchData, match="KL-ENC-1, KL-IDX-1 could each be meant"):
        evaluate(readings, ENCODER, PLATE)
    named = told(lambda a, d, r: float(a), (0, 90, 180), name="KL-IDX-1")
    assert [r.id for r in evaluate(named, ENCODER, PLATE).references] == ["KL-IDX-1"]


@pytest.mark.parametrize(
    ("readings", "references", "says"),
    [
        (told(lambda a, d, r: 0.0, (0, 90)), (SINE,), "there is no reference-encoder or index"),
        (told(lambda a, d, r: 0.0, (0, 90), name="KL-BAR-1"), (BAR,), "KL-BAR-1: it is a bar"),
        (
            on_the_bar(lambda t, d, r: {"incl_y": t, "incl_x": 0.0}),
            (SINE, BLOCKS),
            "incl_y: nothing says how level the plate was; add rows with facing turned",
        ),
        (on_the_bar(lambda t, d, r: {"incl_y": t, "incl_x": 0.0}), (SINE,), "no gauge-blocks"),
        (
            told(lambda a, d, r: float(a), (0, 90)),
            (ENCODER,),
            "rotation: 2 angles against reference-encoder KL-ENC-1, which knows no zero; read 3",
        ),
        (
            [
                replace(r, height_mm=12.0)
                for r in on_the_bar(lambda t, d, r: {"incl_y": t, "incl_x": 0.0})
            ],
            (SINE, BLOCKS, LEVEL),
            "row 1: 12.0003 mm on 200.002 mm make -3.440°, not -5°; check the stack",
        ),
        (
            [
                replace(r, height_mm=430.0)
                for r in on_the_bar(lambda t, d, r: {"incl_y": t, "incl_x": 0.0})
            ],
            (SINE, BLOCKS, LEVEL),
            "check the units",
        ),
        (
            [
                replace(r, height_mm=1.0, reference_deg=None)
                for r in told(lambda a, d, r: 0.0, (0, 90))
            ],
            (SINE, BLOCKS, LEVEL),
            "rotation: a sine bar tilts",
        ),
    ],
)
def test_refuses_what_makes_no_verification(readings, references, says):
    with pytest.raises(BadBenchData, match=says.replace(".", r"\.")):
        evaluate(readings, *references)


def test_stops_at_a_reference_out_of_date():
    readings = told(lambda a, d, r: float(a), (0, 90, 180))
    points, late = Points("found.csv", tuple(readings)), at_hand(ENCODER, on=date(2027, 2, 1))
    with pytest.raises(ReferenceRefused, match=r"KL-ENC-1 .*due on 2027-01-12"):
        verify(points, None, late, NO_LIMITS, Rule.GUARD_U_4, Setup())


def test_stops_at_a_reference_that_is_not_registered():
    points = Points("found.csv", tuple(told(lambda a, d, r: float(a), (0, 90, 180))))
    unknown = References(Register("references.toml", ALL), ("KL-ENC-9",), TODAY)
    with pytest.raises(CalibrationFileError, match="no reference KL-ENC-9"):
        verify(points, None, unknown, NO_LIMITS, Rule.GUARD_U_4, Setup())


def verdicts(error, rule, scatter=0.0):
    readings = on_the_bar(
        lambda true, d, r: {"incl_y": true + error + scatter * (-1) ** r, "incl_x": 0.0},
        plate=0.004,
    )
    result = evaluate(readings, SINE, BLOCKS, LEVEL, head_class=BUILT_IN["H0.02"], rule=rule)
    return {v.name: v for v in result.verdicts}


@pytest.mark.parametrize(
    ("error", "simple", "guarded"),
    [
        (0.010, "pass", "pass"),
        (0.0190, "pass", "conditional-pass"),
        (-0.0190, "pass", "conditional-pass"),
        (0.0210, "fail", "conditional-fail"),
        (0.0300, "fail", "fail"),
    ],
)
def test_decides_by_the_rule_with_the_uncertainty_as_guard_band(error, simple, guarded):
    # U is about 0.0021 deg here: mostly the level.
    for rule, word in ((Rule.SIMPLE, simple), (Rule.GUARD_U, guarded), (Rule.GUARD_U_4, guarded)):
        verdict = verdicts(error, rule)["max-error"]
        assert verdict.decision == word
        assert verdict.rule is rule
        assert 0.0015 < verdict.expanded < 0.0025


def test_the_guard_band_has_the_factor_of_the_budget():
    # Two readings of each point: few degrees of freedom, so k is well above 2.
    readings = on_the_bar(
        lambda true, d, r: {"incl_y": true + 0.004 * (-1) ** r, "incl_x": 0.0},
        tilts=(-5, 5),
        plate=0.004,
    )
    result = evaluate(readings, SINE, BLOCKS, LEVEL, head_class=BUILT_IN["H0.02"])
    verdict = next(v for v in result.verdicts if v.name == "max-error")
    assert verdict.k > 2.5
    assert verdict.k == coverage_factor(verdict.measured.dof)
    assert verdict.decision == "pass"
    wide = verdicts(0.0, Rule.GUARD_U_4, scatter=0.05)["max-error"]
    assert wide.decision == "conditional-pass"


def test_the_point_that_does_worst_decides_not_the_largest_error():
    def point(nominal, error, u):
        budget = evaluate_budget([Input("x", error, u)], lambda x: x[0])
        return PointError(At(Decimal(nominal), "up"), 3, float(nominal), budget)

    points = (point(0, 0.0150, 0.0005), point(5, -0.0140, 0.0040))
    limits = HeadClass("T", {("incl_y", "max-error"): 0.02})
    (verdict,) = verdicts_of("incl_y", points, [max_error(points)], limits, Rule.GUARD_U_4)
    assert max_error(points).at == "0° up"
    assert (verdict.at, verdict.decision) == ("5° up", "conditional-pass")
    assert verdict.measured.value == -0.0140


def test_few_degrees_of_freedom_widen_the_guard_band():
    budget = evaluate_budget([Input.readings("x", 0.0100, 0.0040, 3)], lambda x: x[0])
    points = (PointError(At(Decimal(0), "up"), 2, 0.0, budget),)
    limits = HeadClass("T", {("incl_y", "max-error"): 0.02})
    (verdict,) = verdicts_of("incl_y", points, [max_error(points)], limits, Rule.GUARD_U_4)
    assert verdict.k == pytest.approx(3.31, abs=0.005)  # GUM table G.2, 95.45 %
    assert verdict.decision == "conditional-pass"  # with k = 2 it would have passed


def test_where_all_are_safe_the_nearest_to_the_limit_is_named():
    readings = told(lambda a, d, r: a + (0.15 if a == 90 else 0.0), (0, 90, 180, 270))
    result = evaluate(readings, ENCODER, head_class=BUILT_IN["H0.02"])
    assert next(v for v in result.verdicts if v.name == "max-error").at.startswith("90°")
    assert all(0.0 <= v.p_conform <= 1.0 for v in result.verdicts)


def test_a_bad_head_as_found_puts_past_work_in_doubt():
    assert impact(list(verdicts(0.01, Rule.GUARD_U_4).values())) is None
    bad = impact(list(verdicts(0.03, Rule.GUARD_U_4).values()))
    assert "incl_y max-error" in bad
    assert "levelhead affected" in bad
    assert "last good check" in bad


def test_channels_without_a_limit_get_no_verdict():
    readings = told(lambda a, d, r: float(a), (0, 90, 180))
    only_tilt = HeadClass("T", {("incl_y", "max-error"): 0.02})
    assert evaluate(readings, ENCODER, head_class=only_tilt).verdicts == ()


def test_an_encoder_corrected_by_its_part_has_no_error_left():
    part = EncoderPart.model_validate(
        {
            "zero_deg": 0.0,
            "u_zero_deg": 0.01,
            "harmonics": [{"order": 1, "cos_deg": 0.3, "sin_deg": 0.0, "u_deg": 0.001}],
        }
    )

    def said(angle, direction, repeat):
        raw = math.radians(angle)
        for _ in range(30):  # true = raw - 0.3 cos(raw), solved for raw
            raw = math.radians(angle + 0.3 * math.cos(raw))
        return math.degrees(raw)

    readings = told(said, (0, 45, 90, 180, 270))
    coefficients = Coefficients(encoders={"rotation": part})
    (channel,) = evaluate(readings, ENCODER, coefficients=coefficients).channels
    assert max(abs(p.error_deg) for p in channel.points) < 1e-9


def worn(gap, seed=3, scatter=0.0005):
    """Readings of a perfect head on a spindle that stops half a gap off to either side."""
    rng = np.random.default_rng(seed)

    def said(angle, direction, repeat):
        off = gap / 2 if direction == "up" else -gap / 2
        return angle + off + scatter * rng.standard_normal()

    return told(said, range(0, 360, 45), repeats=2, name="KL-IDX-1")


def held_against_plate(readings, stated=None):
    plate = PLATE.model_copy(update={"backlash_deg": stated and Decimal(stated)})
    register = Register("references.toml", (plate,))
    points = Points("found.csv", tuple(readings))
    at = References(register, ("KL-IDX-1",), TODAY)
    (channel,) = verify(points, None, at, BUILT_IN["H0.02"], Rule.GUARD_U_4, Setup()).channels
    return channel


def approach_of(point):
    return point.budget.lines[5]


def test_a_worn_plate_is_not_blamed_on_the_head():
    """GUM F.2.2.2: where the side cannot be corrected for, u is 0.29 times the range of readings.

    The head is perfect, so its error is nought everywhere: every U must cover what was read.
    """
    channel = held_against_plate(worn(0.04))
    found = figures(channel)
    gap = abs(found["hysteresis"].value)
    assert gap == pytest.approx(0.04, abs=0.002)
    for point in channel.points:
        line = approach_of(point)
        assert (line.input.source, line.input.distribution) == (APART, "rectangular")
        assert line.contribution == pytest.approx(gap / math.sqrt(12), rel=1e-6)
        assert abs(point.error_deg) < point.budget.expanded
    # Up is off to one side and down to the other: the gap of both has twice the share in it.
    assert found["hysteresis"].measured.u == pytest.approx(2 * gap / math.sqrt(12), rel=0.01)
    assert gap < found["hysteresis"].expanded
    assert found["hysteresis"].together
    assert found["max-error"].together
    assert not found["repeatability"].together
    decided = {v.name: v.decision for v in channel.verdicts}
    assert decided["hysteresis"] == "conditional-pass"  # 0.04 within 0.1, U says it may be more


def test_a_gap_that_the_papers_explain_is_the_references():
    channel = held_against_plate(worn(0.04), stated="0.05")
    for point in channel.points:
        line = approach_of(point)
        assert line.input.source == "approach of the reference (deg)"
        assert line.contribution == pytest.approx(0.05 / math.sqrt(12))
        assert abs(point.error_deg) < point.budget.expanded
    assert not figures(channel)["hysteresis"].together


def test_what_is_beyond_the_stated_backlash_is_the_heads():
    channel = held_against_plate(worn(0.3), stated="0.01")
    found = figures(channel)["hysteresis"]
    assert not found.together
    assert found.measured.u == pytest.approx(2 * 0.01 / math.sqrt(12), rel=0.05)
    assert {v.name: v.decision for v in channel.verdicts}["hysteresis"] == "fail"  # limit 0.1


def test_what_scatters_alone_is_seldom_taken_for_a_gap():
    """The widest gap is held against its own simultaneous interval of 95.45 %."""
    runs = [held_against_plate(worn(0.0, seed=seed)) for seed in range(10)]
    taken = [figures(channel)["hysteresis"].together for channel in runs]
    assert sum(taken) < 3  # one in twenty; three of ten would be one chance in a hundred
    quiet = runs[taken.index(False)]
    assert len(quiet.points[0].budget.lines) == 5


def test_the_lag_of_a_head_on_what_nobody_turns_is_its_own():
    readings = told(lambda a, d, r: a + 0.02 * (d == "down"), (0, 10, 20), channel="azimuth_cross")
    (channel,) = evaluate(readings, BAR).channels
    assert figures(channel)["hysteresis"].value == pytest.approx(0.02)
    assert not figures(channel)["hysteresis"].together
    assert len(channel.points[0].budget.lines) == 5


def test_the_largest_error_says_how_level_the_other_axis_was():
    readings = on_the_bar(lambda t, d, r: {"incl_y": 1.01 * t, "incl_x": -0.05 * t})
    (channel,) = evaluate(readings, SINE, BLOCKS, LEVEL).channels
    assert figures(channel)["max-error"].under == "other axis within 0.3° of level"
    assert figures(channel)["linearity"].under == ""


def test_the_thermometer_of_the_sheet_is_a_reference_too():
    warm = reference("KL-T-1", Kind.THERMOMETER, "0.02", "Cel", "0.05")
    old = warm.model_copy(update={"id": "KL-T-2", "due": date(2026, 11, 1)})
    register = Register("references.toml", (*ALL, warm, old))
    points = Points("found.csv", tuple(told(lambda a, d, r: float(a), (0, 90, 180))))

    def used(*ids):
        at = References.of(register, ids or None, TODAY)
        done = verify(points, None, at, NO_LIMITS, Rule.GUARD_U_4, Setup())
        return {each.id for each in done.references}

    assert used("KL-ENC-1", "KL-T-1") == {"KL-ENC-1", "KL-T-1"}
    assert used("KL-ENC-1") == {"KL-ENC-1"}
    with pytest.raises(ReferenceRefused, match=r"KL-T-2 .*was due on 2026-11-01"):
        used("KL-ENC-1", "KL-T-2")
    with pytest.raises(BadBenchData, match="KL-T-1, KL-T-2 could each be meant; name one"):
        used()
