"""``levelhead calibrate`` bar, encoder and still: what was put in comes out, to rounding."""

import itertools
import json
import math
from pathlib import Path

import numpy as np
import pytest

from calibration.records.text import load_record
from ingest.cli import main
from tests.rig.benchfiles import table

BEFORE = Path(__file__).parents[1] / "calibration" / "records" / "version-3.json"
SHEET = """
issued = 2026-11-25
[[head]]
head_id = "00a1b2c3d4e5f607"
record_id = "cal-2026-0001"
ports.azimuth_cross = { forward_m = 0.6, outward_m = 0.3, u_forward_m = 0.003, u_outward_m = 0.003 }
[[head]]
letter = "B"
head_id = "00a1b2c3d4e5f608"
record_id = "cal-2026-0002"
ports.azimuth_cross = { forward_m = 0.6, outward_m = 0.3, u_forward_m = 0.003, u_outward_m = 0.003 }
"""
ZERO_Y, ZERO_X, ZERO_AZIMUTH = (0.021, -0.034), (0.011, 0.008), (0.040, -0.015)
PORT_B_LESS_A_M = 0.0004


def bar_rows(length_m=2.0, noise_deg=0.0, seed=0):
    """Read the bar in all eight attitudes; degrees, first order, as the docstring of the fit."""
    rng = np.random.default_rng(seed)
    for e, r, t in itertools.product((0, 1), repeat=3):
        turned, rolled = 1 - 2 * t, 1 - 2 * r
        for head in (0, 1):
            end = head ^ e
            way = 1 - 2 * end
            y = ZERO_Y[head] + turned * 0.12 + way * (rolled * (0.006, -0.004)[end] - 0.003)
            x = ZERO_X[head] - turned * 0.07 + (0.005, 0.002)[end] + rolled * 0.006
            port = math.degrees(PORT_B_LESS_A_M / length_m) * way * (1, -1)[head]
            azimuth = -90 * way + ZERO_AZIMUTH[head] - rolled * (0.004, -0.006)[end] + port
            y, x, azimuth = (v + rng.normal(0, noise_deg) for v in (y, x, azimuth))
            yield f"{t},{r},{e},{'AB'[head]},{y:.12f},{x:.12f},{azimuth:.12f}"


BAR = "turned,rolled,exchanged,head,incl_y_deg,incl_x_deg,azimuth_deg"


@pytest.fixture
def bench(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "sheet.toml").write_text(SHEET)
    return tmp_path


def told(capsys, line, code=0):
    assert main(["calibrate", *line.split(), "--json"]) == code
    return json.loads(capsys.readouterr().out)


def values(fit):
    return {each["name"]: each["value"] for each in fit["coefficients"]}


def record(bench, letter):
    return load_record((bench / f"{letter}.json").read_text(), letter)


ON_BAR = "bar bar.csv --length-mm 2000 --sheet sheet.toml -o A.json --output-b B.json"


def test_the_bar_parts_zeros_from_bar_and_stand(bench, capsys):
    (bench / "bar.csv").write_text(table(BAR, bar_rows()))
    found = told(capsys, ON_BAR)
    along, across, sight = (values(found[name]) for name in ("incl_y", "incl_x", "azimuth"))
    for i, head in enumerate("AB"):
        # Without a draft's tilt a two-axis default corrects nothing.
        assert along[f"zero {head}"] == pytest.approx(ZERO_Y[i], rel=1e-9)
        assert sight[f"zero {head}"] == pytest.approx(ZERO_AZIMUTH[i], rel=1e-9)
    assert across["zero B - zero A"] == pytest.approx(ZERO_X[1] - ZERO_X[0], rel=1e-8)
    assert across["zero A + twist 1"] == pytest.approx(ZERO_X[0] + 0.005, rel=1e-9)
    assert across["twist 2 - twist 1"] == pytest.approx(-0.003, rel=1e-8)
    assert (across["stand"], across["faces"]) == pytest.approx((-0.07, 0.006), rel=1e-9)
    assert along["sag"] == pytest.approx(0.003, rel=1e-9)
    assert along["stand"] == pytest.approx(0.12, rel=1e-9)
    assert sight["port B - port A"] == pytest.approx(PORT_B_LESS_A_M, rel=1e-8)


def test_without_drafts_the_bar_is_fitted_alone_and_one_draft_is_not_enough(bench, capsys):
    (bench / "bar.csv").write_text(table(BAR, bar_rows()))
    found = told(capsys, "bar bar.csv --length-mm 2000")
    assert values(found["incl_y"])["zero A"] == pytest.approx(ZERO_Y[0], rel=1e-9)
    assert not list(bench.glob("*.json"))
    told(capsys, ON_BAR)
    before = (bench / "A.json").read_bytes()
    assert main(["calibrate", "bar", "bar.csv", "--length-mm", "2000", "--onto", "A.json"]) == 2
    assert "the other none" in capsys.readouterr().err
    assert (bench / "A.json").read_bytes() == before


def test_the_bar_mends_both_drafts(bench, capsys):
    (bench / "bar.csv").write_text(table(BAR, bar_rows(noise_deg=0.0005)))
    told(capsys, ON_BAR)
    a, b = record(bench, "A"), record(bench, "B")
    for i, draft in enumerate((a, b)):
        encoder = draft.encoders["azimuth_cross"]
        assert encoder.zero_deg == pytest.approx(ZERO_AZIMUTH[i], abs=0.001)
        assert 0 < encoder.u_zero_deg < 0.001
    apart = b.ports["azimuth_cross"].forward_m - a.ports["azimuth_cross"].forward_m
    assert apart == pytest.approx(PORT_B_LESS_A_M, abs=2e-5)
    assert a.ports["azimuth_cross"].u_forward_m == pytest.approx(0.003 / math.sqrt(2), rel=1e-3)


def test_a_mended_pair_reads_level_when_it_goes_on_the_bar_again(bench, capsys):
    (bench / "bar.csv").write_text(table(BAR, bar_rows(noise_deg=0.0002)))
    told(capsys, ON_BAR)
    (bench / "bar.csv").write_text(table(BAR, bar_rows(noise_deg=0.0002, seed=1)))
    again = told(capsys, "bar bar.csv --length-mm 2000 --onto A.json --onto-b B.json")
    for channel, head in itertools.product(("incl_y", "azimuth"), "AB"):
        assert values(again[channel])[f"zero {head}"] == pytest.approx(0.0, abs=0.001)
    assert record(bench, "A").encoders["azimuth_cross"].zero_deg == pytest.approx(0.04, abs=0.001)


def refused(bench, capsys, line, code):
    """Run a calibration that is refused in one line and writes nothing; return the line."""
    before = sorted(bench.iterdir())
    assert main(["calibrate", *line.split()]) == code
    err = capsys.readouterr().err
    assert len(err.splitlines()) == 1
    assert sorted(bench.iterdir()) == before
    return err


def test_azimuths_in_radians_are_refused_by_row(bench, capsys):
    rows = [row.rpartition(",") for row in bar_rows()]
    wrong = [f"{start},{math.radians(float(angle)):.9f}" for start, _, angle in rows]
    (bench / "bar.csv").write_text(table(BAR, wrong))
    err = refused(bench, capsys, ON_BAR, 2)
    assert "bar.csv, row 1: azimuth_deg of this attitude is -1.569968008 and 1.570839247" in err
    assert "half a turn apart; give degrees" in err


def test_a_bar_in_another_unit_is_refused_by_its_length(bench, capsys):
    (bench / "bar.csv").write_text(table(BAR, bar_rows()))
    err = refused(bench, capsys, ON_BAR.replace("2000", "2"), 2)
    assert "bar.csv: a bar of 2 mm; 200 to 10000 mm are possible; give its length in mm" in err


@pytest.mark.parametrize(
    ("at", "words"),
    [(0, "turned end for end"), (1, "rolled over"), (2, "read with the heads exchanged")],
)
def test_a_move_of_the_bar_that_nobody_made_is_named(bench, capsys, at, words):
    rows = [row for row in bar_rows() if row.split(",")[at] == "0"]
    (bench / "bar.csv").write_text(table(BAR, rows))
    assert main(["calibrate", *ON_BAR.split()]) == 3
    told = f"bar.csv: the bar was never {words}; read both heads so, too"
    assert told in capsys.readouterr().out
    assert not list(bench.glob("*.json"))


HARMONICS = {1: (0.06, -0.04), 2: (0.011, 0.002), 4: (-0.001, -0.005)}
ZERO = 0.046


def error_deg(raw_deg):
    raw = np.radians(raw_deg)
    sums = (c * np.cos(k * raw) + s * np.sin(k * raw) for k, (c, s) in HARMONICS.items())
    return ZERO + sum(sums)


def turn(backlash_deg=0.0):
    raw = np.arange(0.0, 360.0, 15.0)
    rows = []
    for way, order in (("up", raw), ("down", raw[::-1])):
        for r in order:
            off = -backlash_deg if way == "down" else 0.0
            shown = (r + off + 180) % 360 - 180
            rows.append(f"rotation,{shown:.13f},{r - error_deg(r):.13f},{way}")
    return table("channel,raw_deg,true_deg,direction", rows)


def harmonics(found):
    fit = values(found)
    return {k: (fit[f"cos {k}"], fit[f"sin {k}"]) for k in HARMONICS}


SEAT = """
[seat.rotation]
value_deg = 0.3
U_deg = 0.04
basis = "keyed to the spindle"
"""


def test_a_turn_tells_harmonics_and_no_zero(bench, capsys):
    (bench / "turn.csv").write_text(turn())
    (found,) = told(capsys, "encoder turn.csv --sheet sheet.toml -o A.json")["channels"]
    assert list(found["open"]) == ["zero"]
    draft = record(bench, "A")
    assert draft.encoders["rotation"].zero_open
    assert draft.fits[0].undetermined == ("zero",)
    assert draft.budgets == ()
    for k, pair in harmonics(found).items():
        assert pair == pytest.approx(HARMONICS[k], rel=1e-9)


def test_a_stated_seat_tells_the_zero_with_its_own_line_in_the_budget(bench, capsys):
    (bench / "turn.csv").write_text(turn())
    (bench / "sheet.toml").write_text(SHEET + SEAT)
    told(capsys, "encoder turn.csv --sheet sheet.toml -o A.json")
    draft = record(bench, "A")
    encoder, (budget,) = draft.encoders["rotation"], draft.budgets
    # The encoder truly stands at 0.3 deg where the plate says 0: 0.3 of what it reads is true.
    assert encoder.zero_deg == pytest.approx(ZERO - 0.3, abs=1e-9)
    assert encoder.u_zero_deg == pytest.approx(0.02, abs=1e-9)
    seat = next(line for line in budget.lines if line.source.startswith("seat"))
    assert (seat.u, seat.divisor, seat.contribution) == ("0.02", "2", "0.02")
    assert float(budget.u) == pytest.approx(encoder.u_zero_deg, rel=1e-3)
    assert "keyed to the spindle" in draft.fits[0].method


def test_what_was_in_force_before_tells_no_zero(bench, capsys):
    """A head may have been taken apart since; and its old zero stood on other harmonics."""
    (bench / "turn.csv").write_text(turn())
    (bench / "sheet.toml").write_text(SHEET.replace("cal-2026-0001", "cal-2026-0301"))
    told(capsys, f"encoder turn.csv --sheet sheet.toml --previous {BEFORE} -o A.json")
    draft = record(bench, "A")
    assert draft.coefficients_before.encoders["rotation"].u_zero_deg == 0.01
    assert draft.encoders["rotation"].zero_open


def test_a_turn_with_a_row_that_cannot_be_is_refused_by_row(bench, capsys):
    lines = turn().splitlines()
    cells = lines[5].split(",")
    lines[5] = ",".join([*cells[:3], "6.0", *cells[4:]])
    (bench / "turn.csv").write_text("\n".join(lines) + "\n")
    err = refused(bench, capsys, "encoder turn.csv", 3)
    assert "turn.csv, row 5: raw_deg 60.0" in err
    assert "at true_deg 6.0 is +5" in err


def test_a_reference_in_radians_is_refused_by_row(bench, capsys):
    head, *rows = turn().splitlines()
    cells = (row.split(",") for row in rows)
    wrong = [",".join([*c[:3], f"{math.radians(float(c[3])):.9f}", c[4]]) for c in cells]
    (bench / "turn.csv").write_text("\n".join([head, *wrong]) + "\n")
    err = refused(bench, capsys, "encoder turn.csv", 3)
    assert "turn.csv, row " in err
    assert "radians" in err


def test_both_ways_tell_the_backlash_falling_less_rising(bench, capsys):
    (bench / "turn.csv").write_text(turn(backlash_deg=0.012))
    (found,) = told(capsys, "encoder turn.csv")["channels"]
    assert found["backlash_deg"] == pytest.approx(-0.012, rel=1e-6)


def test_an_encoder_that_counts_backwards_is_refused(bench, capsys):
    rows = [f"steer,{-a},{a},up" for a in range(0, 360, 30)]
    (bench / "turn.csv").write_text(table("channel,raw_deg,true_deg,direction", rows))
    assert main(["calibrate", "encoder", "turn.csv"]) == 2
    assert "turn.csv: steer: counts backwards" in capsys.readouterr().err


def test_half_a_turn_leaves_harmonics_uncertain_and_two_points_open(bench, capsys):
    rows = [f"steer,{a},{a},up" for a in (0, 90)]
    (bench / "turn.csv").write_text(table("channel,raw_deg,true_deg,direction", rows))
    (found,) = told(capsys, "encoder turn.csv", 3)["channels"]
    assert "cos 1" in found["open"]
    assert found["part"] is None


def closure():
    uneven = [0.0, 52.3, 101.9, 155.2, 206.1, 257.0, 308.8]
    rows = []
    for start, first in enumerate((3.0, 78.0, 157.0), 1):
        for position, at in enumerate(uneven, 1):
            raw = first + at
            for _ in range(60):
                raw = first + at + error_deg(raw)
            rows.append(f"rotation,{start},{position},{(raw + 180) % 360 - 180:.13f}")
    return table("channel,start,position,raw_deg", rows)


def test_rounds_of_a_plate_tell_harmonics_without_a_reference(bench, capsys):
    (bench / "closure.csv").write_text(closure())
    (found,) = told(capsys, "encoder closure.csv")["channels"]
    for k, pair in harmonics(found).items():
        assert pair == pytest.approx(HARMONICS[k], rel=1e-7)
    assert list(found["open"]) == ["zero"]
    assert found["part"]["u_zero_deg"] == 180.0


def test_rounds_keep_a_zero_that_the_draft_knows(bench, capsys):
    (bench / "turn.csv").write_text(turn())
    (bench / "closure.csv").write_text(closure())
    (bench / "sheet.toml").write_text(SHEET + SEAT)
    told(capsys, "encoder turn.csv --sheet sheet.toml -o A.json")
    told(capsys, "encoder closure.csv --onto A.json")
    encoder = record(bench, "A").encoders["rotation"]
    assert encoder.zero_deg == pytest.approx(ZERO - 0.3, rel=1e-9)
    assert encoder.u_zero_deg < 1.0


def still(n, noise, drift=None, interval=0.1, seed=5):
    rng = np.random.default_rng(seed)
    time = np.arange(n) * interval
    y = 0.2 + rng.normal(0, noise, n)
    degc = np.full(n, 21.0)
    if drift is not None:
        warm_up, tau, per_degc = drift
        degc = 21.0 + 3.0 * np.sin(time / 37.0)
        y += warm_up * np.exp(-time / tau) + per_degc * (degc - 20.0)
    rows = (f"{t:.3f},{a:.9f},{c:.6f}" for t, a, c in zip(time, y, degc, strict=True))
    return table("time_s,incl_x_deg,temperature_degc", rows)


def test_white_noise_has_the_density_of_its_scatter(bench, capsys):
    (bench / "still.csv").write_text(still(4000, 0.003))
    (found,) = told(capsys, "still still.csv")["channels"]
    # One-sided density of white noise: sigma times the root of twice the interval.
    assert float(found["noise_density"]) == pytest.approx(0.003 * math.sqrt(0.2), rel=0.05)
    assert found["noise_deg"] == pytest.approx(0.003, rel=0.05)
    assert found["warm_up"] is None
    assert found["per_degc"] is None


def test_rows_that_are_means_tell_the_noise_of_one_reading(bench, capsys):
    lines = still(4000, 0.003 / math.sqrt(5)).splitlines()
    means = [f"{lines[0]},n", *(f"{line},5" for line in lines[1:])]
    (bench / "still.csv").write_text("\n".join(means) + "\n")
    (found,) = told(capsys, "still still.csv")["channels"]
    assert found["noise_deg"] == pytest.approx(0.003, rel=0.05)
    # The density is that of the readings, however they were averaged.
    assert float(found["noise_density"]) == pytest.approx(0.003 * math.sqrt(0.04), rel=0.05)


def test_warm_up_and_drift_are_told_where_they_are_proven(bench, capsys):
    (bench / "still.csv").write_text(still(6000, 0.0005, drift=(-0.05, 80.0, 0.002)))
    (found,) = told(capsys, "still still.csv")["channels"]
    assert float(found["warm_up"]) == pytest.approx(-0.05, rel=0.03)
    assert float(found["warm_up_s"]) == pytest.approx(80.0, rel=0.05)
    assert float(found["per_degc"]) == pytest.approx(0.002, rel=0.03)


def test_the_curve_and_the_noise_go_into_the_draft(bench, capsys):
    (bench / "still.csv").write_text(still(1000, 0.003))
    found = told(capsys, "still still.csv --sheet sheet.toml -o A.json --plot still.svg")
    draft = record(bench, "A")
    (kept,) = draft.stability
    assert [p.deviation for p in kept.curve] == found["channels"][0]["deviation_deg"]
    assert draft.channels["incl_x"].noise_deg == pytest.approx(0.003, rel=0.1)
    assert not draft.adjusted
    assert (bench / "still-incl_x.svg").is_file()


def test_a_gap_in_a_recording_is_named(bench, capsys):
    lines = still(40, 0.003).splitlines()
    gone = [lines[0], *(f"{i},{line.partition(',')[2]}" for i, line in enumerate(lines[2:], 1))]
    del gone[20]
    gone = [gone[0], *(f"{i},{line.partition(',')[2]}" for i, line in enumerate(gone[1:], 1))]
    (bench / "still.csv").write_text("\n".join(gone) + "\n")
    assert main(["calibrate", "still", "still.csv"]) == 2
    assert "row 20 is not one interval after" in capsys.readouterr().err


def test_a_drawing_goes_over_a_drawing_alone(bench, capsys):
    (bench / "still.csv").write_text(still(1000, 0.003))
    for _ in range(2):
        assert main(["calibrate", "still", "still.csv", "--plot", "still.svg"]) == 0
    other = bench / "still-incl_x.csv"
    other.write_text("row,raw\n1,2\n")
    assert main(["calibrate", "still", "still.csv", "--plot", "still.csv"]) == 2
    assert "still-incl_x.csv: is there already and is no drawing" in capsys.readouterr().err
    assert other.read_text() == "row,raw\n1,2\n"
