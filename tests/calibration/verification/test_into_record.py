"""A verification in a record: decimal text, budgets with their trials, adjustments in the open."""

import math
from dataclasses import replace
from datetime import date
from decimal import Decimal

import numpy as np
import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from calibration.decision import Rule
from calibration.errors import BadBenchData, CalibrationFileError
from calibration.files.points import Points, Reading
from calibration.files.references import Kind, Reference, Register
from calibration.records.adjustment import adjustment_of
from calibration.records.papers import Head, RawFile
from calibration.records.parts import ChannelFigures, Coefficients, TiltPart
from calibration.records.record import CalibrationRecord
from calibration.records.text import dump_record, load_record, seal
from calibration.verification.adjustment import coefficients_at, same_points
from calibration.verification.head_class import (
    BUILT_IN,
    HeadClass,
    class_of,
    head_class_named,
    parse_head_class,
)
from calibration.verification.into_record import recorded, run_of
from calibration.verification.record_budgets import budget_of, plain, tried
from calibration.verification.run import verify
from calibration.verification.setup import References, Setup

TODAY = date(2026, 11, 25)
KEY = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
ENCODER = Reference(
    id="KL-ENC-1",
    kind=Kind.REFERENCE_ENCODER,
    certificate="FMO-2026-140",
    certificate_sha256="a" * 64,
    issuer="Fenmoor Metrology Office",
    value=Decimal(0),
    unit="deg",
    U=Decimal("0.0040"),
    k=Decimal(2),
    date=date(2026, 1, 12),
    due=date(2027, 1, 12),
)
RAW = RawFile(what="verification as found", sha256="b" * 64, bytes=1234)
ANGLES = (0, 60, 120, 180, 240, 300)


def draft(**changes):
    content = {
        "record_id": "cal-2026-0001",
        "head": Head(head_id="00a1b2c3d4e5f607"),
        "issued": TODAY,
        "performed_from": TODAY,
        "performed_to": TODAY,
    }
    return CalibrationRecord.model_validate(content | changes)


def turned(angles=ANGLES, repeats=3, seed=1, backwards=False):
    rng = np.random.default_rng(seed)
    rows = []
    series = [("up", a) for a in angles] + [("down", a) for a in reversed(angles)]
    for repeat in range(1, repeats + 1):
        for direction, angle in reversed(series) if backwards else series:
            said = angle + 0.03 * math.cos(math.radians(angle)) + 0.004 * rng.standard_normal()
            rows.append(
                Reading(
                    row=len(rows) + 1,
                    channel="rotation",
                    nominal_deg=Decimal(angle),
                    direction=direction,
                    repeat=repeat,
                    facing="as-marked",
                    height_mm=None,
                    blocks_mm=(),
                    reference_deg=float(angle),
                    reference_id=None,
                    raw_rad={"rotation": math.radians(said)},
                    temperature_degc=20.0,
                )
            )
    return Points("found.csv", tuple(rows))


def verification(points, rule=Rule.GUARD_U_4, head_class=BUILT_IN["H0.02"]):
    references = References(Register("references.toml", (ENCODER,)), ("KL-ENC-1",), TODAY)
    return verify(points, None, references, head_class, rule, Setup())


def with_run(record, points, when="found", performed=TODAY):
    result = verification(points)
    return recorded(
        record,
        result,
        tried(result, seed=1),
        when=when,
        performed=performed,
        raw=[RAW.model_copy(update={"what": f"verification as {when}"})],
        rule=Rule.GUARD_U_4,
        head_class="H0.02",
    )


def test_a_record_with_a_run_survives_its_own_file():
    record = with_run(draft(), turned())
    assert load_record(dump_record(seal(record))) == seal(record)


def test_a_run_has_the_points_in_order_with_one_place_for_value_and_u():
    result = verification(turned())
    run = run_of(result, TODAY)
    assert [(p.nominal, p.direction) for p in run.points] == [
        *((str(a), "up") for a in ANGLES),
        *((str(a), "down") for a in reversed(ANGLES)),
    ]
    for text, point in zip(run.points, result.channels[0].points, strict=True):
        assert text.repeats == 3
        places = {len(x.partition(".")[2]) for x in (text.error, text.U, text.reference)}
        assert len(places) == 1
        assert float(text.error) == pytest.approx(point.error_deg, abs=0.5 * 10 ** -places.pop())
        # Rounded upward, at two digits.
        assert 0.95 * point.budget.expanded < float(text.U) < 1.1 * point.budget.expanded
        assert text.k == f"{point.budget.k:.2f}"
    assert run.performed == TODAY


def test_no_digit_is_finer_than_the_head_shows():
    known = {"rotation": ChannelFigures(noise_deg=0.004, resolution_deg=0.01)}
    references = References(Register("references.toml", (ENCODER,)), ("KL-ENC-1",), TODAY)
    coarse = Coefficients(channels=known)
    limits, rule = BUILT_IN["H0.02"], Rule.GUARD_U_4
    result = verify(turned(), coarse, references, limits, rule, Setup())
    for point in run_of(result, TODAY).points:
        assert len(point.error.partition(".")[2]) == 2
        assert float(point.U) >= 2 * 0.01 / math.sqrt(12)


def test_figures_and_verdicts_stand_beside_each_other():
    run = run_of(verification(turned()), TODAY)
    names = [f.name for f in run.figures]
    assert names == ["max-error", "repeatability", "hysteresis"]
    assert run.figures[1].U is None
    assert [(v.name, v.low, v.high) for v in run.verdicts] == [
        ("max-error", "-0.2", "0.2"),
        ("hysteresis", "-0.1", "0.1"),
    ]
    assert all(v.decision == "pass" and v.p_conform == "1.0000" for v in run.verdicts)


@pytest.mark.parametrize("share", [1.0005, 0.9995])
def test_a_verdict_never_looks_contradicted_by_its_own_digits(share):
    worst = verification(turned()).verdicts[0].measured.value
    limit = float(f"{abs(worst) * share:.6f}")
    close = HeadClass("close", {("rotation", "max-error"): limit})
    run = run_of(verification(turned(), Rule.SIMPLE, close), TODAY)
    (verdict,) = run.verdicts
    assert float(verdict.high) == limit == -float(verdict.low)
    assert verdict.decision == ("pass" if share > 1 else "fail")
    assert (abs(float(verdict.value)) <= float(verdict.high)) == (share > 1)


def test_the_budgets_kept_are_the_decisive_ones_with_trials():
    result = verification(turned())
    parts = [budget_of(t, "found") for t in tried(result, seed=4)]
    assert 1 <= len(parts) <= 2
    for part, kept in zip(parts, tried(result, seed=4), strict=True):
        assert part.at == f"as found, {kept.at}"
        assert float(part.u) == pytest.approx(kept.budget.u, rel=1e-3)
        total = math.hypot(*(float(line.contribution) for line in part.lines))
        assert total == pytest.approx(float(part.u), rel=2e-3)
        assert part.monte_carlo.seed == 4
        assert float(part.monte_carlo.u) == pytest.approx(float(part.u), rel=0.1)
        assert float(part.monte_carlo.low) < float(part.monte_carlo.high)
    worst = max(result.channels[0].points, key=lambda p: abs(p.error_deg))
    assert f"as found, {worst.at}" in {p.at for p in parts}


def test_a_new_run_of_the_same_kind_takes_the_place_of_the_old():
    once = with_run(draft(), turned(seed=1))
    twice = with_run(once, turned(seed=2))
    assert [b.at for b in twice.budgets] == [
        f"as found, {t.at}" for t in tried(verification(turned(seed=2)), seed=1)
    ]
    assert twice.as_found != once.as_found
    assert [r.id for r in twice.references] == ["KL-ENC-1"]
    assert len(twice.raw) == 1


def test_as_found_and_as_left_stand_side_by_side():
    adjusted = draft(adjusted=True, coefficients_before=Coefficients())
    both = with_run(with_run(adjusted, turned(seed=1)), turned(seed=2), when="left")
    assert both.as_found is not None
    assert both.as_left is not None
    assert {b.at.split(",")[0] for b in both.budgets} == {"as found", "as left"}
    assert [r.what for r in both.raw] == ["verification as found", "verification as left"]


def test_days_of_the_work_widen_and_seal_and_signatures_go():
    before = date(2026, 11, 20)
    sealed = seal(draft())
    record = with_run(sealed, turned(), performed=before)
    assert (record.performed_from, record.performed_to) == (before, TODAY)
    assert record.sha256 == ""
    assert record.signatures == ()
    later = with_run(sealed, turned(), performed=date(2026, 12, 1))
    assert later.issued == date(2026, 12, 1)


def test_as_left_is_as_found_where_nothing_was_adjusted():
    with pytest.raises(BadBenchData, match="nothing was adjusted, so as found stands"):
        coefficients_at(draft(), "left")


def test_as_found_is_evaluated_with_what_was_in_force_before():
    old, new = Coefficients(stub_m=0.1), Coefficients(stub_m=0.2)
    adjusted = draft(adjusted=True, coefficients=new, coefficients_before=old)
    assert coefficients_at(adjusted, "found") == old
    with pytest.raises(BadBenchData, match="as left: the adjustment is not signed yet"):
        coefficients_at(adjusted, "left")
    step = adjustment_of(adjusted, KEY, "2026-11-25T10:00:00Z", "Ada Brindle")
    assert coefficients_at(adjusted.revised(adjustment=step), "left") == new
    assert coefficients_at(draft(coefficients=new), "found") == new
    first = draft(adjusted=True, coefficients=new)
    assert coefficients_at(first, "found") is None


@pytest.mark.parametrize(
    ("left", "says"),
    [
        (turned(ANGLES[:-1]), "point 6 is rotation 240° down, 3 readings, and as found it is"),
        (turned(repeats=2), "point 1 is rotation 0° up, 2 readings"),
        (turned(backwards=True), "point 1 is rotation 0° down"),
    ],
)
def test_as_left_repeats_the_points_in_their_order(left, says):
    found = with_run(draft(adjusted=True, coefficients_before=Coefficients()), turned())
    same_points(found, verification(turned(seed=9)))
    with pytest.raises(BadBenchData, match=says):
        same_points(found, verification(left))


def test_as_left_may_not_lack_or_add_a_point():
    found = with_run(draft(adjusted=True, coefficients_before=Coefficients()), turned())
    shorter = found.model_copy(
        update={
            "as_found": found.as_found.model_copy(update={"points": found.as_found.points[:-1]})
        }
    )
    with pytest.raises(BadBenchData, match="it adds rotation 0° down"):
        same_points(shorter, verification(turned()))
    longer = found.model_copy(
        update={
            "as_found": found.as_found.model_copy(
                update={"points": (*found.as_found.points, found.as_found.points[0])}
            )
        }
    )
    with pytest.raises(BadBenchData, match="it lacks rotation 0° up"):
        same_points(longer, verification(turned()))


def tilt(bias):
    return TiltPart(
        reference_temperature_degc=20.0,
        bias_deg=(bias, 0.0),
        u_bias_deg=(0.0, 0.0),
        matrix=((1.0, 0.0), (0.0, 1.0)),
        u_matrix=((0.0, 0.0), (0.0, 0.0)),
        bias_deg_per_degc=(0.0, 0.0),
        u_bias_deg_per_degc=(0.0, 0.0),
        scale_per_degc=(0.0, 0.0),
        u_scale_per_degc=(0.0, 0.0),
    )


@pytest.mark.parametrize(
    ("number", "text"),
    [
        (0.0, "0"),
        (-0.0, "0"),
        (1.23456e-5, "0.00001235"),
        (-12.0, "-12"),
        (123456.0, "123500"),
        (1e-20, "0"),
        (-1e-20, "0"),
        (1.7320508, "1.732"),
    ],
)
def test_working_figures_are_plain_decimals(number, text):
    assert plain(number) == text


def test_built_in_classes_are_named_after_what_they_permit():
    assert set(BUILT_IN) == {"H0.01", "H0.02", "H0.05"}
    limits = class_of(0.02).limits
    assert limits["incl_y", "max-error"] == 0.02
    assert limits["azimuth_cross", "hysteresis"] == 0.01
    assert limits["rotation", "max-error"] == 0.2
    assert limits["incl_x", "cross-axis"] == 0.5
    assert head_class_named("H0.02", "sheet.toml") == BUILT_IN["H0.02"]
    with pytest.raises(CalibrationFileError, match=r"sheet\.toml: no head class 'H9'; built in"):
        head_class_named("H9", "sheet.toml")


def test_a_class_of_ones_own():
    table = {"name": "KLW-A", "incl_y": {"max-error_deg": 0.03, "cross-axis_percent": 1}}
    own = parse_head_class(table, "sheet.toml")
    assert own.name == "KLW-A"
    assert own.limits == {("incl_y", "max-error"): 0.03, ("incl_y", "cross-axis"): 1.0}


@pytest.mark.parametrize(
    ("table", "says"),
    [
        ({}, "name is missing"),
        ({"name": "A", "incl_q": {}}, "no channel incl_q"),
        ({"name": "A", "incl_y": 3}, "no channel incl_y"),
        ({"name": "A", "incl_y": {"max-error": 0.1}}, "no limit max-error; known: max-error_deg"),
        ({"name": "A", "incl_y": {"max-error_rad": 0.1}}, "no limit max-error_rad"),
        ({"name": "A", "incl_y": {"repeatability_deg": 0.1}}, "no limit repeatability_deg"),
        ({"name": "A", "incl_y": {"zero_deg": 0}}, "zero_deg = 0 is not a size above 0"),
        ({"name": "A", "incl_y": {"zero_deg": True}}, "zero_deg = True"),
        ({"name": "A", "incl_y": {"zero_deg": "x"}}, "zero_deg = 'x'"),
    ],
)
def test_refuses_a_class_that_limits_nothing_known(table, says):
    with pytest.raises(CalibrationFileError, match=says):
        parse_head_class(table, "sheet.toml")


def test_a_reference_without_a_zero_is_said_to_have_been_moved_and_by_how_much():
    """The plate said whole angles, and the head reads 0.3 deg more all round."""
    points = turned()
    shifted = tuple(
        replace(r, raw_rad={"rotation": r.raw_rad["rotation"] - math.radians(0.3)})
        for r in points.readings
    )
    for point in run_of(verification(replace(points, readings=shifted)), TODAY).points:
        assert float(point.moved) == pytest.approx(-0.3, abs=0.004)
        said = float(point.reference) - float(point.moved)
        assert said == pytest.approx(float(point.nominal), abs=0.0002)
        error = float(point.indication) - float(point.reference)
        assert float(point.error) == pytest.approx(error, abs=0.0002)
