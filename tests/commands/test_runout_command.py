"""``levelhead runout``: the answer of the plain-file interface, exit codes, bad files."""

import io
import json
import math
import subprocess
import sys

import numpy as np
import pytest
from scipy import optimize

from ingest.cli import main

KEYS = {
    *("camber_deg", "u_camber_deg", "heading_deg", "u_heading_deg"),
    *("runout_deg", "u_runout_deg", "phase_deg", "u_phase_deg"),
    *("dilution", "n", "dof", "rms_deg", "harmonics", "outliers", "hints"),
    *("second_deg", "u_second_deg", "second_phase_deg", "u_second_phase_deg"),
    *("eccentricity_mm", "u_eccentricity_mm"),
}
STOPS = "rotation_deg,incl_y_deg\n0,1.0\n120,2.0\n240,1.5\n"


@pytest.fixture
def runout(capsys, monkeypatch):
    """Run the command on a text given as standard input."""

    def run(text, *words, side="left"):
        raw = text if isinstance(text, bytes) else text.encode()
        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(raw)))
        code = main(["runout", "-", "--side", side, *words])
        out, err = capsys.readouterr()
        return code, out, err

    return run


def as_csv(titles, *columns):
    rows = [",".join(f"{value:.9f}" for value in row) for row in zip(*columns, strict=True)]
    return "\n".join([",".join(titles), *rows]) + "\n"


def turned(n=36, noise_deg=0.01, seed=4):
    rng = np.random.default_rng(seed)
    rotation = np.arange(n) * 360.0 / n
    tilt = -1.0 + 0.8 * np.cos(np.radians(rotation - 40.0)) + noise_deg * rng.standard_normal(n)
    return rotation, tilt


def test_answers_with_the_keys_of_the_interface(runout):
    rotation, tilt = turned()
    text = as_csv(("rotation_deg", "incl_y_deg"), rotation, tilt)
    code, out, err = runout(text, "--json")
    answer = json.loads(out)
    assert (code, err, set(answer)) == (0, "", KEYS)
    assert (answer["n"], answer["dof"], answer["harmonics"]) == (36, 33, 1)
    assert answer["outliers"] == []
    assert answer["heading_deg"] is None
    assert answer["u_heading_deg"] is None
    assert answer["dilution"] == pytest.approx(1.0, abs=1e-9)


def test_agrees_with_a_sinusoid_fitted_by_scipy(runout):
    # On small angles the raw sinusoid is right to some 1e-5 deg; SciPy fits it unaided.
    rotation, tilt = turned()
    text = as_csv(("rotation_deg", "incl_y_deg"), rotation, tilt)
    answer = json.loads(runout(text, "--json")[1])
    values, covariance = optimize.curve_fit(
        lambda phi, c, a, b: c + a * np.cos(phi) + b * np.sin(phi), np.radians(rotation), tilt
    )
    u = np.sqrt(np.diag(covariance))
    assert answer["camber_deg"] == pytest.approx(-values[0], abs=1e-4)
    assert answer["runout_deg"] == pytest.approx(np.hypot(*values[1:]), abs=1e-4)
    phase = math.degrees(math.atan2(values[2], values[1]))
    assert answer["phase_deg"] == pytest.approx(phase, abs=1e-2)
    assert answer["u_camber_deg"] == pytest.approx(u[0], rel=1e-3)
    assert answer["u_runout_deg"] == pytest.approx(u[1], rel=1e-3)
    assert answer["u_phase_deg"] == pytest.approx(math.degrees(u[1] / 0.8), rel=0.02)


def test_the_side_turns_the_camber_round_and_nothing_else(runout):
    text = as_csv(("rotation_deg", "incl_y_deg"), *turned())
    left = json.loads(runout(text, "--json")[1])
    right = json.loads(runout(text, "--json", side="right")[1])
    assert right.pop("camber_deg") == -left.pop("camber_deg")
    assert left == right


def test_heading_is_minus_the_azimuth_of_a_true_level_wheel(runout):
    rotation = [0.0, 90.0, 180.0, 270.0]
    text = as_csv(("rotation_deg", "incl_y_deg", "azimuth_deg"), rotation, [0.0] * 4, [-89.75] * 4)
    answer = json.loads(runout(text, "--sigma-deg", "0.01", "--json")[1])
    assert answer["heading_deg"] == pytest.approx(89.75, abs=1e-9)
    assert answer["u_heading_deg"] == pytest.approx(0.005, rel=1e-9)
    assert answer["dof"] == 2


def test_a_stated_noise_gives_the_uncertainty(runout):
    answer = json.loads(runout(STOPS, "--sigma-deg", "0.02", "--json")[1])
    assert answer["u_camber_deg"] == pytest.approx(0.02 / math.sqrt(3), rel=2e-3)
    assert answer["dof"] == 0


def test_three_stops_of_unknown_noise_are_a_result_of_unknown_uncertainty(runout):
    code, out, _ = runout(STOPS, "--json")
    answer = json.loads(out)
    assert code == 0
    assert answer["camber_deg"] == pytest.approx(-1.5, abs=1e-3)
    assert [answer[key] for key in KEYS if key.startswith("u_")] == [None] * 7
    assert "--sigma-deg" in runout(STOPS)[1]


def test_outliers_are_named_by_data_row(runout):
    rotation, tilt = turned()
    tilt[[4, 20]] += 0.5
    text = as_csv(("rotation_deg", "incl_y_deg"), rotation, tilt)
    answer = json.loads(runout(text, "--json")[1])
    assert answer["outliers"] == [5, 21]
    assert (answer["n"], answer["dof"]) == (34, 31)
    assert "5, 21" in runout(text)[1]


def test_a_proven_second_harmonic_is_told(runout):
    rotation, tilt = turned()
    tilt += 0.05 * np.cos(2 * np.radians(rotation))
    text = as_csv(("rotation_deg", "incl_y_deg"), rotation, tilt)
    answer = json.loads(runout(text, "--json")[1])
    assert (answer["harmonics"], answer["dof"]) == (2, 31)
    assert answer["hints"] == ["bent-flange-or-loose-bearing"]
    assert answer["second_deg"] == pytest.approx(0.05, abs=4 * answer["u_second_deg"])
    assert answer["second_phase_deg"] == pytest.approx(0.0, abs=4 * answer["u_second_phase_deg"])
    text_for_people = runout(text)[1]
    assert "second harmonic (0.05" in text_for_people
    assert "look at flange and bearing" in text_for_people


def pushed(arc_deg=45.0, offset_mm=0.0):
    """An eighth of a turn: the cone's sway in both channels, to first order, and noise."""
    rng, spin = np.random.default_rng(8), np.linspace(20.0, 20.0 + arc_deg, 60)
    noise, psi = 0.02 * rng.standard_normal((2, 60)), np.radians(spin - 40.0)
    swing = np.degrees(offset_mm / 2000.0) * np.sin(np.radians(spin))
    tilt = -1.0 + 0.8 * np.cos(psi) + noise[0]
    azimuth = -90.0 + 0.8 * np.sin(psi) + swing + noise[1]
    return as_csv(("rotation_deg", "incl_y_deg", "azimuth_deg"), spin, tilt, azimuth)


def test_a_short_roll_counts_where_the_sightline_is_known(runout):
    code, _, err = runout(pushed(), "--json")
    assert code == 3
    assert "turn further" in err
    code, out, _ = runout(pushed(), "--line-m", "2", "--json")
    answer = json.loads(out)
    assert code == 0
    assert answer["camber_deg"] == pytest.approx(1.0, abs=4 * answer["u_camber_deg"])
    assert answer["u_camber_deg"] < 0.05


def test_a_clamp_that_may_sit_anywhere_tells_nothing_of_the_cone(runout):
    words = ("--line-m", "2", "--max-u-deg", "1", "--json")
    held = json.loads(runout(pushed(), *words)[1])
    loose = json.loads(runout(pushed(), *words, "--eccentricity-mm", "50")[1])
    assert loose["u_camber_deg"] > 2.0 * held["u_camber_deg"]


def test_eccentricity_is_told_in_millimetres(runout):
    text = pushed(arc_deg=354.0, offset_mm=3.0)
    answer = json.loads(runout(text, "--line-m", "2", "--json")[1])
    assert answer["eccentricity_mm"] == pytest.approx(3.0, abs=4 * answer["u_eccentricity_mm"])
    assert answer["u_eccentricity_mm"] < 0.5


def test_a_rolled_wheel_is_known_less_well_by_what_the_floor_does(runout):
    words = ("--line-m", "2", "--max-u-deg", "1", "--json")
    jacked, rolled = (
        json.loads(runout(pushed(90.0), *words, *more)[1])["u_camber_deg"]
        for more in ((), ("--rolled",))
    )
    assert 1.2 * jacked < rolled < 2.0 * jacked


def test_an_odd_stop_is_named(runout):
    spin = np.arange(6) * 60.0
    tilt = -1.0 + 0.5 * np.cos(np.radians(spin)) + 0.001 * np.array([1, -2, 1, 2, -1, -1])
    tilt[3] += 0.4
    text = as_csv(("rotation_deg", "incl_y_deg"), spin, tilt)
    answer = runout(text, "--max-u-deg", "1")[1]
    assert "data row 4" in answer
    assert "one-stop-disagrees" in answer


@pytest.mark.parametrize(
    "text",
    [
        b"\xef\xbb\xbf" + STOPS.encode(),
        STOPS.replace("\n", "\r\n"),
        STOPS.replace("\n", "\n\n"),
        "note," + STOPS.replace("\n", "\nx,", 3),
        STOPS.replace(",", " , "),
    ],
    ids=["byte order mark", "CRLF", "blank lines", "unknown column", "spaces"],
)
def test_reads_what_a_spreadsheet_writes(runout, text):
    assert json.loads(runout(text, "--json")[1]) == json.loads(runout(STOPS, "--json")[1])


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "standard input: empty"),
        ("\n\n", "standard input: empty"),
        ("rotation_deg,incl_y_deg\n", "no data rows"),
        ("rotation_deg,tilt\n0,1\n", "standard input:1: no column incl_y_deg"),
        ("rotation_deg,incl_y_deg,incl_y_deg\n0,1,1\n", "standard input:1: column incl_y_deg is"),
        ("rotation_deg,incl_y_deg\n0,1\n\n5,one\n", "standard input:4: incl_y_deg is 'one'"),
        ("rotation_deg,incl_y_deg\n0,\n", "standard input:2: incl_y_deg is ''"),
        ("rotation_deg,incl_y_deg\n0,nan\n", "standard input:2: incl_y_deg is 'nan'"),
        ("rotation_deg,incl_y_deg\n-inf,1\n", "standard input:2: rotation_deg is '-inf'"),
        ("rotation_deg,incl_y_deg\n0,1_0\n", "standard input:2: incl_y_deg is '1_0'"),
        ("rotation_deg,incl_y_deg\n0,1,5\n", "standard input:2: 3 cells, the header has 2"),
        ("rotation_deg,incl_y_deg\n0\n", "standard input:2: 1 cells, the header has 2"),
        ("rotation_deg,incl_y_deg\n0,1\n\n1,90\n", "standard input:4: incl_y_deg is 90"),
        ("rotation_deg,incl_y_deg\n0,1\n1e300,1\n", "standard input:3: rotation_deg is 1e+300"),
        (b"rotation_deg,incl_y_deg\n0,1\n\xff,1\n", "standard input:3: not UTF-8"),
    ],
)
def test_bad_files_exit_2_with_one_line(runout, text, told):
    code, out, err = runout(text)
    assert (code, out) == (2, "")
    assert told in err
    assert err.count("\n") == 1


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--sigma-deg", "0"), "--sigma-deg: 0.0 is not above 0"),
        (("--sigma-deg", "nan"), "--sigma-deg"),
        (("--max-u-deg", "-1"), "--max-u-deg"),
        (("--max-u-deg", "inf"), "--max-u-deg"),
        (("--line-m", "0"), "--line-m"),
        (("--eccentricity-mm", "-2"), "--eccentricity-mm"),
    ],
)
def test_impossible_options_exit_2(runout, words, told):
    code, _, err = runout(STOPS, *words)
    assert code == 2
    assert told in err


@pytest.mark.parametrize(
    ("rows", "words", "told"),
    [
        ("0,1\n120,2\n", (), "2 different wheel angles"),
        ("0,1\n0.3,1\n120,2\n", (), "2 different wheel angles"),
        ("0,1\n1,1.01\n2,1.02\n", (), "condition number"),
        ("0,80\n60,-80\n120,80\n", (), "limit 1;"),
        ("0,1\n30,1.1\n60,1\n", ("--sigma-deg", "0.02"), "limit 0.05 deg"),
        ("0,1\n120,2\n240,1.5\n", ("--sigma-deg", "0.02", "--max-u-deg", "0.01"), "0.01 deg"),
        ("0,1\n120,2\n240,1.5\n360,1.2\n", (), "slipped"),
    ],
)
def test_refused_turns_exit_3_with_the_figure(runout, rows, words, told):
    code, out, err = runout("rotation_deg,incl_y_deg\n" + rows, *words)
    assert (code, out) == (3, "")
    assert told in err
    assert err.count("\n") == 1


def test_a_looser_limit_lets_a_short_turn_through(runout):
    text = "rotation_deg,incl_y_deg\n0,1\n30,1.1\n60,1\n"
    code, out, _ = runout(text, "--sigma-deg", "0.02", "--max-u-deg", "1", "--json")
    assert code == 0
    assert 0.05 < json.loads(out)["u_camber_deg"] < 1.0


def test_runs_as_a_program_of_its_own(tmp_path):
    file = tmp_path / "turn.csv"
    file.write_text(STOPS, encoding="utf-8")
    command = [sys.executable, "-m", "ingest.cli", "runout"]
    good = subprocess.run(
        [*command, str(file), "--side", "left", "--json"], capture_output=True, check=False
    )
    assert (good.returncode, good.stderr) == (0, b"")
    assert json.loads(good.stdout)["n"] == 3
    missing = subprocess.run(
        [*command, str(tmp_path / "none.csv"), "--side", "left"], capture_output=True, check=False
    )
    assert missing.returncode == 2
    assert b"none.csv: no such file or directory" in missing.stderr
