"""The register of references: read strictly, and no result on one that nothing proves."""

from datetime import date
from decimal import Decimal

import pytest

from calibration.errors import CalibrationFileError, ReferenceRefused
from calibration.files.references import Kind, parse_references, usable, use_of

SHA = "5" * 64
REGISTER = f"""
[[reference]]
id = "KL-SINE-1"
kind = "sine-bar"
certificate = "FMO-2026-118"
certificate_sha256 = "{SHA}"
issuer = "Fenmoor Metrology Office"
value = 200.000
unit = "mm"
U = 0.0020
k = 2
date = 2026-01-12
due = 2027-01-12
angle_deg = 0.0002
U_angle_deg = 0.0006

[[reference]]
id = "KL-BLK-1"
kind = "gauge-blocks"
certificate = "FMO-2026-119"
certificate_sha256 = "{SHA}"
issuer = "Fenmoor Metrology Office"
value = 0.0001
unit = "mm"
U = 0.0002
U_per_mm = 0.000002
k = 2
date = 2026-01-12
due = 2027-01-12
blocks = [
  {{ nominal_mm = 10, deviation_mm = 0.00012, U_mm = 0.00010 }},
  {{ nominal_mm = 7.43, deviation_mm = -0.00002, U_mm = 0.00008 }},
]
"""


def sine_bar(**changes):
    register = parse_references(REGISTER)
    return register.get("KL-SINE-1").model_copy(update=changes)


def test_keeps_the_digits_of_the_certificate():
    use = use_of(parse_references(REGISTER).get("KL-SINE-1"))
    assert (use.value, use.unit, use.U, use.k) == ("200.000", "mm", "0.0020", "2")
    assert (use.issued, use.due) == (date(2026, 1, 12), date(2027, 1, 12))
    assert (use.id, use.kind, use.certificate) == ("KL-SINE-1", "sine-bar", "FMO-2026-118")
    assert use.certificate_sha256 == SHA


def test_gives_standard_uncertainties():
    bar = sine_bar()
    assert bar.u == pytest.approx(0.001)
    assert bar.u_angle_deg == pytest.approx(0.0003)


def test_a_stack_by_the_formula_of_its_set():
    blocks = parse_references(REGISTER).get("KL-BLK-1")
    length, u = blocks.stack(17.43, ())
    assert length == pytest.approx(17.4301)
    assert u == pytest.approx((0.0002 + 0.000002 * 17.43) / 2)


def test_named_blocks_err_together():
    blocks = parse_references(REGISTER).get("KL-BLK-1")
    length, u = blocks.stack(17.43, (Decimal("10"), Decimal("7.430")))
    assert length == pytest.approx(17.4301)
    assert u == pytest.approx((0.00010 + 0.00008) / 2)  # their sum, not the root of squares


def test_no_stack_is_no_error():
    assert parse_references(REGISTER).get("KL-BLK-1").stack(0.0, ()) == (0.0, 0.0)


def test_a_block_that_the_set_does_not_have_is_named():
    blocks = parse_references(REGISTER).get("KL-BLK-1")
    with pytest.raises(ValueError, match=r"no block of 9\.5 mm in KL-BLK-1"):
        blocks.stack(9.5, (Decimal("9.5"),))


def test_a_set_without_formula_wants_its_blocks_named():
    blocks = parse_references(REGISTER).get("KL-BLK-1").model_copy(update={"U_per_mm": None})
    with pytest.raises(ValueError, match="say which blocks"):
        blocks.stack(17.43, ())


@pytest.mark.parametrize("on", [date(2026, 1, 12), date(2026, 11, 25), date(2027, 1, 12)])
def test_is_usable_from_its_date_to_its_due_date(on):
    usable(sine_bar(), on)


@pytest.mark.parametrize(
    ("changes", "on", "says"),
    [
        ({"certificate": ""}, date(2026, 11, 25), "has no certificate"),
        ({"certificate_sha256": ""}, date(2026, 11, 25), "has no SHA-256"),
        ({}, date(2027, 1, 13), "was due on 2027-01-12, before the work of 2027-01-13"),
        ({}, date(2026, 1, 11), "is dated 2026-01-12, after the work of 2026-01-11"),
    ],
)
def test_refuses_what_nothing_proves(changes, on, says):
    with pytest.raises(ReferenceRefused, match=says) as caught:
        usable(sine_bar(**changes), on)
    assert "sine-bar KL-SINE-1" in str(caught.value)
    if changes.get("certificate", "there"):
        assert "FMO-2026-118" in str(caught.value)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("[[reference]]", "reference", "not TOML"),
        ('unit = "mm"', 'unit = "in"', "KL-SINE-1: unit is 'in'"),
        ("U_angle_deg = 0.0006", "", "KL-SINE-1: a sine-bar needs value"),
        ("value = 200.000", "value = -200", "KL-SINE-1: a sine-bar needs value"),
        ("value = 200.000", "value = inf", "KL-SINE-1: value"),
        ("U = 0.0020", "U = -0.1", "KL-SINE-1: U"),
        ("U = 0.0020", "U = 0.0000", "KL-SINE-1: U and U_angle_deg are never 0"),
        ("U_angle_deg = 0.0006", "U_angle_deg = 0", "KL-SINE-1: U and U_angle_deg are never 0"),
        ("U = 0.0020", "U = 1e-20", "KL-SINE-1: U"),
        ('issuer = "F', 'issuer = "\\u0007F', "KL-SINE-1: issuer"),
        ("k = 2\ndate", "k = 0\ndate", "KL-SINE-1: k"),
        ("U = 0.0020", "", "KL-SINE-1: U: is needed"),
        ('kind = "sine-bar"', 'kind = "ruler"', "KL-SINE-1: kind"),
        ("due = 2027-01-12\nangle", "due = 2025-01-12\nangle", "is not after date"),
        (
            "date = 2026-01-12\ndue = 2027-01-12\nangle",
            "due = 2027-01-12\nangle",
            "date: is needed",
        ),
        ('issuer = "F', 'colour = "red"\nissuer = "F', "KL-SINE-1: colour: no such key here"),
        (SHA, SHA[1:], "KL-SINE-1: certificate_sha256"),
        ("U_per_mm = 0.000002", "step_deg = 1", "KL-BLK-1: step_deg does not belong"),
        ("angle_deg = 0.0002", "U_per_mm = 1", "KL-SINE-1: blocks or U_per_mm does not belong"),
        ("KL-BLK-1", "KL-SINE-1", "KL-SINE-1 is there twice"),
    ],
)
def test_refuses_a_register_that_cannot_be_right(old, new, says):
    text = REGISTER.replace(old, new, 1)
    assert text != REGISTER
    with pytest.raises(CalibrationFileError) as caught:
        parse_references(text, "references.toml")
    assert str(caught.value).startswith("references.toml: ")
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("text", "says"),
    [("", "no \\[\\[reference\\]\\]"), ("x = 1", "unknown key x"), ("reference = 3", "no \\[")],
)
def test_refuses_a_file_that_is_no_register(text, says):
    with pytest.raises(CalibrationFileError, match=says):
        parse_references(text)


@pytest.mark.parametrize("value", ["200.000", "0.000000000001", "12345678901.5", "-0.0", "1e2"])
def test_whatever_is_registered_fits_a_record(value):
    text = REGISTER.replace("value = 0.0001", f"value = {value}")
    shown = use_of(parse_references(text).get("KL-BLK-1")).value
    assert float(shown) == float(value)


def test_names_what_is_registered_when_one_is_not():
    with pytest.raises(CalibrationFileError, match="no reference KL-X; registered: KL-SINE-1, KL"):
        parse_references(REGISTER).get("KL-X")


def test_every_kind_has_a_unit_of_its_own():
    table = """
    [[reference]]
    id = "R"
    kind = "{kind}"
    value = 1
    unit = "{unit}"
    U = 0.1
    k = 2
    date = 2026-01-12
    due = 2027-01-12
    {angle}
    """
    units = {"bar": "mm", "thermometer": "Cel", "level": "deg", "indexing-plate": "deg"}
    for kind, unit in units.items():
        angle = "U_angle_deg = 0.001" if kind == "bar" else ""
        register = parse_references(table.format(kind=kind, unit=unit, angle=angle))
        assert register.get("R").kind is Kind(kind)
        other = "deg" if unit != "deg" else "rad"
        with pytest.raises(CalibrationFileError, match="unit is"):
            parse_references(table.format(kind=kind, unit=other, angle=angle))


def test_a_record_names_whatever_a_certificate_states_that_results_stand_on():
    """ISO/IEC 17025:2017, 7.8.4.1 c: each value that counts is traced, not the length alone."""
    register = parse_references(REGISTER)
    (face,) = use_of(register.get("KL-SINE-1")).also
    assert (face.value, face.unit, face.U) == ("0.0002", "deg", "0.0006")
    assert face.what == "face against the plane of the rollers"
    growth, *blocks = use_of(register.get("KL-BLK-1")).also
    assert (growth.unit, Decimal(growth.U)) == ("mm/m", Decimal("0.002"))
    assert [(b.what, b.value, b.U) for b in blocks] == [
        ("block 10 mm, deviation", "0.00012", "0.00010"),
        ("block 7.43 mm, deviation", "-0.00002", "0.00008"),
    ]
    assert (
        "also" not in use_of(register.get("KL-BLK-1")).model_copy(update={"also": ()}).model_dump()
    )
