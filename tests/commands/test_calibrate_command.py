"""``levelhead calibrate``: known sensors come back, drafts grow, what is open is said."""

import itertools
import json
import math
import re
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from calibration.records.text import load_record
from ingest.cli import main
from tests.rig.benchfiles import TWO_HEADS, table

SHEET = """
issued = 2026-11-25
references = ["KL-SINE-1"]
"""
SHEET += TWO_HEADS
REGISTER = """
[[reference]]
id = "KL-SINE-1"
kind = "sine-bar"
certificate = "FMO-2026-118"
certificate_sha256 = "{sha}"
issuer = "Fenmoor Metrology Office"
value = 200.000
unit = "mm"
U = 0.02
k = 2
date = 2026-01-12
due = {due}
U_angle_deg = 0.0006
"""
BIAS = np.array([0.004, -0.006, 0.003])
TURN_RAD = 0.004
SHAPE = np.array([[1.011, 0.002, -0.001], [0.002, 1.009, 0.003], [-0.001, 0.003, 1.012]])
ABOUT_UP = np.array(
    [
        [math.cos(TURN_RAD), -math.sin(TURN_RAD), 0.0],
        [math.sin(TURN_RAD), math.cos(TURN_RAD), 0.0],
        [0.0, 0.0, 1.0],
    ]
)
MATRIX = ABOUT_UP @ SHAPE
"""True = MATRIX (raw - BIAS), the record's model, inverted here apart from the code under test."""
AXES = "incl_x_deg,incl_y_deg,incl_z_deg"


def raw(true, sensed=MATRIX):
    return np.linalg.solve(sensed, np.asarray(true)) + BIAS


def angles(true):
    return ",".join(f"{math.degrees(math.asin(s)):.14f}" for s in raw(true))


def sphere(count=18):
    rows = []
    signs = (s for s in itertools.product((1, 0, -1), repeat=3) if 1 <= sum(map(abs, s)) <= 2)
    for i, sign in enumerate(itertools.islice(signs, count)):
        leaning = np.add(sign, (0.11, -0.09, 0.1))
        rows.append(f"a{i},{angles(leaning / np.linalg.norm(leaning))}")
    return table(f"attitude,{AXES}", rows)


def level(axis, known, other=0.0):
    x, y = (known, other) if axis == "x" else (other, known)
    return np.array([x, y, math.sqrt(1 - x * x - y * y)])


def steps(tilt=5e-4, stack=17.431):
    rows = []
    for axis, (height, sign) in itertools.product("xy", ((0, 1), (stack, 1), (stack, -1))):
        known = math.sin(math.asin(sign * height / 200) + tilt)
        rows.append(f"{axis},{height},{sign},{angles(level(axis, known))}")
    return table(f"axis,height_mm,sign,{AXES}", rows)


def reversal(tilt=5e-4):
    ways = itertools.product("xy", (("as-marked", 1), ("turned", -1)))
    rows = [f"{a},{way},{angles(level(a, math.sin(s * tilt)))}" for a, (way, s) in ways]
    return table(f"axis,facing,{AXES}", rows)


@pytest.fixture
def bench(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "sheet.toml").write_text(SHEET)
    (tmp_path / "references.toml").write_text(REGISTER.format(sha="a" * 64, due="2027-01-12"))
    for name, text in (("sphere", sphere()), ("steps", steps()), ("reversal", reversal())):
        (tmp_path / f"{name}.csv").write_text(text)
    return tmp_path


def told(capsys, line, code=0):
    assert main(["calibrate", *line.split(), "--json"]) == code
    return json.loads(capsys.readouterr().out)


def said(capsys, line, code=0):
    assert main(["calibrate", *line.split()]) == code
    return capsys.readouterr()


ALL = "tilt sphere.csv steps.csv reversal.csv"


def test_a_known_sensor_comes_back_from_all_its_files(bench, capsys):
    part = told(capsys, f"{ALL} --sine-bar-mm 200")["part"]
    assert np.radians(part["bias_deg"]) == pytest.approx(BIAS, rel=1e-9)
    assert np.array(part["matrix"]) == pytest.approx(MATRIX, rel=1e-9, abs=1e-12)


def test_the_sphere_alone_leaves_the_turn_open_and_counts_it(bench, capsys):
    found = told(capsys, "tilt sphere.csv")
    assert set(found["open"]) == {"turn x", "turn y", "turn z"}
    assert np.array(found["part"]["matrix"]) == pytest.approx(SHAPE, rel=1e-9, abs=1e-12)
    off = [found["part"]["u_matrix"][i][j] for i, j in itertools.permutations(range(3), 2)]
    assert min(off) >= math.radians(1.0)


def test_what_is_open_is_said_with_what_settles_it(bench, capsys):
    text = said(capsys, "tilt sphere.csv").out
    assert "still open: turn z; raise the head on the sine bar" in text
    assert "still open: turn x; turn the head half round" in text


def test_too_few_attitudes_end_with_3_and_say_which_to_take_next(bench, capsys):
    (bench / "few.csv").write_text(sphere(7))
    text = said(capsys, "tilt few.csv -o A.json --sheet sheet.toml", 3).out
    assert "bias x  " in text
    assert "still open: m xy" in text
    assert "next: " in text
    assert "Let go of it" in text
    assert not (bench / "A.json").exists()


def sphere_with_a_row_off(bench, off_deg):
    lines = sphere().splitlines()
    cells = lines[5].split(",")
    lines[5] = ",".join([*cells[:2], f"{float(cells[2]) + off_deg:.6f}", *cells[3:]])
    rng = np.random.default_rng(3)
    noisy = [lines[0]]
    for line in lines[1:]:
        number, name, *values = line.split(",")
        moved = (f"{float(v) + rng.normal(0, 5e-4):.6f}" for v in values)
        noisy.append(",".join([number, name, *moved]))
    (bench / "sphere.csv").write_text("\n".join(noisy) + "\n")


def test_a_row_that_does_not_fit_is_named(bench, capsys):
    sphere_with_a_row_off(bench, 0.02)
    found = told(capsys, "tilt sphere.csv")
    assert found["fits"]["incl"]["distrusted"][0] == "sphere.csv, row 5"
    assert "do not fit the others: sphere.csv, row 5 (" in said(capsys, "tilt sphere.csv").out
    # 9 degrees of freedom: t for 95.45 % is 2.32 (GUM table G.2).
    for each in found["fits"]["incl"]["coefficients"][:9]:
        assert each["U"] / each["u"] == pytest.approx(2.32, abs=0.005)


def test_a_sheet_makes_a_draft_and_onto_extends_it(bench, capsys):
    said(capsys, f"{ALL} --sine-bar-mm 200 --sheet sheet.toml -o A.json")
    rows = [f"steer,{a + 0.25},{a},{way}" for way in ("up", "down") for a in range(0, 360, 30)]
    (bench / "turn.csv").write_text(table("channel,raw_deg,true_deg,direction", rows))
    said(capsys, "encoder turn.csv --onto A.json")
    record = load_record((bench / "A.json").read_text(), "A.json")
    assert record.head_id == "00a1b2c3d4e5f607"
    assert record.tilt is not None
    assert record.encoders["steer"].zero_deg == pytest.approx(0.25)
    assert [raw.what for raw in record.raw] == [
        *("sphere.csv", "steps.csv", "reversal.csv"),
        "turn.csv",
    ]
    assert record.adjusted
    assert not record.signatures


def test_files_given_again_take_the_place_of_the_first(bench, capsys):
    said(capsys, f"{ALL} --sine-bar-mm 200 --sheet sheet.toml -o A.json")
    said(capsys, f"{ALL} --sine-bar-mm 200 --onto A.json")
    record = load_record((bench / "A.json").read_text(), "A.json")
    assert len(record.fits) == 1
    assert len(record.raw) == 3


def test_the_register_says_the_bar_and_its_uncertainty_counts(bench, capsys):
    plain = told(capsys, f"{ALL} --sine-bar-mm 200")["part"]
    line = f"{ALL} --sheet sheet.toml --references references.toml -o A.json"
    part = told(capsys, line)["part"]
    # U 0.02 mm of 200 mm, k 2: 5e-5 of the scale.
    grown = part["u_matrix"][0][0] ** 2 - plain["u_matrix"][0][0] ** 2
    assert math.sqrt(grown) == pytest.approx(5e-5, rel=1e-6)
    record = load_record((bench / "A.json").read_text(), "A.json")
    assert [use.id for use in record.references] == ["KL-SINE-1"]


def test_a_reference_out_of_date_stops_the_work(bench, capsys):
    (bench / "references.toml").write_text(REGISTER.format(sha="a" * 64, due="2026-11-24"))
    line = f"{ALL} --sheet sheet.toml --references references.toml -o A.json"
    assert "refused: " in said(capsys, line, 3).err
    assert not (bench / "A.json").exists()


def test_the_day_of_the_rows_is_the_day_of_the_work(bench, capsys):
    header, *rows = sphere().splitlines()
    dated = [
        f"{header},time",
        *(f"{row},2026-11-2{3 + i % 2}T10:00:00Z" for i, row in enumerate(rows)),
    ]
    (bench / "sphere.csv").write_text("\n".join(dated) + "\n")
    said(capsys, "tilt sphere.csv --sheet sheet.toml -o A.json")
    record = load_record((bench / "A.json").read_text(), "A.json")
    assert record.performed_from == date(2026, 11, 23)


def test_work_from_the_future_is_refused_by_sheet_and_by_row(bench, capsys):
    line = "tilt sphere.csv --sheet sheet.toml -o A.json"
    rows = (bench / "sphere.csv").read_text().splitlines()
    timed = [f"{rows[0]},time", f"{rows[1]},2999-03-01T08:00:00Z", *(f"{r}," for r in rows[2:])]
    (bench / "sphere.csv").write_text("\n".join(timed))
    err = said(capsys, line, code=2).err
    assert "sphere.csv, row 1: time is dated 2999-03-01" in err
    (bench / "sheet.toml").write_text(re.sub("(?m)^(issued|due) = 2", r"\1 = 8", SHEET))
    err = said(capsys, line, code=2).err
    assert "sheet.toml: the work is dated 8" in err
    assert "this machine's clock says" in err
    assert not (bench / "A.json").exists()


def test_a_method_takes_files_of_its_kind_alone(bench, capsys):
    said(capsys, "tilt sphere.csv --method sphere")
    assert "file expected here" in said(capsys, "tilt steps.csv --method sphere", 2).err


def test_one_attitude_of_the_bar_leaves_zeros_open_and_writes_nothing(bench, capsys):
    rows = ["0,0,0,A,0,0,-90", "0,0,0,B,0,0,90"]
    header = "turned,rolled,exchanged,head,incl_y_deg,incl_x_deg,azimuth_deg"
    (bench / "bar.csv").write_text(table(header, rows))
    assert "its length is not known" in said(capsys, "bar bar.csv", 2).err
    text = said(capsys, "bar bar.csv --length-mm 2000 --sheet sheet.toml", 3).out
    assert "still open: incl_y zero A" in text
    assert "next: " in text
    assert not list(bench.glob("*.json"))


def test_a_two_axis_head_needs_steps_and_a_reversal(bench, capsys):
    for name in ("steps", "reversal"):
        path = bench / f"{name}.csv"
        lines = [line.rpartition(",")[0] for line in path.read_text().splitlines()]
        path.write_text("\n".join(lines) + "\n")
    # Steps alone part the zero from the plate's tilt by second order alone: told, and badly.
    alone = told(capsys, "tilt steps.csv --sine-bar-mm 200")["part"]
    part = told(capsys, "tilt steps.csv reversal.csv --sine-bar-mm 200")["part"]
    assert min(alone["u_bias_deg"]) > 0.05
    assert max(part["u_bias_deg"]) < 0.002
    # What gravity's own share adds across the axes is one with the zero.
    assert np.radians(part["bias_deg"]) == pytest.approx(raw([0.0, 0.0, 1.0])[:2], abs=5e-5)
    assert "all three axes" in said(capsys, "tilt sphere.csv steps.csv --sine-bar-mm 200", 2).err


def test_a_row_that_reads_straight_up_is_named(bench, capsys):
    lines = sphere(9).splitlines()
    number, name, *_ = lines[3].split(",")
    lines[3] = f"{number},{name},90,0.1,0.2"
    (bench / "sphere.csv").write_text("\n".join(lines) + "\n")
    assert told(capsys, "tilt sphere.csv")["full_scale_rows"] == {"sphere.csv": [3]}
    assert "sphere.csv, rows 3: an axis reads straight up" in said(capsys, "tilt sphere.csv").out


def test_on_the_sphere_angles_may_scatter_more_near_the_vertical(bench, capsys):
    header, *rows = sphere().splitlines()
    steep = [max(abs(float(v)) for v in row.split(",")[2:]) for row in rows]
    spread = [0.049 / math.cos(math.radians(s)) for s in steep]
    rows = [f"{row},{s:.6f}" for row, s in zip(rows, spread, strict=True)]
    (bench / "sphere.csv").write_text("\n".join([f"{header},spread_deg", *rows]) + "\n")
    assert max(spread) > 0.05
    told(capsys, "tilt sphere.csv")
    rows[0] = f"{rows[0].rpartition(',')[0]},{1.1 * spread[0]:.6f}"
    (bench / "sphere.csv").write_text("\n".join([f"{header},spread_deg", *rows]) + "\n")
    assert "row 1: spread_deg" in said(capsys, "tilt sphere.csv", 2).err


SIGNED = Path(__file__).parents[1] / "calibration" / "records" / "version-2.json"


def test_a_signed_record_is_not_written_over(bench, capsys):
    (bench / "A.json").write_bytes(SIGNED.read_bytes())
    err = said(capsys, f"{ALL} --sine-bar-mm 200 --sheet sheet.toml -o A.json", code=2).err
    assert err.count("\n") == 1
    assert "A.json: is there already, signed" in err
    assert (bench / "A.json").read_bytes() == SIGNED.read_bytes()


@pytest.mark.parametrize("place", ["steps.csv", "sheet.toml", "."])
def test_what_is_no_draft_is_not_written_over(bench, capsys, place):
    before = {path: path.read_bytes() for path in bench.iterdir()}
    err = said(capsys, f"{ALL} --sine-bar-mm 200 --sheet sheet.toml -o {place}", code=2).err
    assert err.count("\n") == 1
    assert f"{place}: is there already and is no draft" in err
    assert {path: path.read_bytes() for path in bench.iterdir()} == before


def test_a_head_s_draft_is_not_written_over_by_the_other_head_s(bench, capsys):
    said(capsys, f"{ALL} --sine-bar-mm 200 --sheet sheet.toml -o A.json")
    before = (bench / "A.json").read_bytes()
    line = f"{ALL} --sine-bar-mm 200 --sheet sheet.toml --head"
    err = said(capsys, f"{line} B -o A.json", code=2).err
    assert "is the draft of head 00a1b2c3d4e5f607" in err
    assert (bench / "A.json").read_bytes() == before
    said(capsys, f"{line} A -o A.json")


def test_simulated_and_real_work_do_not_follow_each_other(bench, capsys):
    (bench / "before.json").write_bytes(SIGNED.read_bytes())
    head = load_record(SIGNED.read_text(), "before.json").head_id
    sheet = SHEET.replace("00a1b2c3d4e5f607", head).replace("cal-2026-0001", "cal-2026-0201")
    line = f"{ALL} --sine-bar-mm 200 --sheet sheet.toml --previous before.json -o A.json"
    (bench / "sheet.toml").write_text(f"simulated = true\n{sheet}")
    err = said(capsys, line, code=2).err
    assert err.count("\n") == 1
    assert "record cal-2026-0107: is of a head on a real bench" in err
    (bench / "sheet.toml").write_text(sheet)
    said(capsys, line)
    assert not load_record((bench / "A.json").read_text(), "A.json").simulated


def test_a_step_with_its_sign_turned_round_is_refused_with_its_figure(bench, capsys):
    lines = steps().splitlines()
    number, axis, height, _, *read = lines[2].split(",")
    wrong = [*lines[:2], ",".join([number, axis, height, "-1", *read]), *lines[3:]]
    (bench / "steps.csv").write_text("\n".join([*wrong, *(f"{n + 7}{r}" for n, r in more(lines))]))
    line = f"{ALL} --sine-bar-mm 200 --sheet sheet.toml -o A.json"
    err = said(capsys, line, code=3).err
    assert err.count("\n") == 1
    assert "steps.csv, row 2: incl_x_deg is +9.9" in err
    assert "deg off the others where height_mm 17.431 with sign -1 makes -5.000 deg" in err
    assert not (bench / "A.json").exists()


def test_a_step_three_tenths_off_is_refused_by_its_row_until_it_is_withdrawn(bench, capsys):
    header, *rows = steps().splitlines()
    rng = np.random.default_rng(7)
    rows = [*rows, *(f"{n + 7}{r}" for n, r in more([header, *rows]))]
    noisy = []
    for row in rows:
        *named, x, y, z = row.split(",")
        x, y, z = (float(v) + rng.normal(0, 5e-4) for v in (x, y, z))
        noisy.append([*named, x + 0.3 * (named[0] == "9"), y, z, int(named[0] == "9")])
    lines = [",".join(map(str, row)) for row in noisy]
    line = f"{ALL} --sine-bar-mm 200 --sheet sheet.toml -o A.json"
    (bench / "steps.csv").write_text("\n".join([f"{header},moved_by_hand", *lines]) + "\n")
    err = said(capsys, line, code=3).err
    assert err.count("\n") == 1
    assert "steps.csv, row 9, incl_x is +0.3" in err
    assert not (bench / "A.json").exists()
    (bench / "steps.csv").write_text("\n".join([f"{header},withdrawn", *lines]) + "\n")
    said(capsys, line)
    assert (bench / "A.json").exists()


def test_rows_that_hide_each_other_are_refused_by_their_scatter(bench, capsys):
    rng = np.random.default_rng(1)
    for name in ("steps", "reversal"):
        header, *rows = (bench / f"{name}.csv").read_text().splitlines()
        rows = [*rows, *(f"{n + len(rows) + 1}{r}" for n, r in more([header, *rows]))]
        for i, off in enumerate(rng.normal(0, 0.2, (len(rows), 2))):
            *named, x, y, z = rows[i].split(",")
            rows[i] = ",".join([*named, str(float(x) + off[0]), str(float(y) + off[1]), z])
        (bench / f"{name}.csv").write_text("\n".join([header, *rows]) + "\n")
    err = said(capsys, "tilt steps.csv reversal.csv --sine-bar-mm 200", code=3).err
    assert "one reading scatters by 0." in err
    assert err.count("\n") == 1


def more(lines):
    """Yield the rows again, as a second round: one wrong row in few is not told from the rest."""
    return enumerate(line[line.index(",") :] for line in lines[1:])


def test_a_reversal_that_was_never_turned_is_refused(bench, capsys):
    kept = [line for line in reversal().splitlines() if ",turned," not in line]
    rows = [f"{n}{line[line.index(',') :]}" for n, line in enumerate(kept[1:], 1)]
    (bench / "reversal.csv").write_text("\n".join([kept[0], *rows]) + "\n")
    err = said(capsys, f"{ALL} --sine-bar-mm 200 --sheet sheet.toml -o A.json", code=3).err
    assert err.count("\n") == 1
    assert "reversal.csv: axis x was read as-marked only" in err
    assert not (bench / "A.json").exists()


def test_readings_under_a_second_name_do_not_count_again(bench, capsys):
    (bench / "again.csv").write_text(steps())
    err = said(capsys, f"{ALL} again.csv --sine-bar-mm 200", code=2).err
    assert "again.csv: holds the same readings as steps.csv" in err
    line = "--sine-bar-mm 200 --sheet sheet.toml -o A.json"
    said(capsys, f"{ALL} {line}")
    renamed = ALL.replace("steps.csv", "again.csv")
    err = said(capsys, f"{renamed} --sine-bar-mm 200 --onto A.json", code=2).err
    assert "again.csv: holds the same readings as steps.csv" in err


def in_radians(text):
    """Turn what stands under ``incl_..._deg`` into radians, and leave the header as it is."""
    header, *rows = text.splitlines()
    angles = [i for i, name in enumerate(header.split(",")) if name.startswith("incl_")]
    out = [header]
    for row in rows:
        cells = row.split(",")
        for i in angles:
            cells[i] = f"{math.radians(float(cells[i])):.9f}"
        out.append(",".join(cells))
    return "\n".join(out) + "\n"


def refused_before_any_draft(bench, capsys, line, code):
    """Run a calibration that is refused in one line and writes nothing; return the line."""
    before = sorted(bench.iterdir())
    assert main(["calibrate", *line.split()]) == code
    err = capsys.readouterr().err
    assert len(err.splitlines()) == 1
    assert sorted(bench.iterdir()) == before
    return err


def scaled(text, column, by):
    """Multiply a column, and leave its name as it is."""
    header, *rows = text.splitlines()
    at = header.split(",").index(column)
    cells = (row.split(",") for row in rows)
    told = [",".join([*c[:at], f"{float(c[at]) * by:.6g}", *c[at + 1 :]]) for c in cells]
    return "\n".join([header, *told]) + "\n"


WITH_REGISTER = "tilt steps.csv reversal.csv --sheet sheet.toml --references references.toml"


def test_radians_under_a_header_of_degrees_are_refused_by_row_and_column(bench, capsys):
    (bench / "steps.csv").write_text(in_radians(steps()))
    (bench / "reversal.csv").write_text(in_radians(reversal()))
    err = refused_before_any_draft(bench, capsys, WITH_REGISTER, 2)
    assert "steps.csv, row 2: incl_x_deg" in err
    assert "it looks like radians; give incl_x_deg in degrees" in err


def test_radians_of_small_steps_are_refused_by_the_scale_they_make(bench, capsys):
    (bench / "steps.csv").write_text(in_radians(steps(stack=1.7431)))
    (bench / "reversal.csv").write_text(in_radians(reversal()))
    err = refused_before_any_draft(bench, capsys, WITH_REGISTER, 2)
    assert "the fit finds a scale of 57" in err
    assert "not radians" in err


@pytest.mark.parametrize(("unit", "size"), [("inches", 25.4), ("cm", 10.0), ("m", 1000.0)])
def test_heights_in_another_unit_are_refused_by_row_and_unit(bench, capsys, unit, size):
    (bench / "steps.csv").write_text(scaled(steps(), "height_mm", 1 / size))
    err = refused_before_any_draft(bench, capsys, WITH_REGISTER, 2)
    assert "steps.csv, row 2: incl_x_deg is +" in err
    assert f"the height looks like {unit}; give mm" in err


def test_a_height_above_the_bar_is_refused_by_row(bench, capsys):
    (bench / "steps.csv").write_text(scaled(steps(), "height_mm", 25.4))
    err = refused_before_any_draft(bench, capsys, WITH_REGISTER, 2)
    assert "steps.csv, row 2: height_mm is 442.747 on a sine bar of 200 mm" in err


def test_a_sine_bar_in_cm_is_refused_by_its_length(bench, capsys):
    err = refused_before_any_draft(bench, capsys, f"{ALL} --sine-bar-mm 20", 2)
    assert "steps.csv: a sine bar of 20 mm; they have 50 to 1000 mm" in err


def test_a_sphere_in_radians_is_refused_by_row(bench, capsys):
    (bench / "sphere.csv").write_text(in_radians(sphere()))
    err = refused_before_any_draft(bench, capsys, "tilt sphere.csv", 2)
    assert "sphere.csv, row 1: incl_x_deg, incl_y_deg and incl_z_deg together read 0.0" in err


def test_an_attitude_that_reads_no_gravity_is_refused(bench, capsys):
    lines = sphere().splitlines()
    lines[4] = "4,a3,0.5,-1,2"
    (bench / "sphere.csv").write_text("\n".join(lines) + "\n")
    err = refused_before_any_draft(bench, capsys, "tilt sphere.csv", 3)
    assert "sphere.csv, row 4: " in err
    assert "read 0.04 of gravity, limit 0.5" in err


@pytest.mark.parametrize("count", [6, 12])
def test_attitudes_that_do_not_span_are_refused_with_the_ones_to_take(bench, capsys, count):
    near_up = [np.array([0.3 * math.cos(a), 0.3 * math.sin(a), 0.95]) for a in range(count)]
    rows = [f"a{i},{angles(up / np.linalg.norm(up))}" for i, up in enumerate(near_up)]
    (bench / "sphere.csv").write_text(table(f"attitude,{AXES}", rows))
    err = refused_before_any_draft(bench, capsys, "tilt sphere.csv", 3)
    assert "sphere.csv: the attitudes do not span the sphere: incl_z_deg over" in err
    assert "take next: up axis up, down axis up" in err


def test_a_fit_that_does_not_settle_names_its_files(bench, capsys):
    lines = sphere(10).splitlines()
    cells = lines[3].split(",")
    lines[3] = ",".join([*cells[:2], f"{float(cells[2]) - 40:.4f}", *cells[3:]])
    (bench / "sphere.csv").write_text("\n".join(lines) + "\n")
    err = refused_before_any_draft(bench, capsys, "tilt sphere.csv steps.csv --sine-bar-mm 200", 2)
    assert "sphere.csv, steps.csv: the fit does not settle; a row is wrong, or" in err
