"""``levelhead verify``: from CSV to a table, one object and a draft that holds."""

import hashlib
import io
import json
import math
import random
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from calibration.records.keys import private_pem
from calibration.records.papers import Head, Signature
from calibration.records.parts import Coefficients, EncoderPart, Harmonic
from calibration.records.record import CalibrationRecord
from calibration.records.text import dump_record, load_record, seal
from ingest.cli import main

SIGNED = Path(__file__).parents[1] / "calibration" / "records" / "version-2.json"
HEAD = "00a1b2c3d4e5f607"
ENTRY = """
[[reference]]
id = "{id}"
kind = "{kind}"
certificate = "FMO-2026-118"
certificate_sha256 = "{sha}"
issuer = "Fenmoor Metrology Office"
value = {value}
unit = "{unit}"
U = {expanded}
k = 2
date = 2026-01-12
due = {due}
{rest}
"""
SHEET = 'references = ["KL-SINE-1", "KL-BLK-1", "KL-ENC-1"]\nhead_class = "H0.02"\n'


def register(due="2027-01-12", sha="a" * 64):
    rows = (
        ("KL-SINE-1", "sine-bar", "200.000", "mm", "0.002", "U_angle_deg = 0.0006"),
        ("KL-BLK-1", "gauge-blocks", "0", "mm", "0.0002", "U_per_mm = 0.000002"),
        ("KL-ENC-1", "reference-encoder", "0", "deg", "0.004", ""),
    )
    return "".join(
        ENTRY.format(
            id=r[0], kind=r[1], value=r[2], unit=r[3], expanded=r[4], rest=r[5], due=due, sha=sha
        )
        for r in rows
    )


def tilts(error=0.004, scale=1.0, seed=1, when="2026-11-25"):
    rng = random.Random(seed)
    lines = [
        "row,channel,nominal_deg,direction,repeat,facing,height_mm,incl_x_deg,incl_y_deg,"
        "temperature_degc,time"
    ]
    for repeat in (1, 2):
        for direction, series in (("up", (-5, 0, 5)), ("down", (5, 0, -5))):
            for nominal in series:
                for facing in ("as-marked", "turned") if nominal == 0 else ("as-marked",):
                    height = round(200 * math.sin(math.radians(abs(nominal))), 3)
                    tilt = math.copysign(math.degrees(math.asin(height / 200)), nominal)
                    tilt += 0.03 if facing == "as-marked" else -0.03
                    said = scale * tilt + error + rng.gauss(0, 0.001)
                    lines.append(
                        f"{len(lines)},incl_y,{nominal},{direction},{repeat},{facing},{height},"
                        f"0.01,{said:.4f},21.3,{when}T09:14:03Z"
                    )
    return "\n".join(lines) + "\n"


def turns(eccentric=0.05, seed=2):
    rng = random.Random(seed)
    lines = ["row,channel,nominal_deg,direction,repeat,reference_deg,raw_deg"]
    for repeat in (1, 2):
        for direction, series in (("up", range(0, 360, 45)), ("down", range(315, -1, -45))):
            for angle in series:
                said = angle + eccentric * math.cos(math.radians(angle)) + rng.gauss(0, 0.001)
                lines.append(
                    f"{len(lines)},rotation,{angle},{direction},{repeat},{angle},{said:.4f}"
                )
    return "\n".join(lines) + "\n"


@pytest.fixture
def bench(tmp_path):
    """A folder with a draft, a register and a sheet; returns a function that fills files."""

    def put(name, text):
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        return str(path)

    put("references.toml", register())
    put("sheet.toml", SHEET)
    put("found.csv", tilts())
    put("draft.json", dump_record(seal(draft())))
    return put


def draft(**changes):
    content = {
        "record_id": "cal-2026-0001",
        "head": Head(head_id=HEAD),
        "issued": date(2026, 11, 25),
        "performed_from": date(2026, 11, 25),
        "performed_to": date(2026, 11, 25),
    }
    return CalibrationRecord.model_validate(content | changes)


def verify(capsys, folder, *words, file="found.csv", record="draft.json", sheet="sheet.toml"):
    arguments = [str(folder / file), "--record", str(folder / record)]
    arguments += ["--references", str(folder / "references.toml")]
    arguments += ["--sheet", str(folder / sheet)] if sheet else []
    code = main(["verify", *arguments, *words])
    out, err = capsys.readouterr()
    return code, out, err


def adjust(folder, at="2026-11-25T09:12:00Z"):
    """Sign the adjustment that stands between as found and as left."""
    key = folder / "lab"
    if not key.exists():
        key.write_bytes(private_pem(Ed25519PrivateKey.from_private_bytes(bytes(range(32)))))
        key.chmod(0o600)
    words = [str(folder / "draft.json"), "--key", str(key), "--by", "Ada Brindle", "--at", at]
    assert main(["record", "adjust", *words]) == 0


def record_in(folder, name="draft.json"):
    return load_record((folder / name).read_text(encoding="utf-8"))


def test_prints_a_table_a_budget_and_verdicts(bench, tmp_path, capsys):
    code, out, err = verify(capsys, tmp_path)
    assert (code, err) == (0, "")
    assert "as found, 2026-11-25" in out
    assert "references KL-SINE-1, KL-BLK-1; class H0.02; rule guard-u-4" in out
    assert "budget of incl_y as found" in out
    assert "gauge blocks (mm)" in out
    assert "Monte Carlo" in out
    assert "max-error" in out
    assert "Nothing was adjusted: as left is as found." in out


def test_the_draft_holds_what_was_printed(bench, tmp_path, capsys):
    _, out, _ = verify(capsys, tmp_path)
    record = record_in(tmp_path)
    for point in record.as_found.points:
        line = next(
            x
            for x in out.splitlines()
            if x.split()[:2] == [point.nominal.replace("-", "−"), point.direction]
        )
        assert line.split()[3:] == [
            x.replace("-", "−")
            for x in (point.reference, point.indication, point.error, point.U, point.k)
        ]
    content = (tmp_path / "found.csv").read_bytes()
    (raw,) = record.raw
    assert (raw.what, raw.bytes) == ("verification as found", len(content))
    assert raw.sha256 == hashlib.sha256(content).hexdigest()
    assert [r.id for r in record.references] == ["KL-SINE-1", "KL-BLK-1"]
    assert (record.head_class, record.decision_rule) == ("H0.02", "guard-u-4")
    assert record.as_left is None


def test_a_byte_order_mark_belongs_to_the_raw_file(bench, tmp_path, capsys):
    (tmp_path / "found.csv").write_bytes(b"\xef\xbb\xbf" + tilts().encode())
    assert verify(capsys, tmp_path)[0] == 0
    content = (tmp_path / "found.csv").read_bytes()
    assert record_in(tmp_path).raw[0].sha256 == hashlib.sha256(content).hexdigest()


def test_one_object_has_unrounded_numbers_that_make_the_record(bench, tmp_path, capsys):
    code, out, _ = verify(capsys, tmp_path, "--json")
    answer = json.loads(out)
    assert code == 0
    assert (answer["as"], answer["impact"]) == ("found", None)
    (channel,) = answer["channels"]
    record = record_in(tmp_path)
    for point, printed in zip(channel["points"], record.as_found.points, strict=True):
        assert point["error_deg"] == pytest.approx(
            point["indication_deg"] - point["reference_deg"], abs=1e-12
        )
        assert point["error_deg"] == pytest.approx(float(printed.error), abs=6e-5)
        assert point["U_deg"] == pytest.approx(point["k"] * point["u_deg"])
    (budget, *_) = channel["budgets"]
    total = math.hypot(*(line["contribution"] for line in budget["lines"]))
    assert total == pytest.approx(budget["u_deg"])
    assert budget["monte_carlo"]["u_deg"] == pytest.approx(budget["u_deg"], rel=0.15)
    assert {v["decision"] for v in channel["verdicts"]} == {"pass"}


def test_the_same_seed_gives_the_same_draft(bench, tmp_path, capsys):
    verify(capsys, tmp_path, "-o", str(tmp_path / "one.json"))
    verify(capsys, tmp_path, "-o", str(tmp_path / "two.json"))
    verify(capsys, tmp_path, "-o", str(tmp_path / "other.json"), "--seed", "2")
    one, two, other = (tmp_path / f"{n}.json" for n in ("one", "two", "other"))
    assert one.read_bytes() == two.read_bytes() != other.read_bytes()
    assert record_in(tmp_path, "draft.json").as_found is None


def test_a_head_out_of_limits_is_a_result_and_says_what_is_in_doubt(bench, tmp_path, capsys):
    bench("found.csv", tilts(error=0.08))
    code, out, _ = verify(capsys, tmp_path)
    assert code == 0
    assert "fail" in out
    assert "levelhead affected lists it" in out
    verdict = record_in(tmp_path).as_found.verdicts[0]
    assert (verdict.name, verdict.decision) == ("max-error", "fail")


def test_as_left_after_an_adjustment_with_the_new_coefficients(bench, tmp_path, capsys):
    harmonic = Harmonic(order=1, cos_deg=0.05, sin_deg=0.0, u_deg=0.001)
    part = EncoderPart(zero_deg=0.0, u_zero_deg=0.01, harmonics=(harmonic,))
    adjusted = draft(
        adjusted=True,
        coefficients_before=Coefficients(),
        coefficients=Coefficients(encoders={"rotation": part}),
    )
    bench("draft.json", dump_record(seal(adjusted)))
    bench("found.csv", turns())
    bench("left.csv", turns(seed=3))
    assert verify(capsys, tmp_path)[0] == 0
    before = (tmp_path / "draft.json").read_bytes()
    code, out, err = verify(capsys, tmp_path, "--as", "left", file="left.csv")
    assert (code, out) == (2, "")
    assert "the adjustment is not signed yet" in err
    assert (tmp_path / "draft.json").read_bytes() == before
    adjust(tmp_path)
    capsys.readouterr()
    code, out, _ = verify(capsys, tmp_path, "--as", "left", file="left.csv")
    assert code == 0
    assert "Nothing was adjusted" not in out
    assert record_in(tmp_path).as_left.after == record_in(tmp_path).adjustment.sha256
    record = record_in(tmp_path)
    before, after = (
        max(abs(float(p.error)) for p in run.points) for run in (record.as_found, record.as_left)
    )
    assert before > 0.045
    assert after < 0.005
    assert [r.what for r in record.raw] == ["verification as found", "verification as left"]
    assert {b.at.split(",")[0] for b in record.budgets} == {"as found", "as left"}


def test_as_left_at_other_points_is_refused_and_leaves_the_draft_alone(bench, tmp_path, capsys):
    adjusted = draft(adjusted=True, coefficients_before=Coefficients())
    bench("draft.json", dump_record(seal(adjusted)))
    verify(capsys, tmp_path)
    adjust(tmp_path)
    capsys.readouterr()
    before = (tmp_path / "draft.json").read_bytes()
    bench("left.csv", tilts().replace(",-5,", ",-4,").replace(",17.431,", ",13.951,"))
    bench("left.csv", turns())
    code, out, err = verify(capsys, tmp_path, "--as", "left", file="left.csv")
    assert (code, out) == (2, "")
    assert "point 1 is rotation 0° up" in err
    assert (tmp_path / "draft.json").read_bytes() == before


@pytest.mark.parametrize(
    ("name", "text", "code", "says"),
    [
        ("references.toml", register(due="2026-11-24"), 3, "refused: sine-bar KL-SINE-1"),
        ("references.toml", register(sha=""), 3, "has no SHA-256 of its certificate"),
        ("references.toml", "x = 1", 2, "references.toml: unknown key x"),
        ("sheet.toml", SHEET.replace("KL-BLK-1", "KL-BLK-2"), 2, "no reference KL-BLK-2"),
        ("sheet.toml", SHEET.replace('"KL-BLK-1", ', ""), 2, "there is no gauge-blocks"),
        ("sheet.toml", SHEET.replace("H0.02", "H7"), 2, "sheet.toml: no head class 'H7'"),
        ("sheet.toml", 'decision_rule = "strict"\n' + SHEET, 2, "decision_rule is 'strict'"),
        ("sheet.toml", SHEET + "[setup]\nwarmer_k = -1\n", 2, "setup: warmer_k = -1"),
        ("sheet.toml", SHEET + "[setup]\ncolour = 1\n", 2, "setup is no table of warmer_k"),
        ("sheet.toml", SHEET.replace("[", "'"), 2, "sheet.toml: not TOML"),
        ("sheet.toml", 'references = "all"\nhead_class = "H0.02"', 2, "no list of ids"),
        (
            "found.csv",
            tilts().replace("3,incl_y", "2,incl_y", 1),
            2,
            "found.csv, row 2: is doubled",
        ),
        ("found.csv", tilts().replace("height_mm", "height_in"), 2, "column height_in"),
        ("draft.json", "{}", 2, "draft.json: not a levelhead-calibration record"),
        ("draft.json", dump_record(seal(draft())).replace("0001", "0002", 1), 2, "altered"),
    ],
)
def test_bad_input_is_one_line_and_leaves_the_draft_alone(
    bench, tmp_path, capsys, name, text, code, says
):
    bench(name, text)
    before = (tmp_path / "draft.json").read_bytes()
    got, out, err = verify(capsys, tmp_path)
    assert (got, out) == (code, "")
    assert says in err
    assert err.count("\n") == 1
    assert (tmp_path / "draft.json").read_bytes() == before
    assert {p.name for p in tmp_path.iterdir()} == {
        "draft.json",
        "found.csv",
        "references.toml",
        "sheet.toml",
    }


def test_the_day_of_the_readings_counts_for_the_references(bench, tmp_path, capsys):
    bench("references.toml", register(due="2026-11-20"))
    bench("found.csv", tilts(when="2026-11-20"))
    assert verify(capsys, tmp_path)[0] == 0
    assert record_in(tmp_path).performed_from == date(2026, 11, 20)


def test_a_reading_of_another_head_is_refused(bench, tmp_path, capsys):
    text = tilts().replace("time\n", "time,head\n", 1).replace("03Z\n", f"03Z,{'f' * 16}\n")
    bench("found.csv", text)
    code, _, err = verify(capsys, tmp_path)
    assert code == 2
    assert f"is of head {'f' * 16}, and this record is of head {HEAD}" in err


def test_the_draft_names_class_and_rule_where_there_is_no_sheet(bench, tmp_path, capsys):
    code, _, err = verify(capsys, tmp_path, sheet=None)
    assert code == 2
    assert "no head_class; name one in the sheet" in err
    bench("draft.json", dump_record(seal(draft(head_class="H0.05", decision_rule="simple"))))
    assert verify(capsys, tmp_path, sheet=None)[0] == 0
    record = record_in(tmp_path)
    assert {v.rule for v in record.as_found.verdicts} == {"simple"}
    assert record.as_found.verdicts[0].high == "0.05"


def test_the_second_run_is_judged_as_the_first_was(bench, tmp_path, capsys):
    adjusted = draft(adjusted=True, coefficients_before=Coefficients())
    bench("draft.json", dump_record(seal(adjusted)))
    verify(capsys, tmp_path)
    for changed, says in (
        (SHEET.replace("H0.02", "H0.05"), "head_class is H0.05, and the record's other run"),
        ('decision_rule = "simple"\n' + SHEET, "decision_rule is simple, and the record's"),
    ):
        bench("sheet.toml", changed)
        code, _, err = verify(capsys, tmp_path, "--as", "left")
        assert code == 2
        assert says in err


def test_a_run_taken_again_may_be_judged_anew(bench, tmp_path, capsys):
    verify(capsys, tmp_path)
    bench("sheet.toml", SHEET.replace("H0.02", "H0.05"))
    assert verify(capsys, tmp_path)[0] == 0
    assert record_in(tmp_path).head_class == "H0.05"


def test_a_class_of_ones_own_in_the_sheet(bench, tmp_path, capsys):
    own = '\n[head_class]\nname = "KLW-A"\nincl_y = { "max-error_deg" = 0.03 }\n'
    bench("sheet.toml", SHEET.replace('head_class = "H0.02"\n', own))
    assert verify(capsys, tmp_path)[0] == 0
    (verdict,) = record_in(tmp_path).as_found.verdicts
    assert (verdict.high, record_in(tmp_path).head_class) == ("0.03", "KLW-A")


@pytest.mark.parametrize("seed", ["-1", str(2**53)])
def test_a_seed_that_no_record_holds_is_refused(bench, tmp_path, capsys, seed):
    code, _, err = verify(capsys, tmp_path, "--seed", seed)
    assert code == 2
    assert "--seed" in err


def test_a_file_that_is_not_there_is_named(bench, tmp_path, capsys):
    code, _, err = verify(capsys, tmp_path, file="lost.csv")
    assert code == 2
    assert "lost.csv: no such file" in err


def test_a_signed_record_cannot_change(bench, tmp_path, capsys):
    signature = Signature(key_id="a" * 16, value="A" * 86 + "==")
    bench("draft.json", dump_record(seal(draft(signatures=(signature,)))))
    code, _, err = verify(capsys, tmp_path)
    assert code == 2
    assert "draft.json: is signed and cannot change; begin a new draft" in err


def test_a_record_of_version_1_is_no_draft(bench, tmp_path, capsys):
    first = Path(__file__).parents[1] / "calibration" / "records" / "version-1.json"
    bench("draft.json", first.read_text(encoding="utf-8"))
    code, _, err = verify(capsys, tmp_path)
    assert code == 2
    assert "is of version 1" in err


def test_a_draft_from_standard_input_wants_a_place_to_go(bench, tmp_path, capsys, monkeypatch):
    content = (tmp_path / "draft.json").read_bytes()
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(content)))
    arguments = [str(tmp_path / "found.csv"), "--record", "-", "--references"]
    arguments += [str(tmp_path / "references.toml"), "--sheet", str(tmp_path / "sheet.toml")]
    code = main(["verify", *arguments])
    _, err = capsys.readouterr()
    assert code == 2
    assert "--output: the draft came from standard input; name a file" in err


def test_the_answer_goes_over_no_signed_record_and_no_readings(bench, tmp_path, capsys):
    for name, reason in (("signed.json", "signed"), ("found.csv", "is no draft")):
        if name == "signed.json":
            (tmp_path / name).write_bytes(SIGNED.read_bytes())
        before = (tmp_path / name).read_bytes()
        code, out, err = verify(capsys, tmp_path, "-o", str(tmp_path / name))
        assert (code, out, err.count("\n")) == (2, "", 1)
        assert f"{name}: is there already" in err
        assert reason in err
        assert (tmp_path / name).read_bytes() == before


def by_the_clock(text, start):
    """Return a file's rows ten seconds apart from a moment of the day on."""
    head, *rows = text.splitlines()
    moments = (start + timedelta(seconds=10 * i) for i in range(len(rows)))
    timed = [
        row.rpartition(",")[0] + f",{moment:%Y-%m-%dT%H:%M:%S}Z"
        for row, moment in zip(rows, moments, strict=True)
    ]
    return "\n".join([head, *timed]) + "\n"


NINE = datetime(2026, 11, 25, 9, 0, 0)


@pytest.mark.parametrize(
    ("first", "second", "left", "says"),
    [
        ("found", "left", tilts(), "this file is the one of the verification as found"),
        ("left", "found", tilts(), "this file is the one of the verification as left"),
        # A copy with another line end, and readings of which some are of the other run.
        ("found", "left", by_the_clock(tilts(), NINE) + "\n", "as found from 2026-11-25T09:00:00Z"),
        (
            "found",
            "left",
            by_the_clock(tilts(seed=4), NINE + timedelta(seconds=40)),
            "taken from 2026-11-25T09:00:40Z",
        ),
    ],
    ids=["same file as left", "same file as found", "same times", "times that overlap"],
)
def test_one_measurement_is_not_both_as_found_and_as_left(
    bench, tmp_path, capsys, first, second, left, says
):
    lost = "as found: lost with the first sheet"
    without = draft(adjusted=True, coefficients_before=Coefficients(), deviations=lost)
    bench("draft.json", dump_record(seal(without)))
    if left != tilts():
        bench("found.csv", by_the_clock(tilts(), NINE))
    bench("again.csv", left)
    if first == "left":
        adjust(tmp_path)
    assert verify(capsys, tmp_path, "--as", first)[0] == 0
    before = (tmp_path / "draft.json").read_bytes()
    code, out, err = verify(capsys, tmp_path, "--as", second, file="again.csv")
    assert (code, out) == (2, "")
    assert says in err
    assert "measure the points again" in err
    assert err.count("\n") == 1
    assert (tmp_path / "draft.json").read_bytes() == before


def test_a_run_after_the_other_is_kept_with_its_times_and_may_be_taken_again(
    bench, tmp_path, capsys
):
    bench("draft.json", dump_record(seal(draft(adjusted=True, coefficients_before=Coefficients()))))
    bench("found.csv", by_the_clock(tilts(), NINE))
    assert verify(capsys, tmp_path)[0] == 0
    last = datetime.fromisoformat(record_in(tmp_path).as_found.taken_to).replace(tzinfo=None)
    bench("left.csv", by_the_clock(tilts(seed=4), last))
    adjust(tmp_path, record_in(tmp_path).as_found.taken_to)
    for _ in range(2):
        assert verify(capsys, tmp_path, "--as", "left", file="left.csv")[0] == 0
        assert verify(capsys, tmp_path)[0] == 0
    record = record_in(tmp_path)
    assert record.as_found.taken_from == "2026-11-25T09:00:00Z"
    assert record.as_left.taken_from == record.as_found.taken_to
