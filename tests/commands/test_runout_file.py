"""``levelhead runout``: the plain-file interface, its numbers and its refusals."""

import io
import json
import math
import os
import subprocess
import sys

import numpy as np
import pytest
from scipy.optimize import least_squares

from ingest.cli import main

KEYS = {
    "camber_deg",
    "u_camber_deg",
    "heading_deg",
    "u_heading_deg",
    "runout_deg",
    "u_runout_deg",
    "phase_deg",
    "u_phase_deg",
    "dilution",
    "n",
    "dof",
    "rms_deg",
    "harmonics",
    "outliers",
    "hints",
    "second_deg",
    "u_second_deg",
    "second_phase_deg",
    "u_second_phase_deg",
    "eccentricity_mm",
    "u_eccentricity_mm",
}
SIGMA_DEG = 0.01


def elevation(theta, e, phase, phi):
    """Elevation of a shaft on its cone: plain spherical trigonometry."""
    return np.arcsin(np.cos(e) * np.sin(theta) + np.sin(e) * np.cos(theta) * np.cos(phi - phase))


@pytest.fixture
def readings():
    """A seeded turn: 24 readings over 300 deg, camber 2 deg on the left, run-out 1.5 deg."""
    random = np.random.default_rng(20240501)
    phi = np.radians(np.linspace(0.0, 300.0, 24))
    true = elevation(np.radians(-2.0), np.radians(1.5), np.radians(40.0), phi)
    noisy = np.degrees(true) + random.normal(0.0, SIGMA_DEG, len(phi))
    return np.degrees(phi), np.round(noisy, 6)


def as_csv(rotation, incl_y):
    rows = [f"{a:.6f},{b:.6f}" for a, b in zip(rotation, incl_y, strict=True)]
    return "\n".join(["rotation_deg,incl_y_deg", *rows]) + "\n"


def run(capsys, *words):
    code = main(["runout", *map(str, words)])
    out, err = capsys.readouterr()
    return code, out, err


@pytest.fixture
def file(tmp_path, readings):
    path = tmp_path / "turn.csv"
    path.write_text(as_csv(*readings))
    return path


def test_the_answer_is_one_object_with_every_key(capsys, file):
    code, out, err = run(capsys, file, "--side", "left", "--json")
    answer = json.loads(out)
    assert (code, err, set(answer)) == (0, "", KEYS)
    assert (answer["n"], answer["dof"], answer["harmonics"]) == (24, 21, 1)
    assert (answer["heading_deg"], answer["u_heading_deg"], answer["outliers"]) == (None, None, [])


def test_values_agree_with_scipy_least_squares(capsys, file, readings):
    """Source: scipy.optimize.least_squares on the exact cone, with its own covariance."""
    phi, seen = (np.radians(each) for each in readings)
    fit = least_squares(
        lambda p: elevation(*p, phi) - seen, [0.0, 0.02, 0.5], xtol=1e-15, ftol=1e-15, gtol=1e-15
    )
    sigma = math.sqrt(fit.fun @ fit.fun / (len(phi) - 3))
    u = np.degrees(sigma * np.sqrt(np.diag(np.linalg.inv(fit.jac.T @ fit.jac))))
    theta, e, phase = np.degrees(fit.x)
    answer = json.loads(run(capsys, file, "--side", "left", "--json")[1])
    assert answer["camber_deg"] == pytest.approx(-theta, abs=2e-5)
    assert answer["runout_deg"] == pytest.approx(e, abs=2e-5)
    assert answer["phase_deg"] == pytest.approx(phase, abs=1e-3)
    assert answer["u_camber_deg"] == pytest.approx(u[0], rel=0.01)
    assert answer["u_runout_deg"] == pytest.approx(u[1], rel=0.01)
    assert answer["u_phase_deg"] == pytest.approx(u[2], rel=0.01)
    assert answer["rms_deg"] == pytest.approx(np.degrees(np.sqrt(np.mean(fit.fun**2))), rel=1e-3)


def test_the_side_turns_the_sign_of_the_camber(capsys, file):
    left, right = (
        json.loads(run(capsys, file, "--side", side, "--json")[1]) for side in ("left", "right")
    )
    assert left["camber_deg"] == -right["camber_deg"]
    assert left["runout_deg"] == right["runout_deg"]


def test_a_stated_sigma_makes_the_uncertainty(capsys, file):
    one, two = (
        json.loads(run(capsys, file, "--side", "left", "--sigma-deg", s, "--json")[1])
        for s in ("0.01", "0.02")
    )
    assert two["u_camber_deg"] == pytest.approx(2.0 * one["u_camber_deg"])
    assert one["u_camber_deg"] == pytest.approx(0.01 * one["dilution"] / math.sqrt(24), rel=0.01)


def test_three_stops_have_no_uncertainty_of_their_own(capsys, tmp_path):
    path = tmp_path / "stops.csv"
    path.write_text(as_csv([0.0, 120.0, 240.0], [-1.0, -2.0, -3.0]))
    answer = json.loads(run(capsys, path, "--side", "left", "--json")[1])
    assert (answer["dof"], answer["u_camber_deg"], answer["u_phase_deg"]) == (0, None, None)


def test_a_gross_outlier_is_named_by_its_data_row(capsys, tmp_path, readings):
    rotation, incl_y = readings
    incl_y = incl_y.copy()
    incl_y[7] += 1.0
    path = tmp_path / "outlier.csv"
    path.write_text(as_csv(rotation, incl_y))
    assert json.loads(run(capsys, path, "--side", "left", "--json")[1])["outliers"] == [8]


def test_people_get_a_text(capsys, file):
    code, out, err = run(capsys, file, "--side", "left")
    assert (code, err) == (0, "")
    assert out.startswith("camber")
    assert "degrees of freedom" in out


@pytest.mark.parametrize(
    ("rotation", "incl_y", "says"),
    [
        ([0.0, 120.0], [1.0, 2.0], "3"),
        ([0.0, 0.1, 0.2, 0.3], [1.0, 1.0, 1.0, 1.0], "3"),
        ([0.0, 120.0, 240.0], [80.0, -80.0, 80.0], "limit"),
    ],
)
def test_a_turn_that_gives_nothing_is_refused_with_the_figure(
    capsys, tmp_path, rotation, incl_y, says
):
    path = tmp_path / "short.csv"
    path.write_text(as_csv(rotation, incl_y))
    code, out, err = run(capsys, path, "--side", "left", "--json")
    assert (code, out) == (3, "")
    assert err.startswith("levelhead runout: refused: ")
    assert says in err
    assert err.count("\n") == 1


def test_an_uncertainty_above_the_limit_is_refused(capsys, file):
    code, _, err = run(capsys, file, "--side", "left", "--max-u-deg", "0.0001")
    assert code == 3
    assert "limit 0.0001 deg" in err


HEADER = b"rotation_deg,incl_y_deg\n"
BAD = {
    "empty": (b"", "empty"),
    "header only": (HEADER, "no data rows"),
    "ragged row": (HEADER + b"0,1\n120\n", ":3: 1 cells"),
    "decimal commas": (HEADER + b"0,0,1,5\n", "decimal commas"),
    "semicolons": (b"rotation_deg;incl_y_deg\n0;1\n", ":1: no column rotation_deg"),
    "words": (HEADER + b"0,one\n", ":2: incl_y_deg is 'one'"),
    "nan": (HEADER + b"0,1\n120,nan\n", ":3: incl_y_deg is 'nan'"),
    "inf": (HEADER + b"inf,1\n", "'inf'"),
    "an empty cell": (HEADER + b"0,\n", ":2: incl_y_deg is ''"),
    "twice the same column": (b"rotation_deg,incl_y_deg,incl_y_deg\n0,1,1\n", "there twice"),
    "no such column": (b"rotation_deg,incl_x_deg\n0,1\n", "no column incl_y_deg"),
    "binary": (bytes(range(256)) * 4, "not UTF-8"),
    "zero bytes": (b"\0" * 64, "header"),
    "not UTF-8": (HEADER + b"0,1\n120,2\xe9\n", ":3: not UTF-8"),
    "UTF-16": ("rotation_deg,incl_y_deg\n0,1\n".encode("utf-16"), "not UTF-8"),
    "a huge number": (HEADER + b"0,1\n1e300,1\n", ":3: rotation_deg"),
    "beyond huge": (HEADER + b"0,1e999\n", "not a finite number"),
    "a tilt beyond the vertical": (HEADER + b"0,91\n", "incl_y_deg is 91"),
    "an open quote": (HEADER + b'0,"1\n', "not CSV"),
}


@pytest.mark.parametrize("kind", BAD)
def test_bad_input_is_one_line_that_says_where_and_why(capsys, tmp_path, kind):
    content, says = BAD[kind]
    path = tmp_path / "bad.csv"
    path.write_bytes(content)
    code, out, err = run(capsys, path, "--side", "left", "--json")
    assert (code, out) == (2, "")
    assert err.startswith("levelhead runout: ")
    assert str(path) in err
    assert says in err
    assert err.count("\n") == 1


@pytest.mark.parametrize("words", [("nowhere.csv",), (".",)])
def test_a_file_that_cannot_be_read_is_one_line(capsys, words):
    code, _, err = run(capsys, *words, "--side", "left")
    assert code == 2
    assert words[0] in err
    assert err.count("\n") == 1


@pytest.mark.parametrize("option", ["--sigma-deg", "--max-u-deg"])
@pytest.mark.parametrize("value", ["0", "nan", "inf"])
def test_options_out_of_range_are_named(capsys, file, option, value):
    code, _, err = run(capsys, file, "--side", "left", option, value)
    assert code == 2
    assert option in err


@pytest.mark.parametrize(
    "change",
    [
        lambda text: "\ufeff" + text,
        lambda text: text.replace("\n", "\r\n"),
        lambda text: text.replace("\n", "\n\n"),
        lambda text: text.replace("rotation_deg,", " rotation_deg ,").rstrip("\n"),
        lambda text: text.replace("\n", ",ignored\n"),
    ],
    ids=["BOM", "CRLF", "blank lines", "spaces, no last newline", "unknown column"],
)
def test_harmless_differences_change_nothing(capsys, file, change):
    plain = run(capsys, file, "--side", "left", "--json")
    file.write_text(change(file.read_text()), newline="")
    assert run(capsys, file, "--side", "left", "--json") == plain


def test_standard_input_is_read(capsys, monkeypatch, file):
    plain = run(capsys, file, "--side", "left", "--json")
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(file.read_bytes())))
    assert run(capsys, "-", "--side", "left", "--json") == plain


def test_a_reader_that_leaves_early_causes_no_traceback(file):
    command = [sys.executable, "-m", "ingest.cli", "runout", str(file), "--side", "left"]
    read, write = os.pipe()
    os.close(read)
    done = subprocess.run(command, stdout=write, stderr=subprocess.PIPE, timeout=60, check=False)
    os.close(write)
    assert (done.returncode, done.stderr) == (141, b"")


@pytest.mark.parametrize(
    "words",
    [[], ["nosuch"], ["runout"], ["runout", "x", "--side", "middle"], ["config", "chek"]],
)
def test_wrong_arguments_are_one_line(capsys, words):
    with pytest.raises(SystemExit) as left:
        main(words)
    err = capsys.readouterr().err
    assert left.value.code == 2
    assert err.startswith("levelhead")
    assert err.endswith("; try --help\n")
    assert err.count("\n") == 1
