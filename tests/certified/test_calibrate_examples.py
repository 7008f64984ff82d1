"""Published numbers through ``levelhead calibrate``, from a file to the object it prints.

Sources stand beside each check; those of fits without files are in ``test_bench_examples``.
"""

import json
import math
from pathlib import Path
from typing import Any

import allantools
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import curve_fit, fsolve

from ingest.cli import main

HEADER = "row,attitude,incl_x_deg,incl_y_deg,incl_z_deg"
COUNTS = 2200.0
"""Above the largest reading, so that every one has a sine."""
SIX = [
    (2039.635, -62.713, 13.937),
    (-2051.673, -30.280, -76.004),
    (8.944, 1991.568, -55.811),
    (-20.197, -2088.144, -10.375),
    (-34.779, -24.790, 2077.468),
    (10.826, -121.301, -2135.400),
]
"""Mean raw counts of a real sensor at rest in six positions: mad-lab-fau/imucal, 8716e4c5 (MIT),
example_data/annotated_session.csv."""


def calibrated(
    folder: Path, capsys: Any, text: str, *arguments: str, code: int = 0
) -> dict[str, Any]:
    file = folder / "readings.csv"
    file.write_text(text)
    assert main(["calibrate", arguments[0], str(file), *arguments[1:], "--json"]) == code
    return json.loads(capsys.readouterr().out)


def values(fit: dict[str, Any]) -> dict[str, float]:
    return {each["name"]: each["value"] for each in fit["coefficients"]}


def degrees(sine: float) -> str:
    return f"{math.degrees(math.asin(sine)):.13f}"


def test_six_positions_of_a_real_sensor(tmp_path, capsys):
    rows = [
        f"{i},face {i},{','.join(degrees(c / COUNTS) for c in counts)}"
        for i, counts in enumerate(SIX, 1)
    ]
    text = "\n".join([HEADER, *rows]) + "\n"
    told = values(calibrated(tmp_path, capsys, text, "tilt", code=3)["fits"]["incl"])
    bias = [math.radians(told[f"bias {a}"]) * COUNTS for a in "xyz"]
    counts, middle, along = np.array(SIX), slice(0, 3), slice(3, 6)
    root = fsolve(
        lambda x: np.square((counts - x[middle]) / x[along]).sum(axis=1) - 1.0,
        [0.0, 0.0, 0.0, *np.ptp(counts, axis=0) / 2],
    )
    assert bias == pytest.approx(root[middle].tolist(), abs=1e-7)
    scale = [COUNTS / told[f"m {a}{a}"] for a in "xyz"]
    assert scale == pytest.approx(root[along].tolist(), abs=1e-6)
    # Two-point bias, equal to that project's own expected b_a: 0.65 to 2.11 deg off axis differ.
    two_point = [-6.018868019671572, -48.287874016760156, -28.966366372243]
    assert bias == pytest.approx(two_point, abs=0.6)


@pytest.mark.parametrize(
    ("length_mm", "height_mm", "angle_deg"),
    [
        # 5 inch: 34 deg 25 min, 2.8260 in (Handbook of Machining and Metalworking Calculations,
        # ch. 4); 27 deg, 2.270 in (a maker's sine-bar FAQ); 30 deg, 2.5 in; 1 in, 11.537 deg.
        (127.0, 2.826035 * 25.4, 34 + 25 / 60),
        (127.0, 2.269952 * 25.4, 27.0),
        (127.0, 2.5 * 25.4, 30.0),
        (127.0, 25.4, 11.536959),
        # 100, 200, 500 mm at 5 deg, computed.
        (100.0, 8.715574, 5.0),
        (200.0, 17.431149, 5.0),
        (500.0, 43.577871, 5.0),
    ],
)
def test_sine_bar_tables(tmp_path, capsys, length_mm, height_mm, angle_deg):
    rows = ["row,axis,height_mm,sign,incl_x_deg,incl_y_deg"]
    for axis in "xy":
        for sign in (1, -1):
            read = {"x": 0.0, "y": 0.0} | {axis: sign * angle_deg}
            rows.append(f"{len(rows)},{axis},{height_mm},{sign},{read['x']},{read['y']}")
    # A perfect head reads the table's angle, so its scale is one; with a turned pair, no zero.
    (tmp_path / "reversal.csv").write_text(
        "row,axis,facing,incl_x_deg,incl_y_deg\n"
        "1,x,as-marked,0,0\n2,x,turned,0,0\n3,y,as-marked,0,0\n4,y,turned,0,0\n"
    )
    found = calibrated(
        tmp_path,
        capsys,
        "\n".join(rows) + "\n",
        "tilt",
        str(tmp_path / "reversal.csv"),
        "--sine-bar-mm",
        str(length_mm),
    )
    told = values(found["fits"]["incl"])
    assert [told["m xx"], told["m yy"]] == pytest.approx([1.0, 1.0], abs=6e-7)
    assert [told["bias x"], told["bias y"]] == pytest.approx([0.0, 0.0], abs=1e-9)


def test_reversal_of_a_level(tmp_path, capsys):
    # +3.2 and -2.4 mm/m, turned round: zero error 0.4, slope 2.8 (common practice, ISO 230-1).
    text = (
        "row,axis,facing,incl_x_deg,incl_y_deg\n"
        f"1,x,as-marked,{degrees(3.2e-3)},0\n2,x,turned,{degrees(-2.4e-3)},0\n"
    )
    told = values(calibrated(tmp_path, capsys, text, "tilt", code=3)["fits"]["incl_x"])
    assert math.radians(told["zero"]) == pytest.approx(0.4e-3, rel=1e-9)
    assert math.radians(told["slope"]) == pytest.approx(2.8e-3, rel=1e-9)


@pytest.mark.parametrize(
    ("diameter_mm", "eccentric_um", "published_arcsec"),
    # Table of a maker's note on mounting encoder rings; e is half the run-out.
    [(100, 10, 41), (100, 25, 103), (100, 100, 412), (50, 10, 83), (50, 25, 206), (25, 5, 83)],
)
def test_eccentricity_table(tmp_path, capsys, diameter_mm, eccentric_um, published_arcsec):
    ratio = eccentric_um / 1e3 / (diameter_mm / 2)
    rows = ["row,channel,raw_deg,true_deg,direction"]
    for i in range(24):
        raw = math.radians(15.0 * i)
        true = raw - ratio * math.sin(raw)
        rows.append(f"{i + 1},rotation,{math.degrees(raw):.12f},{math.degrees(true):.12f},up")
    found = calibrated(tmp_path, capsys, "\n".join(rows) + "\n", "encoder")
    told = values(found["channels"][0])
    assert abs(told["sin 1"]) * 3600 == pytest.approx(published_arcsec, abs=0.55)
    assert told["sin 1"] == pytest.approx(math.degrees(ratio), rel=1e-9)


def still(readings: Any, interval_s: float = 1.0) -> str:
    rows = [f"{i + 1},{i * interval_s!r},{y!r}" for i, y in enumerate(map(float, readings))]
    return "\n".join(["row,time_s,incl_x_deg", *rows]) + "\n"


def test_thousand_points_of_sp1065_through_the_command(tmp_path, capsys):
    # NIST SP 1065 p. 108: overlapping deviation at 1, 0.2922319; others by AllanTools 2024.6.
    n, y = 1234567890, []
    for _ in range(1000):
        y.append(n / 2147483647)
        n = 16807 * n % 2147483647
    (told,) = calibrated(tmp_path, capsys, still(y), "still")["channels"]
    assert told["deviation_deg"][0] == pytest.approx(0.2922319, abs=5e-8)
    others = allantools.oadev(np.array(y), rate=1.0, data_type="freq", taus=told["tau_s"])[1]
    assert told["deviation_deg"] == pytest.approx(others.tolist(), rel=1e-9)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), n=st.integers(16, 300), walk=st.booleans())
def test_any_recording_has_the_deviations_of_another_program(tmp_path_factory, seed, n, walk):
    y = np.random.default_rng(seed).normal(0.0, 0.01, n)
    y = np.cumsum(y) if walk else y
    file = tmp_path_factory.mktemp("still") / "still.csv"
    file.write_text(still(y, 0.1))
    out = file.with_suffix(".json")
    told = run_quietly(["calibrate", "still", str(file), "--json"], out)["channels"][0]
    others = allantools.oadev(y, rate=10.0, data_type="freq", taus=told["tau_s"])[1]
    assert told["deviation_deg"] == pytest.approx(others.tolist(), rel=1e-7)


def run_quietly(arguments: list[str], out: Path) -> dict[str, Any]:
    with out.open("w") as file, pytest.MonkeyPatch.context() as patch:
        patch.setattr("sys.stdout", file)
        assert main(arguments) == 0
    return json.loads(out.read_text())


def test_another_fitter_finds_the_same_harmonics_and_uncertainties(tmp_path, capsys):
    rng = np.random.default_rng(4)
    raw = np.radians(np.arange(0.0, 360.0, 7.5)) + rng.normal(0.0, 1e-3, 48)

    def error(x, zero, c1, s1, c2, s2, c4, s4):
        first = c1 * np.cos(x) + s1 * np.sin(x) + c2 * np.cos(2 * x) + s2 * np.sin(2 * x)
        return zero + first + c4 * np.cos(4 * x) + s4 * np.sin(4 * x)

    true = raw - error(raw, 0.02, 1e-3, -2e-3, 3e-4, 2e-4, -1e-4, 1e-4)
    true += rng.normal(0.0, 5e-5, 48)
    rows = ["row,channel,raw_deg,true_deg,direction"]
    for i, (r, t) in enumerate(zip(np.degrees(raw), np.degrees(true), strict=True), 1):
        rows.append(f"{i},steer,{r:.14f},{t:.14f},up")
    found = calibrated(tmp_path, capsys, "\n".join(rows) + "\n", "encoder")["channels"][0]
    best, spread = curve_fit(error, raw, raw - true, p0=np.zeros(7))
    zero, *told = found["coefficients"]
    assert zero["value"] is None  # no reference of the bench knows how a head sits on its wheel
    assert [each["value"] for each in told] == pytest.approx(np.degrees(best[1:]), rel=1e-6)
    doubts = np.degrees(np.sqrt(np.diag(spread)))[1:]
    assert [each["u"] for each in told] == pytest.approx(doubts, rel=1e-6)
