"""The short check on the bar: reversal as level makers do it (ISO 230-1), by hand."""

import math
from pathlib import Path

import pytest

from calibration.errors import CalibrationFileError
from calibration.files.check_rows import CheckReading, parse_check_rows
from calibration.records.parts import EncoderPart, TiltPart
from calibration.records.results import FitSummary
from calibration.records.text import load_record, seal
from calibration.verification.head_class import HeadClass, class_of
from calibration.verification.shift_check import PAIR, disagreement, shift_check

RECORDS = Path(__file__).parents[1] / "records"
BIAS = {"A": (0.12, -0.08), "B": (-0.31, 0.27)}
ZERO = {"A": -0.21, "B": 0.4}
LEVEL = {"A": 0.0, "B": 0.0}
ALONG_DEG, ACROSS_DEG = 0.2, -0.15
"""Tilt of the stand."""
NOMINAL = {"A": -90.0, "B": 90.0}
LIMITS = class_of(0.02)
BAR = "KL-BAR-1"


def record(head, version=1):
    kept = load_record((RECORDS / f"version-{version}.json").read_text(encoding="utf-8"))
    nought = ((0.0, 0.0), (0.0, 0.0))
    tilt = TiltPart(
        reference_temperature_degc=20.0,
        bias_deg=BIAS[head],
        u_bias_deg=(0.005, 0.005),
        matrix=((1.0, 0.0), (0.0, 1.0)),
        u_matrix=nought,
        bias_deg_per_degc=(0.0, 0.0),
        u_bias_deg_per_degc=(0.0, 0.0),
        scale_per_degc=(0.0, 0.0),
        u_scale_per_degc=(0.0, 0.0),
    )
    encoder = EncoderPart(zero_deg=ZERO[head], u_zero_deg=0.005)
    coefficients = {"tilt": tilt, "encoders": {"azimuth_cross": encoder}}
    if version == 1:
        return seal(kept.model_copy(update={**coefficients, "sha256": ""}))
    own = kept.coefficients.model_copy(update=coefficients)
    return seal(kept.model_copy(update={"coefficients": own, "sha256": "", "signatures": ()}))


def readings(moved_y=LEVEL, moved_x=LEVEL, moved_az=LEVEL, again=1, knock_deg=0.0):
    """Return what heads read whose zeros have moved so far (deg) since their records."""
    found = []
    for turned in [False, True] * again:
        sign = -1.0 if turned else 1.0
        for h in "AB":
            knock = knock_deg if turned and h == "B" else 0.0
            true_x, true_y = sign * ACROSS_DEG + moved_x[h], sign * ALONG_DEG + moved_y[h] + knock
            raw_x, raw_y = (
                math.asin(math.sin(math.radians(t)) + math.radians(b))
                for t, b in zip((true_x, true_y), BIAS[h], strict=True)
            )
            azimuth = math.radians(NOMINAL[h] + moved_az[h] + ZERO[h])
            raw = {"incl_x": raw_x, "incl_y": raw_y, "azimuth_cross": azimuth}
            found.append(CheckReading(len(found) + 1, h, turned, raw))
    return found


def checked(taken, records=None, limits=LIMITS):
    records = records or {h: record(h) for h in "AB"}
    assert disagreement(taken, records) is None
    return shift_check(taken, records, limits, BAR, 2.0)


def changes_deg(check):
    return {c.quantity: math.degrees(c.change_rad) for c in check.changes}


def test_heads_that_are_as_their_records_say_are_inside_whatever_the_stand():
    for check in checked(readings()):
        assert check.decision == "inside"
        assert list(changes_deg(check).values()) == pytest.approx([0.0] * 4, abs=1e-5)


def test_a_zero_that_moved_is_found_and_no_other():
    a, b = checked(readings(moved_y={"A": 0.0, "B": 0.05}))
    assert (a.decision, b.decision) == ("inside", "outside")
    assert changes_deg(b)["incl_y zero"] == pytest.approx(0.05, abs=1e-4)
    assert changes_deg(b)["incl_x zero"] == pytest.approx(0.0, abs=1e-4)
    a, b = checked(readings(moved_x={"A": -0.04, "B": 0.0}))
    assert changes_deg(a)["incl_x zero"] == pytest.approx(-0.04, abs=1e-4)
    assert b.decision == "inside"


def test_azimuths_are_told_by_head_and_as_what_the_pair_adds_to_a_toe():
    a, b = checked(readings(moved_az={"A": 0.012, "B": -0.013}), limits=class_of(0.05))
    assert changes_deg(a)["azimuth zero"] == pytest.approx(0.012, abs=1e-6)
    assert changes_deg(b)["azimuth zero"] == pytest.approx(-0.013, abs=1e-6)
    # Toe is minus the azimuth's change on the right and plus on the left (core.frames).
    for check in (a, b):
        assert changes_deg(check)[PAIR] == pytest.approx(0.025, abs=1e-6)


def test_too_near_a_limit_is_neither_inside_nor_outside():
    a, _ = checked(readings(moved_y={"A": 0.019, "B": 0.0}))
    (change,) = [c for c in a.changes if c.quantity == "incl_y zero"]
    assert (change.decision, a.decision) == ("undecided", "undecided")
    assert math.degrees(change.limit_rad) == pytest.approx(0.02)


def test_taking_each_attitude_again_halves_what_the_seats_leave():
    known = {h: with_form(record(h, 2), {}) for h in "AB"}
    once, often = (checked(readings(again=n), known)[0].changes[0].u_rad for n in (1, 4))
    assert math.degrees(once) == pytest.approx(0.003 / math.sqrt(2.0))
    assert often == pytest.approx(once / 2.0)


def with_form(record, form):
    """Return a record with a bar's fit in it; ``form`` in rad (the port in m)."""
    names = {
        "incl_y": ("zero A", "zero B", "stand", "rise 1", "rise 2", "sag"),
        "incl_x": ("zero A + twist 1", "zero B - zero A", "twist 2 - twist 1", "stand", "faces"),
        "azimuth": ("zero A", "zero B", "swing 1", "swing 2", "port B - port A"),
    }
    fits = tuple(
        FitSummary(
            kind="bar",
            channel=channel,
            method="bar",
            names=own,
            values=tuple(form.get(f"{channel} {name}", 0.0) for name in own),
            u=(0.0,) * len(own),
            covariance=((0.0,) * len(own),) * len(own),
            dof=None,
            sigma=None,
            rank=len(own),
        )
        for channel, own in names.items()
    )
    use = record.references[0].model_copy(update={"id": BAR, "kind": "bar"})
    changes = {"fits": fits, "references": (use,), "sha256": "", "signatures": ()}
    return seal(record.model_copy(update=changes))


def test_the_bar_s_own_form_is_taken_off_where_the_record_knows_it():
    mrad = math.degrees(1e-3)
    form = {"incl_y rise 1": 3e-4, "incl_y rise 2": -2e-4, "incl_y sag": 5e-4}
    form |= {"incl_x zero A + twist 1": 1e-4, "incl_x faces": 3e-4}
    form |= {"incl_x zero B - zero A": -4e-4, "incl_x twist 2 - twist 1": 2e-4}
    form |= {"azimuth swing 1": 4e-4, "azimuth swing 2": -1e-4, "azimuth port B - port A": 2e-3}
    # End 1 lies on the left: it rises by rise - sag, end 2 by sag - rise; a port 2 mm further
    # forward at the far end, 2 m away, turns the sightline by 1 mrad.
    seen = readings(
        moved_y={"A": -0.2 * mrad, "B": 0.7 * mrad},
        moved_x={"A": 0.4 * mrad, "B": 0.2 * mrad},
        moved_az={"A": 0.6 * mrad, "B": 1.1 * mrad},
    )
    known = {h: with_form(record(h, 2), form) for h in "AB"}
    for check in checked(seen, known):
        assert check.form_known
        assert list(changes_deg(check).values()) == pytest.approx([0.0] * 4, abs=1e-4)
    unknown = checked(seen)
    assert not any(check.form_known for check in unknown)
    assert changes_deg(unknown[1])["incl_y zero"] == pytest.approx(0.7 * mrad, abs=1e-4)
    assert math.degrees(unknown[0].changes[0].u_rad) == pytest.approx(
        math.hypot(0.003 / 2**0.5, 0.005)
    )


def test_the_form_of_another_bar_is_not_taken_off():
    form = {"incl_x faces": 1e-3}
    known = {h: with_form(record(h, 2), form) for h in "AB"}
    a, _ = shift_check(readings(), known, LIMITS, "KL-BAR-2", 2.0)
    assert not a.form_known
    assert changes_deg(a)["incl_x zero"] == pytest.approx(0.0, abs=1e-5)


@pytest.mark.parametrize("knock_deg", [0.05, -0.05])
def test_a_head_that_moved_between_the_attitudes_is_noticed(knock_deg):
    records = {h: record(h) for h in "AB"}
    found = disagreement(readings(knock_deg=knock_deg), records)
    assert "along the bar" in found.what
    assert math.degrees(abs(found.difference_rad)) == pytest.approx(0.025, abs=1e-4)
    assert disagreement(readings(knock_deg=knock_deg / 5.0), records) is None


def test_an_azimuth_that_jumped_between_the_attitudes_is_noticed():
    taken = readings()
    jumped = {**taken[2].raw_rad}
    jumped["azimuth_cross"] += math.radians(0.05)
    taken[2] = CheckReading(3, "A", True, jumped)
    assert "azimuth of head A" in disagreement(taken, {h: record(h) for h in "AB"}).what


def test_a_missing_attitude_is_refused_by_its_name():
    with pytest.raises(CalibrationFileError, match="head B has no reading with turned = 1"):
        shift_check(readings()[:3], {h: record(h) for h in "AB"}, LIMITS, BAR, 2.0)


def test_a_class_without_a_limit_is_refused_by_its_name():
    loose = HeadClass("loose", {("azimuth_cross", "max-error"): 0.02})
    with pytest.raises(CalibrationFileError, match="class loose has no limit for zero of incl_y"):
        checked(readings(), limits=loose)


CSV = """row,turned,head,incl_y_deg,incl_x_deg,azimuth_deg,temperature_degc
1,0,A,0.2,0.1,-90.1,21.5
2,1,B,-0.2,-0.1,90.2,
"""


def test_a_check_s_file_is_read():
    one, two = parse_check_rows(CSV, "check.csv").readings
    assert (one.head, one.turned, one.temperature_degc) == ("A", False, 21.5)
    assert math.degrees(one.raw_rad["azimuth_cross"]) == pytest.approx(-90.1)
    assert (two.head, two.turned, set(two.raw_rad)) == (
        "B",
        True,
        {"incl_x", "incl_y", "azimuth_cross"},
    )
    assert math.isnan(two.temperature_degc)


def test_a_reading_that_was_not_at_rest_is_refused():
    text = CSV.replace("temperature_degc", "spread_deg").replace("21.5", "0.2")
    with pytest.raises(CalibrationFileError, match=r"row 1: spread_deg is 0\.2"):
        parse_check_rows(text, "check.csv")


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        ("1,0,A", "1,0,C", "head is 'C'"),
        ("1,0,A", "1,2,A", "turned is '2'"),
        ("2,1,B", "3,1,B", "comes where row 2 is missing"),
        ("incl_y_deg", "incl_y_rad", "column incl_y_rad"),
        (",azimuth_deg", ",heading_deg", "no column azimuth_deg"),
        ("0.2,", "high,", "incl_y_deg is 'high'"),
    ],
)
def test_bad_rows_are_refused_in_one_line(before, after, words):
    with pytest.raises(CalibrationFileError) as refused:
        parse_check_rows(CSV.replace(before, after, 1), "check.csv")
    assert words in str(refused.value)
    assert "\n" not in str(refused.value)
