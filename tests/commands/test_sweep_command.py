"""``levelhead sweep``: the answer of the plain-file interface, exit codes, bad files."""

import io
import json
import math
import sys
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from ingest.cli import main

SVG = "{http://www.w3.org/2000/svg}"
KEYS = {
    *("caster_deg", "u_caster_deg", "sai_deg", "u_sai_deg", "camber_deg", "u_camber_deg"),
    *("included_angle_deg", "u_included_angle_deg", "axle_roll", "u_axle_roll", "why_no_sai"),
    *("n", "dof", "rms_deg", "outliers", "hints", "covariance_deg2"),
}

# A left wheel: caster 4, SAI 6, camber 0.5; printed to six decimals, worked out with rotation
# matrices apart from this program (camber is -incl_y on the left).
TABLE = """steer_deg,incl_y_deg,incl_x_deg
20,-2.237081,1.820717
0,-0.5,0
-20,0.507102,-2.300773
"""
NO_X = "\n".join(line.rpartition(",")[0] for line in TABLE.splitlines()) + "\n"


@pytest.fixture
def sweep(capsys, monkeypatch):
    """Run the command on a text given as standard input."""

    def run(text, *words, side="left"):
        raw = text if isinstance(text, bytes) else text.encode()
        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(raw)))
        code = main(["sweep", "-", "--side", side, *words])
        out, err = capsys.readouterr()
        return code, out, err

    return run


@pytest.fixture
def told(capsys):
    """Run the command on words alone."""

    def run(*words):
        code = main(["sweep", *words])
        out, err = capsys.readouterr()
        return code, out, err

    return run


def wheel(sign, caster, sai, camber, steer, roll=0.0, follow=None):
    """Columns of a locked head, to first order in nothing: k . y and k . x by bisection in numpy.

    Elevations t of a shaft at heading h for which k . y stays as it was straight ahead.
    """
    t_c, t_s = math.tan(math.radians(caster)), math.tan(math.radians(sai))
    h = np.radians(np.asarray(steer, float))
    phi = roll * (h if follow is None else np.radians(follow))
    lean = -sign * t_s
    k = np.stack(
        [np.full_like(h, -t_c), lean * np.cos(phi) - np.sin(phi), lean * np.sin(phi) + np.cos(phi)],
        axis=1,
    )
    theta = -sign * math.radians(camber)
    y0 = np.array([0.0, math.cos(theta), math.sin(theta)])
    straight = np.array([-t_c, lean, 1.0])
    left = np.stack([-np.sin(h), np.cos(h), 0 * h], axis=1)
    ahead = np.stack([np.cos(h), np.sin(h), 0 * h], axis=1)
    z = np.array([0.0, 0.0, 1.0])

    def rooted(base, up, product):
        low, high = np.full_like(h, -0.6), np.full_like(h, 0.6)
        for _ in range(60):
            mid = (low + high) / 2.0
            value = np.einsum(
                "ij,ij->i", k, np.cos(mid)[:, None] * base + np.sin(mid)[:, None] * up
            )
            low, high = np.where(value < product, mid, low), np.where(value < product, high, mid)
        return low

    t = rooted(left, np.broadcast_to(z, left.shape), straight @ y0)
    y = np.cos(t)[:, None] * left + np.sin(t)[:, None] * z
    s = rooted(ahead, np.cross(ahead, y), straight @ np.array([1.0, 0.0, 0.0]))
    x_z = np.sin(s) * np.cross(ahead, y)[:, 2]
    return np.degrees(h), np.degrees(t), np.degrees(np.arcsin(x_z))


def as_csv(columns, titles=("steer_deg", "incl_y_deg", "incl_x_deg")):
    rows = [",".join(f"{value:.6f}" for value in row) for row in zip(*columns, strict=True)]
    return "\n".join([",".join(titles), *rows]) + "\n"


def noisy(columns, seed, tilt=0.005, steer=0.02):
    rng = np.random.default_rng(seed)
    sigmas = (steer, tilt, tilt)
    return [c + s * rng.standard_normal(len(c)) for c, s in zip(columns, sigmas, strict=True)]


STEER = np.linspace(-20.0, 20.0, 41)
NOISE = ("--sigma-deg", "0.005", "--steer-sigma-deg", "0.02")


def test_the_published_table_comes_back(sweep):
    code, out, err = sweep(TABLE, "--sigma-deg", "0.001", "--json")
    answer = json.loads(out)
    assert (code, err) == (0, "")
    assert set(answer) >= KEYS
    assert answer["caster_deg"] == pytest.approx(4.0, abs=2e-6)
    assert answer["sai_deg"] == pytest.approx(6.0, abs=2e-6)
    assert answer["camber_deg"] == pytest.approx(0.5, abs=2e-6)
    assert answer["included_angle_deg"] == pytest.approx(6.5, abs=4e-6)
    assert (answer["n"], answer["dof"], answer["axle_roll"]) == (3, 2, None)


def test_the_mirrored_readings_are_those_of_a_right_wheel(sweep):
    rows = [line.split(",") for line in TABLE.splitlines()[1:]]
    turned = [f"{-float(s)},{-float(y)},{x}" for s, y, x in rows]
    left = json.loads(sweep(TABLE, "--json")[1])
    right = json.loads(
        sweep("\n".join([TABLE.splitlines()[0], *turned]), "--json", side="right")[1]
    )
    for key in ("caster_deg", "sai_deg", "camber_deg"):
        assert right[key] == pytest.approx(left[key], abs=1e-9)


def test_41_points_are_known_to_4_thousandths_of_a_degree(sweep):
    text = as_csv(noisy(wheel(1, 4.0, 7.0, 0.5, STEER), 2))
    answer = json.loads(sweep(text, *NOISE, "--json")[1])
    assert answer["u_caster_deg"] == pytest.approx(0.004, abs=0.0003)
    assert answer["u_sai_deg"] == pytest.approx(0.004, abs=0.0003)
    assert answer["caster_deg"] == pytest.approx(4.0, abs=4 * 0.004)
    spread = np.array(answer["covariance_deg2"]["matrix"])
    assert answer["covariance_deg2"]["names"] == ["caster", "sai", "camber"]
    assert np.sqrt(np.diag(spread))[:2] == pytest.approx(
        [answer["u_caster_deg"], answer["u_sai_deg"]]
    )


def test_the_whole_uncertainty_has_the_slip_in_it(sweep):
    words = ("--sigma-deg", "0.005", "--steer-sigma-deg", "0.02", "--json")
    answer = json.loads(sweep(TABLE, *words)[1])
    for name in ("caster", "sai", "camber"):
        parts = answer[f"u_{name}_deg"], answer[f"u_{name}_slip_deg"]
        assert answer[f"u_{name}_whole_deg"] == pytest.approx(math.hypot(*parts), rel=1e-9)
    assert answer["u_sai_whole_deg"] > answer["u_sai_deg"]
    assert answer["u_included_angle_whole_deg"] > answer["u_included_angle_deg"]


def test_a_hanging_head_has_no_sai_and_says_why(sweep):
    code, out, _ = sweep(NO_X, "--json")
    answer = json.loads(out)
    assert code == 0
    assert answer["caster_deg"] == pytest.approx(4.0, abs=2e-6)
    assert (answer["sai_deg"], answer["included_angle_deg"]) == (None, None)
    assert "hangs" in answer["why_no_sai"]
    assert "no SAI" in sweep(NO_X)[1]
    assert json.loads(sweep(TABLE, "--swivel", "free", "--json")[1])["sai_deg"] is None


def test_without_degrees_of_freedom_the_uncertainty_is_null(sweep):
    two = "\n".join([*TABLE.splitlines()[:2], TABLE.splitlines()[3]])
    answer = json.loads(sweep(two, "--json")[1])
    assert answer["caster_deg"] == pytest.approx(4.0, abs=2e-6)
    assert [v for k, v in answer.items() if k.startswith("u_") and v is not None] == []
    assert "--sigma-deg" in sweep(two)[1]


def test_the_toe_and_the_zero_are_taken_into_account(sweep):
    text = as_csv(wheel(1, 4.0, 7.0, 0.0, STEER))
    plain, toed, unsure = (
        json.loads(sweep(text, *words, "--json")[1])
        for words in ((), ("--toe-deg", "0.5"), ("--u-zero-deg", "0.3"))
    )
    # Half a degree of heading turns the axis' tangents by half a degree.
    turned = complex(*np.tan(np.radians([4.0, 7.0]))) * np.exp(-1j * math.radians(0.5))
    assert toed["caster_deg"] == pytest.approx(math.degrees(math.atan(turned.real)), abs=1e-5)
    assert unsure["u_caster_deg"] == pytest.approx(
        0.6 * (toed["caster_deg"] - plain["caster_deg"]), rel=0.05
    )


def drawn(path):
    """Marks, words and viewBoxes of a drawing."""
    root = ET.fromstring(path.read_text())
    marks = [len(list(root.iter(f"{SVG}{name}"))) for name in ("circle", "polygon")]
    words = [element.text for element in root.iter(f"{SVG}text")]
    return root, marks, words


def test_the_drawing_shows_readings_fit_and_what_it_leaves(sweep, tmp_path):
    path = tmp_path / "sweep.svg"
    text = as_csv(noisy(wheel(1, 4.0, 7.0, 0.5, STEER), 3))
    assert sweep(text, "--drawing", str(path))[0] == 0
    root, marks, words = drawn(path)
    # Each reading twice (read, and less fitted), and one mark of each legend.
    assert marks == [2 * len(STEER) + 2] * 2
    assert "left wheel steered, ° (to the left positive)" in words
    assert len(list(root.iter(f"{SVG}polyline"))) == 2
    _, _, width, height = map(float, root.get("viewBox").split())
    for part in root.iter(f"{SVG}svg"):
        if part is not root:
            assert float(part.get("x")) + float(part.get("width")) <= width
            assert float(part.get("y")) + float(part.get("height")) <= height


def test_the_drawing_of_a_hanging_head_has_one_channel_and_a_long_sweep_is_thinned(sweep, tmp_path):
    path = tmp_path / "sweep.svg"
    assert sweep(NO_X, "--drawing", str(path))[0] == 0
    assert drawn(path)[1] == [2 * 3 + 2, 0]
    text = as_csv(noisy(wheel(1, 4.0, 7.0, 0.5, np.linspace(-20.0, 20.0, 1000)), 3))
    assert sweep(text, "--drawing", str(path))[::2] == (0, "")
    assert drawn(path)[1] == [2 * 200 + 2] * 2


def test_both_wheels_are_drawn_below_each_other(told, tmp_path):
    path = tmp_path / "sweep.svg"
    assert told(*written(tmp_path), "--axle-roll", "fitted", "--drawing", str(path))[0] == 0
    words = drawn(path)[2]
    for side in ("left", "right"):
        assert f"{side} wheel steered, ° (to the left positive)" in words


def test_a_turn_of_the_plate_is_read_as_such(sweep):
    # Turned by 20.199346 and -20.155352 about the axis, whose upright part the plate turns by.
    k_z = 1.0 / math.sqrt(1.0 + sum(math.tan(math.radians(a)) ** 2 for a in (4.0, 6.0)))
    plate = TABLE.replace("steer_deg", "plate_deg")
    plate = plate.replace("\n20,", f"\n{20.199346 * k_z:.6f},")
    plate = plate.replace("\n-20,", f"\n{-20.155352 * k_z:.6f},")
    assert json.loads(sweep(plate, "--json")[1])["caster_deg"] == pytest.approx(4.0, abs=3e-6)


def written(tmp_path, tilt=0.005, steer_sigma=0.02):
    """Both wheels of an axle that rolls; rows in step, Ackermann steering, out and back."""
    middle = np.concatenate(
        [np.arange(0, 21.0, 2), np.arange(18, -21.0, -2), np.arange(-18, 1.0, 2)]
    )
    shift = 2.0 / 10.0 * np.square(np.radians(middle))
    left, right = middle + np.degrees(shift), middle - np.degrees(shift)
    files = []
    for name, sign, caster, steer in (("L", 1, 4.0, left), ("R", -1, 3.5, right)):
        columns = wheel(sign, caster, 7.0, 0.4, steer, roll=0.008, follow=middle)
        (tmp_path / f"{name}.csv").write_text(as_csv(noisy(columns, ord(name), tilt, steer_sigma)))
        files += [f"--{'left' if sign > 0 else 'right'}", str(tmp_path / f"{name}.csv")]
    return files


@pytest.fixture
def axle(tmp_path):
    """The files of both wheels, as options."""
    return written(tmp_path)


def test_the_roll_follows_the_steering_of_both_wheels(told, tmp_path):
    # Perfect readings, printed to six decimals: inner and outer wheel turn by different angles.
    words = (*written(tmp_path, 0.0, 0.0), "--axle-roll", "fitted", "--json")
    answer = json.loads(told(*words)[1])
    assert answer["left"]["axle_roll"] == pytest.approx(0.008, abs=2e-6)
    assert answer["left"]["caster_deg"] == pytest.approx(4.0, abs=1e-4)
    assert answer["right"]["sai_deg"] == pytest.approx(7.0, abs=1e-4)


def test_what_is_refused_of_two_wheels_says_which(told, axle, tmp_path):
    path = tmp_path / "R.csv"
    rows = [line.split(",") for line in path.read_text().splitlines()]
    path.write_text(
        "\n".join(",".join([*row[:2], row[2] if i < 15 else "0.5"]) for i, row in enumerate(rows))
        + "\n"
    )
    for words in ((), ("--axle-roll", "fitted")):
        code, out, err = told(*axle, *words)
        assert (code, out, err.count("\n")) == (3, "", 1)
        assert "right wheel: " in err


def test_both_wheels_share_the_roll_of_their_axle(told, axle):
    words = (*NOISE, "--axle-roll", "fitted", "--wheelbase-m", "5", "--kingpin-spacing-m", "2")
    code, out, _ = told(*axle, *words, "--json")
    answer = json.loads(out)
    assert code == 0
    left, right = answer["left"], answer["right"]
    assert left["axle_roll"] == right["axle_roll"]
    assert left["axle_roll"] == pytest.approx(0.008, abs=3 * left["u_axle_roll"])
    for one, caster in ((left, 4.0), (right, 3.5)):
        assert one["caster_deg"] == pytest.approx(caster, abs=3 * one["u_caster_deg"])
        assert 0.015 < one["u_caster_deg"] < 0.06
    assert answer["cross_caster_deg"] == pytest.approx(0.5, abs=3 * answer["u_cross_caster_deg"])
    assert answer["u_cross_caster_deg"] < 0.01
    turn = answer["turns"][0]
    assert (turn["to"], turn["inner_deg"]) == ("left", pytest.approx(20.0))
    assert turn["rolling_toe_out_deg"] == pytest.approx(20.0 - 17.625820, abs=1e-6)
    assert turn["toe_out_deg"] == pytest.approx(turn["rolling_toe_out_deg"], abs=0.4)
    text = told(*axle, *words)[1]
    assert "cross caster" in text
    assert "axle roll" in text


def test_the_roll_left_out_is_pointed_at(told, axle):
    out = told(*axle, *NOISE)[1]
    assert out.count("use --axle-roll fitted") == 2


def test_rows_out_of_step_give_no_turns_and_no_shared_roll(told, axle, tmp_path):
    short = tmp_path / "short.csv"
    short.write_text("\n".join((tmp_path / "R.csv").read_text().splitlines()[:-2]) + "\n")
    words = (axle[0], axle[1], "--right", str(short))
    assert json.loads(told(*words, "--json")[1])["turns"][0]["toe_out_deg"] is None
    code, _, err = told(*words, "--axle-roll", "fitted")
    assert (code, err.count("\n")) == (2, 1)
    assert "on both sides at once" in err


@pytest.mark.parametrize(
    ("text", "words", "told"),
    [
        ("", (), "empty"),
        ("steer_deg,incl_x_deg\n0,1\n", (), "no column incl_y_deg"),
        ("angle,incl_y_deg\n0,1\n", (), "standard input:1: no column steer_deg"),
        (TABLE.replace("-0.5", "nan"), (), "standard input:3: incl_y_deg is 'nan'"),
        (TABLE.replace("-0.5", "-50"), (), "standard input:3: incl_y_deg is -50, not within 45"),
        (TABLE.replace("20,-2", "200,-2"), (), "steer_deg is 200, not within 80"),
        (TABLE.replace("20,", "0.35,"), (), "steer_deg goes from -0.35 to 0.35: radians?"),
        (TABLE.replace("20,", "1.5,"), (), "span"),
        (
            "\n".join([*NO_X.splitlines()[:2], NO_X.splitlines()[3]]),
            (),
            "2 different positions of the steering, at least 3 are needed without incl_x",
        ),
        ("steer_deg,incl_y_deg,incl_x_deg\n5,1,0\n5,1,0\n", (), "1 different positions"),
        (TABLE, ("--axle-roll", "fitted", "--swivel", "free"), "at least 4 are needed"),
        (as_csv(wheel(1, 4, 7, 0, -STEER) * np.array([[-1.0], [1.0], [1.0]])), (), "camber moves"),
        (as_csv(wheel(1, 4, 7, 0, STEER) * np.array([[1.0], [-1.0], [1.0]])), (), "camber moves"),
        (as_csv(wheel(-1, 4, 7, 0, STEER)), (), "or it is the other side"),
        (TABLE, ("--sigma-deg", "0"), "--sigma-deg: 0.0 is not above 0"),
        (TABLE, ("--steer-sigma-deg", "0.02"), "state both, or neither"),
        (TABLE, ("--sigma-deg", "0.01", "--steer-sigma-deg", "-1"), "is not 0 or above"),
        (TABLE, ("--toe-deg", "nan"), "--toe-deg"),
        (TABLE, ("--max-u-deg", "inf"), "--max-u-deg"),
        (TABLE, ("--wheelbase-m", "5"), "give both, or neither"),
        (TABLE, ("--wheelbase-m", "5200", "--kingpin-spacing-m", "1.8"), "give metres"),
        ("steer_deg,incl_y_deg\n" + "0,0\n" * 100_001, (), "100001 data rows; no sweep has more"),
        (TABLE, ("--frame-deg", "40"), "not within 10 deg"),
        (TABLE, ("--u-frame-deg", "0.1"), "goes with --frame-deg"),
        (TABLE, ("--level", "nowhere.json"), "nowhere.json: no such file"),
        (TABLE, ("--left", "L.csv"), "--left L.csv and --right R.csv together"),
    ],
)
def test_bad_input_exits_2_with_one_line(sweep, text, words, told):
    code, out, err = sweep(text, *words)
    assert (code, out) == (2, "")
    assert told in err
    assert err.count("\n") == 1


def test_a_side_or_both_files_are_asked_for(told):
    for words, wanted in (
        ((), "FILE.csv: missing"),
        (("x.csv",), "--side: missing"),
        (("--left", "l", "--right", "r", "--side", "left"), "--side: goes with one FILE.csv"),
    ):
        code, _, err = told(*words)
        assert (code, err.count("\n")) == (2, 1)
        assert wanted in err


def test_refusals_exit_3_with_figure_and_limit(sweep):
    path = np.concatenate([np.arange(0, 21.0), np.arange(19, -21.0, -1), np.arange(-19, 1.0)])
    columns = noisy(wheel(1, 4.0, 7.0, 0.5, path), 5)
    columns[2] += 0.1 * np.sign(np.gradient(path))
    code, out, err = sweep(as_csv(columns))
    assert (code, out, err.count("\n")) == (3, "", 1)
    assert "limit 0.040 deg" in err
    code, _, err = sweep(as_csv(noisy(wheel(1, 4, 7, 0.5, STEER), 6)), "--max-u-deg", "0.001")
    assert code == 3
    assert "limit 0.001 deg" in err


def test_readings_that_no_noise_explains_are_not_asked_for_again(sweep):
    turned = np.array([[1.0], [-1.0], [1.0]])
    reversed_y = wheel(1, 4, 6, 0.5, np.arange(-20.0, 21.0, 10.0)) * turned
    code, _, err = sweep(as_csv(reversed_y))
    assert code == 3
    assert "about the fit: look for a reversed sign" in err


def test_a_lock_that_was_not_tried_is_nought_without_a_sign(sweep):
    out = sweep("\n".join(TABLE.splitlines()[:3]), "--sigma-deg", "0.005")[1]
    assert "steered 20.0° left, 0.0° right" in out


LEVEL = {
    "format": "levelhead-level",
    "version": 1,
    "bay": "bay1",
    "measured": "2026-11-20",
    "valid_days": 100,
    "by": "Ada Brindle",
    "instrument": "KL-LEVEL-1",
    "surface": "floor",
    "points": [
        {"id": "1L", "x_m": 5.2, "y_m": 1.0, "plate_mm": 50},
        {"id": "1R", "x_m": 5.2, "y_m": -1.0, "plate_mm": 50},
        {"id": "2L", "x_m": 0.0, "y_m": 0.9, "plate_mm": 0},
        {"id": "2R", "x_m": 0.0, "y_m": -0.9, "plate_mm": 0},
    ],
    "staff": [
        {"set_up": "A", "point": p, "reading_mm": 1400.0, "sigma_mm": 0.3}
        for p in ("1L", "1R", "2L", "2R")
    ],
}


def test_plates_under_one_axle_are_told_of_in_the_caster(sweep, tmp_path):
    # 50 mm under the front of a 5.2 m wheelbase: 0.55 deg (worked by hand).
    path = tmp_path / "level.json"
    path.write_text(json.dumps(LEVEL))
    words = ("--level", str(path), "--on", "2026-12-01", "--frame-deg", "1", "--sigma-deg", "0.01")
    answer = json.loads(sweep(TABLE, *words, "--json")[1])
    plates = math.degrees(math.atan(50.0 / 5200.0))
    assert answer["caster_to_plane_deg"] == pytest.approx(4.0 - plates, abs=0.005)
    assert answer["u_caster_to_plane_deg"] > answer["u_caster_deg"]
    assert answer["camber_to_plane_deg"] == pytest.approx(0.5, abs=0.002)
    # Frame angle positive front down: measured caster 4 is 5 to the frame (US truck manuals).
    assert answer["caster_to_frame_deg"] == pytest.approx(5.0, abs=1e-5)
    assert "to the standing points" in sweep(TABLE, *words)[1]
    assert "not told against the frame" in sweep(TABLE)[1]


def test_an_overdue_level_stops_the_work(sweep, tmp_path):
    path = tmp_path / "level.json"
    path.write_text(json.dumps(LEVEL))
    for day, told in (("2027-06-01", "was due on 2027-02-28"), ("2026-11-01", "is dated")):
        code, out, err = sweep(TABLE, "--level", str(path), "--on", day)
        assert (code, out, err.count("\n")) == (3, "", 1)
        assert told in err
