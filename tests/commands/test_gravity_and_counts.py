"""``levelhead gravity`` and ``levelhead calibrate counts``."""

import json

import numpy as np
import pytest

from ingest.cli import main


def run(capsys, *words):
    code = main([*map(str, words)])
    out, err = capsys.readouterr()
    return code, out, err


def test_gravity_is_that_of_the_formula(capsys):
    """The WELMEC formula at the equator, sea level, is its own constant (WELMEC 2, Annex)."""
    code, out, _ = run(capsys, "gravity", "0", "--json")
    assert code == 0
    answer = json.loads(out)
    assert answer["gravity_m_s2"] == pytest.approx(9.780318, abs=1e-12)
    # Against standard gravity, 9.80665 m/s2, exact by definition (3rd CGPM).
    assert answer["scale_error"] == pytest.approx(9.780318 / 9.80665 - 1.0, abs=1e-12)


def test_gravity_falls_with_height_and_rises_to_the_poles(capsys):
    def at(*words):
        return json.loads(run(capsys, "gravity", *words, "--json")[1])["gravity_m_s2"]

    assert at("45", "--height", "1000") < at("45") < at("-60")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("91",), "LATITUDE_DEG: '91' is no number from -90 to 90"),
        (("nan",), "'nan' is no number"),
        (("52,5",), "'52,5' is no number"),
        (("52", "--height", "90000"), "--height: '90000'"),
    ],
)
def test_gravity_refuses_in_one_line(capsys, words, said):
    code, out, err = run(capsys, "gravity", *words)
    assert (code, out) == (2, "")
    assert said in err
    assert len(err.splitlines()) == 1


@pytest.fixture
def counts(tmp_path, capsys):
    """Return what runs the command on turns and counts."""

    def calibrate(turns, values):
        path = tmp_path / "counts.csv"
        rows = [
            f"{i},{t:.9g},{c:.9g}" for i, (t, c) in enumerate(zip(turns, values, strict=True), 1)
        ]
        path.write_text("\n".join(["row,turns,counts", *rows]) + "\n")
        return run(capsys, "calibrate", "counts", path, "--json")

    return calibrate


def test_the_line_through_counts_is_that_of_numpy(counts):
    turns = np.arange(6.0)
    values = 17 - 4096 * turns + np.array([0, 0, -1, 0, 1, 0])
    code, out, _ = counts(turns, values)
    answer = json.loads(out)
    (slope, _), covariance = np.polyfit(turns, values, 1, cov=True)
    found = {each["name"]: each for each in answer["coefficients"]}["counts per turn"]
    assert code == 0
    assert found["value"] == pytest.approx(slope, rel=1e-12)
    assert found["u"] == pytest.approx(np.sqrt(covariance[0, 0]), rel=1e-9)
    assert (answer["nearest"], answer["whole"], answer["direction"]) == (4096, True, "against")


def test_counts_that_were_lost_fit_no_whole_number(counts):
    turns = np.arange(6.0)
    code, out, _ = counts(turns, 4095.4 * turns)
    assert code == 0
    assert json.loads(out)["whole"] is False


@pytest.mark.parametrize(
    ("turns", "values", "said"),
    [
        ([0, 0.5, 0.8], [0, 500, 800], "turn it through one whole turn"),
        ([0, 1, 2], [5, 5, 5], "do not follow the shaft"),
        ([0, 1, np.nan], [0, 1, 2], "not a finite number"),
    ],
)
def test_counts_refuse_in_one_line(counts, turns, values, said):
    code, out, err = counts(turns, values)
    assert (code, out) == (2, "")
    assert said in err
    assert len(err.splitlines()) == 1
