"""``levelhead network``: the plain-file interface, its answer, its notes and its refusals."""

import io
import json
import math
import re
import sys
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest

import ingest.geometry.network as network_room
from ingest.cli import main

SVG = "{http://www.w3.org/2000/svg}"


def vehicle():
    """A tractor of two axles, true and square but for a front left toe of 0.2 deg."""
    place = {"L1": (5.2, 1.0), "R1": (5.2, -1.0), "L2": (0.0, 1.0), "R2": (0.0, -1.0)}
    stations = [
        {"id": s, "x_m": x, "y_m": y, "axle": int(s[1]), "zero_sigma_deg": 0.01}
        | {"side": "left" if s[0] == "L" else "right"}
        for s, (x, y) in place.items()
    ]
    observations = []
    for at in place:
        for to in place:
            if at != to:
                bearing = math.degrees(
                    math.atan2(place[to][1] - place[at][1], place[to][0] - place[at][0])
                )
                # Toe-in turns a left wheel's heading clockwise: its sightlines read more.
                reading = bearing + (0.2 if at == "L1" else 0.0)
                entry = {"type": "direction", "at": at, "to": to, "sigma_deg": 0.01}
                observations.append(entry | {"angle_deg": round(math.remainder(reading, 360.0), 6)})
    tapes = [("L1", "R1"), ("L2", "R2"), ("L1", "L2"), ("R1", "R2")]
    observations += [
        {"type": "distance", "at": a, "to": b, "sigma_m": 0.005}
        | {"distance_m": math.dist(place[a], place[b])}
        for a, b in tapes
    ]
    return {
        "stations": stations,
        "observations": observations,
        "centre_line": [1, 2],
        "reference_axle": 2,
        "checks": [{"at": "L1", "to": "R2", "distance_m": 5.571, "sigma_m": 0.003}],
    }


@pytest.fixture
def network(capsys, monkeypatch):
    """Run the command on a document given as standard input."""

    def run(document, *words):
        text = document if isinstance(document, str) else json.dumps(document)
        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(text.encode())))
        code = main(["network", "-", *words])
        out, err = capsys.readouterr()
        return code, out, err

    return run


def test_answers_with_the_keys_of_the_interface(network):
    code, out, err = network(vehicle(), "--json")
    answer = json.loads(out)
    assert (code, err) == (0, "")
    assert set(answer) >= {
        *("wheels", "axles", "stations", "residuals", "dof", "chi2", "chi2_limits"),
        *("variance_factor", "suspect", "undetermined"),
    }
    toes = {wheel["id"]: wheel["toe_deg"] for wheel in answer["wheels"]}
    assert toes == pytest.approx({"L1": 0.2, "R1": 0.0, "L2": 0.0, "R2": 0.0}, abs=1e-5)
    front = answer["axles"][0]
    assert front["axle"] == 1
    assert front["total_toe_deg"] == pytest.approx(0.2, abs=1e-5)
    # axle heading = (toe right - toe left)/2: to the right.
    assert front["heading_deg"] == pytest.approx(-0.1, abs=1e-5)
    assert front["scrub_deg"] == pytest.approx(-0.1, abs=1e-5)
    for axle in answer["axles"]:
        keys = {key for key in axle if not key.startswith("u_")} - {"axle"}
        assert keys == {
            *("heading_deg", "scrub_deg", "total_toe_deg", "setback_deg", "lateral_offset_mm")
        }
        assert all(axle[f"u_{key}"] >= 0.0 for key in keys)
    assert len(answer["residuals"]) == len(vehicle()["observations"])
    assert set(answer["stations"][0]) == {"id", "x_m", "y_m", "u_x_m", "u_y_m"}
    assert answer["dof"] == 16 - 9
    assert answer["chi2"] == pytest.approx(0.0, abs=1e-3)
    assert answer["chi2_limits"] == pytest.approx([1.690, 16.013], abs=1e-3)  # 7 dof, tables
    assert answer["suspect"] is None
    assert answer["undetermined"] == []


def test_every_figure_is_finite_or_null(network):
    _, out, _ = network(vehicle(), "--json")
    json.loads(out, parse_constant=lambda word: pytest.fail(word))


def test_setback_is_positive_where_the_right_wheel_stands_behind(network):
    document = vehicle()
    place = {s["id"]: [s["x_m"], s["y_m"]] for s in document["stations"]}
    place["R1"][0] -= 0.02
    for entry in document["observations"]:
        a, b = np.array(place[entry["at"]]), np.array(place[entry["to"]])
        if entry["type"] == "distance":
            entry["distance_m"] = float(np.linalg.norm(b - a))
        else:
            entry["angle_deg"] = float(np.degrees(np.arctan2(*(b - a)[::-1])))
    front = json.loads(network(document, "--json")[1])["axles"][0]
    assert front["setback_deg"] == pytest.approx(math.degrees(math.atan(0.02 / 2.0)), abs=1e-3)


def test_an_offset_to_the_left_is_positive(network):
    document = vehicle()
    # A third axle, 30 mm to the left of the line through the other two.
    for station, y in (("L3", 1.03), ("R3", -0.97)):
        side = "left" if station[0] == "L" else "right"
        entry = {"id": station, "x_m": 2.0, "y_m": y, "axle": 3, "side": side}
        document["stations"].append(entry)
    place = {s["id"]: (s["x_m"], s["y_m"]) for s in document["stations"]}
    for at, to in (("L3", "L1"), ("L3", "R1"), ("R3", "L2"), ("R3", "R2")):
        (x, y), (p, q) = place[at], place[to]
        angle = math.degrees(math.atan2(q - y, p - x))
        direction = {"type": "direction", "at": at, "to": to, "sigma_deg": 0.01}
        document["observations"].append(direction | {"angle_deg": angle})
        tape = {"type": "distance", "at": at, "to": to, "sigma_m": 0.002}
        document["observations"].append(tape | {"distance_m": math.dist((x, y), (p, q))})
    answer = json.loads(network(document, "--json")[1])
    third = next(axle for axle in answer["axles"] if axle["axle"] == 3)
    assert third["lateral_offset_mm"] == pytest.approx(30.0, abs=0.1)


def test_says_what_positive_means_in_words(network):
    code, out, _ = network(vehicle())
    assert code == 0
    line = next(line for line in out.splitlines() if line.startswith("heading axle 1"))
    assert "to the right" in line
    assert "±" in line
    assert "(k = 2.0)" in line
    assert "lateral offset axle 1    0, by definition" in out


def test_a_gross_error_is_named(network):
    document = vehicle()
    document["observations"][4]["angle_deg"] += 0.3
    code, out, _ = network(document, "--json")
    answer = json.loads(out)
    assert code == 0
    assert answer["suspect"] == 4
    assert abs(answer["residuals"][4]["standardised"]) > 3.29
    assert answer["chi2"] > answer["chi2_limits"][1]
    assert "distrust observations[4], direction R1 to L2" in answer["notes"][0]
    document["observations"][4]["use"] = False
    answer = json.loads(network(document, "--json")[1])
    assert answer["suspect"] is None
    assert answer["residuals"][4]["residual"] is None
    assert answer["wheels"][0]["toe_deg"] == pytest.approx(0.2, abs=1e-4)


def test_readings_that_nothing_can_tell_apart_are_all_said(network):
    document = vehicle()
    kept = [
        e for e in document["observations"] if e["at"][0] == e["to"][0] or e["at"][1] == e["to"][1]
    ]
    document["observations"] = kept
    kept[0]["angle_deg"] += 0.3
    answer = json.loads(network(document, "--json")[1])
    # Sightlines around a quadrangle close in one condition, which blames no single one of them.
    blamed = {answer["suspect"], *answer["suspect_alike"]}
    assert 0 in blamed
    assert len(blamed) > 2
    assert blamed <= {i for i, e in enumerate(kept) if e["type"] == "direction"}
    assert "cannot be told apart" in answer["notes"][0]


def test_no_degrees_of_freedom_give_no_limits(network):
    document = vehicle()
    read = {("L1", "R1"), ("R1", "L1"), ("L1", "L2"), ("L2", "L1"), ("R1", "R2"), ("R2", "R1")}
    kept = [e for e in document["observations"] if (e["at"], e["to"]) in read]
    # Nine readings for three unknowns of each of four wheels, less three of the datum.
    document["observations"] = kept
    assert len(kept) == 6 + 3
    answer = json.loads(network(document, "--json")[1])
    assert answer["dof"] == 0
    assert answer["chi2_limits"] is None
    assert answer["variance_factor"] is None
    assert answer["suspect"] is None
    assert any("nothing checks the readings" in note for note in answer["notes"])


def test_a_taped_check_agrees_or_not(network):
    document = vehicle()
    answer = json.loads(network(document, "--json")[1])
    check = answer["proof"][0]
    assert check["distance_m"] == pytest.approx(math.hypot(5.2, 2.0), abs=1e-4)
    assert check["agrees"] is True
    assert check["u_off_m"] == pytest.approx(math.hypot(check["u_distance_m"], 0.003))
    document["checks"][0]["distance_m"] += 0.05
    code, out, _ = network(document)
    assert code == 0
    assert "DOES NOT AGREE" in out


def test_a_design_needs_no_values_and_tells_none(network):
    document = vehicle()
    for entry in document["observations"] + document["checks"]:
        entry.pop("angle_deg", None)
        entry.pop("distance_m", None)
    code, out, _ = network(document, "--json")
    assert code == 2
    code, out, err = network(document, "--design", "--json")
    assert (code, err) == (0, "")
    answer = json.loads(out)
    assert answer["design"] is True
    assert "toe_deg" not in answer["wheels"][0]
    measured = json.loads(network(vehicle(), "--json")[1])
    assert answer["wheels"][0]["u_toe_deg"] == pytest.approx(
        measured["wheels"][0]["u_toe_deg"], rel=1e-3
    )
    assert network(document, "--design")[1].startswith("toe L1                   U = 0.0")


def test_a_design_says_what_is_blocked_and_what_helps(network):
    document = vehicle() | {"blocked": [["L2", "R2"]]}
    code, out, _ = network(document, "--design")
    assert code == 0
    assert "direction L2 to R2, is left out: its sightline is blocked" in out
    assert "what would help most: a " in out


def test_the_drawing_is_of_this_network(network, tmp_path):
    path = tmp_path / "network.svg"
    document = vehicle()
    document["observations"][4]["angle_deg"] += 0.3
    assert network(document, "--drawing", str(path))[0] == 0
    root = ET.fromstring(path.read_text())
    words = {element.text for element in root.iter(f"{SVG}text")}
    assert {"L1", "R1", "L2", "R2", "distrust", "1 m"} <= words
    assert any(text and "ellipses 95 %" in text and "times enlarged" in text for text in words)
    assert len(list(root.iter(f"{SVG}polyline"))) == 4
    # Every observation has its number, once; what is read there and back shares a place.
    numbers = [n for t in words if t[0].isdigit() and t[-1].isdigit() for n in t.split(", ")]
    assert sorted(map(int, numbers)) == list(range(len(document["observations"])))
    assert "4" in words
    assert "forward" in words
    assert any(text.endswith(" mm of an ellipse") for text in words)
    colours = {element.get("stroke") for element in root.iter()} - {None}
    assert not any(c.lower() in ("#00ff00", "green", "#008000") for c in colours)


def test_a_drawing_of_many_lines_is_not_numbered_but_for_the_bad_one(network, tmp_path):
    path = tmp_path / "network.svg"
    document = vehicle()
    diagonal = document["observations"][12] | {"at": "L1", "to": "R2"}
    for i in range(40):
        ports = {"at_port_m": [0.1, 0.02 * i], "to_port_m": [0.1, 0.02 * i]}
        length = {"distance_m": math.hypot(5.2, 2.0 + 0.04 * i)}
        document["observations"].append(diagonal | ports | length)
    document["observations"][4]["angle_deg"] += 0.3
    assert network(document, "--drawing", str(path))[0] == 0
    words = {element.text for element in ET.fromstring(path.read_text()).iter(f"{SVG}text")}
    assert "distrust" in words
    assert len([text for text in words if text.isdigit()]) == 1


def broken(change):
    document = vehicle()
    change(document)
    return document


def put(*path, value):
    """Return a change: set one value in the document."""

    def change(document):
        where = document
        for step in path[:-1]:
            where = where[step]
        where[path[-1]] = value

    return change


BAD = {
    "unknown id": (put("observations", 0, "to", value="X9"), "observations[0]: no station X9"),
    "no such seat": (
        put("stations", 0, "seat_sigma_m", value=1e-300),
        "stations[0].seat_sigma_m: must be 0, or at least 1e-09",
    ),
    "doubled id": (put("stations", 1, "id", value="L1"), "stations[1] (L1): stations[0] has"),
    "same place": (put("stations", 1, "y_m", value=1.0), "stands where L1 stands"),
    "two on one side": (put("stations", 2, "axle", value=1), "axle 1 left is L1 already"),
    "mirrored": (put("stations", 0, "y_m", value=-1.3), "left wheel L1 lies right of R1"),
    "beyond 360": (
        put("observations", 2, "angle_deg", value=400.0),
        "observations[2].angle_deg is 400: beyond 360",
    ),
    "half a turn": (
        put("observations", 3, "angle_deg", value=-90.0),
        "observations[3]: direction R1 to L1 is off by 180 deg",
    ),
    "radians": (put("observations", 0, "angle_deg", value=-1.57), "is it in radians?"),
    "another line": (put("observations", 0, "angle_deg", value=10.0), "is off by 100 deg"),
    "wheelbase in mm": (put("stations", 0, "x_m", value=5200.0), "are these in mm?"),
    "tape in mm": (put("observations", -1, "distance_m", value=5200.0), "is it in mm?"),
    "tape in feet": (put("observations", -1, "distance_m", value=17.06), "is it in feet?"),
    "negative sigma": (
        put("observations", 0, "sigma_deg", value=-0.01),
        "observations[0].sigma_deg is -0.01: a standard uncertainty is a number above 0",
    ),
    "no sigma": (lambda d: d["observations"][0].pop("sigma_deg"), "sigma_deg: missing"),
    "no number": (put("observations", 0, "angle_deg", value=math.nan), "NaN is not a finite"),
    "text": (
        put("observations", 0, "angle_deg", value="-90"),
        "observations[0].angle_deg: a number is needed",
    ),
    "a type of no kind": (put("observations", 0, "type", value="bearing"), "type must be one of"),
    "a misspelt port": (put("observations", 0, "at_ports_m", value=[0, 0]), "no such key"),
    "a port in mm": (put("observations", 0, "at_port_m", value=[600, 280]), "a port is at most"),
    "a line to itself": (put("observations", 0, "to", value="L1"), "at and to are both L1"),
    "axle without side": (lambda d: d["stations"][0].pop("side"), "has both axle and side"),
    "no such axle": (put("centre_line", value=[1, 7]), "centre_line: no axle 7; there are 1, 2"),
    "one end twice": (put("centre_line", value=[2, 2]), "centre_line: 2 twice"),
    "an end on an axle": (
        lambda d: d.update(
            stations=[*d["stations"], {"id": "P", "x_m": 0.0, "y_m": 0.0}], centre_line=["P", 2]
        ),
        "centre_line: P and 2 stand within 0.1 m",
    ),
    "line through a wheel": (put("centre_line", value=["L1", 2]), "L1 is a wheel"),
    "no such reference": (put("reference_axle", value=5), "reference_axle: no axle 5"),
    "blocked and read": (put("blocked", value=[["L1", "R1"]]), "was read, yet blocked names"),
    "unknown set-up": (put("observations", 0, "setup", value="b"), "no set-up b; list it"),
    "no stations": (put("stations", value=[]), "stations: "),
    "a name of two lines": (put("stations", 0, "id", value="a\nb"), "stations[0].id: a name"),
    "a name that turns the text": (put("stations", 0, "id", value="L\u202e1"), "a name"),
    "no name": (put("stations", 0, "id", value=""), "a name is not empty"),
    "a sigma in mm": (put("observations", -1, "sigma_m", value=6.0), "sigma_m is 6, more than"),
    "a check in mm": (put("checks", 0, "distance_m", value=5571.0), "checks[0]: reads 5571 m"),
    "an angle of another line": (
        lambda d: d["observations"].append(
            {"type": "angle", "at": "L1", "from": "R1", "to": "L2", "sigma_deg": 0.01}
            | {"angle_deg": 40.0}
        ),
        "angle at L1 from R1 to L2 is off by 130 deg",
    ),
    "one steer axle twice": (put("steer_axles", value=[1, 1]), "steer_axles: 1 twice"),
    "three steer axles": (put("steer_axles", value=[1, 2, 2]), "too many; 2 at the most"),
    "blocked from itself": (put("blocked", value=[["L1", "L1"]]), "blocked[0]: L1 twice"),
    "endless mountings": (
        lambda d: d.update(
            stations=[{**each, "seat_sigma_m": 0.001} for each in d["stations"]],
            setups=[{"id": f"u{i}"} for i in range(60)],
            observations=[
                {**each, "setup": f"u{i}"} for i in range(60) for each in d["observations"]
            ],
        ),
        "setups: ",
    ),
    "ten thousand stations": (
        lambda d: d.update(stations=[{**d["stations"][0], "id": f"s{i}"} for i in range(10_000)]),
        "stations: too many; 60 at the most",
    ),
    "a book": (put("about", value="x" * 5_000_000), "characters; a network file has"),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_input_is_one_line_that_says_where_and_why(network, name):
    change, words = BAD[name]
    code, out, err = network(broken(change))
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert err.startswith("levelhead network: standard input: ")
    assert words in err


@pytest.mark.parametrize(
    "text",
    ["", "{", "[]", "null", '{"stations": 1}', "[" * 100_000, '{"stations": [], "stations": []}'],
)
def test_what_is_no_network_file_is_said_in_one_line(network, text):
    code, out, err = network(text)
    assert (code, out) == (2, "")
    assert err.count("\n") == 1


def test_what_fixed_stations_settle_is_told_without_an_uncertainty(network):
    document = vehicle()
    for station in document["stations"]:
        station["fixed"] = True
    out = network(document)[1]
    assert "setback axle 1           0.000°, by the fixed stations" in out.splitlines()


def test_a_network_that_falls_apart_is_said(network):
    document = vehicle()
    document["observations"] = [e for e in document["observations"] if e["at"][1] == e["to"][1]]
    code, out, _ = network(document)
    assert code == 0
    assert "the network falls apart: no reading ties" in out
    answer = json.loads(network(document, "--json")[1])
    assert answer["axles"][0]["total_toe_deg"] == pytest.approx(0.2, abs=1e-5)
    assert answer["axles"][0]["heading_deg"] is None
    assert "heading_deg axle 1" in answer["undetermined"]
    assert {"toe_deg L1", "toe_deg R2"} <= set(answer["undetermined"])


def test_a_network_without_a_distance_says_what_it_can_tell(network):
    document = vehicle()
    document["observations"] = [e for e in document["observations"] if e["type"] == "direction"]
    code, out, _ = network(document)
    assert code == 0
    assert "the scale is not determined: lengths are not told" in out
    answer = json.loads(network(document, "--json")[1])
    assert answer["wheels"][0]["toe_deg"] == pytest.approx(0.2, abs=1e-5)
    assert answer["proof"][0]["distance_m"] is None
    # With the mid-points of the centre line named by a third axle, its offset is a length too.
    document["stations"] += [
        {"id": "M", "x_m": 2.0, "y_m": 1.2, "axle": 3, "side": "left"},
        {"id": "N", "x_m": 2.0, "y_m": -0.8, "axle": 3, "side": "right"},
    ]
    place = {s["id"]: (s["x_m"], s["y_m"]) for s in document["stations"]}
    for at in "MN":
        for to in ("L1", "R1", "L2"):
            (x, y), (p, q) = place[at], place[to]
            entry = {"type": "direction", "at": at, "to": to, "sigma_deg": 0.01}
            angle = {"angle_deg": math.degrees(math.atan2(q - y, p - x))}
            document["observations"].append(entry | angle)
    answer = json.loads(network(document, "--json")[1])
    assert answer["undetermined"] == ["lateral_offset_mm axle 3"]
    advice = answer["settled_by"]["lateral_offset_mm axle 3"]
    assert [each["type"] for each in advice["add"]] == ["distance"]
    assert 0.0 < advice["u_mm"] < 1.0


def test_readings_that_tell_nothing_are_refused(network):
    document = vehicle()
    document["observations"] = [document["observations"][-1]]
    code, out, err = network(document)
    assert (code, out) == (3, "")
    assert err.startswith("levelhead network: refused: the readings determine nothing")
    assert err.count("\n") == 1
    document["observations"] = []
    code, _, err = network(document)
    assert code == 3
    assert "no reading to adjust" in err


def test_a_lost_toe_comes_with_the_reading_that_brings_it_back(network):
    document = vehicle()
    document["observations"] = [
        e for e in document["observations"] if e["at"] != "L2" or e["type"] == "distance"
    ]
    code, out, _ = network(document)
    assert code == 0
    assert "not determined: toe_deg L2" in out
    assert "add a direction L2 to " in out
    answer = json.loads(network(document, "--json")[1])
    assert answer["wheels"][2] == {"id": "L2", "toe_deg": None, "u_toe_deg": None}
    assert [each["at"] for each in answer["settled_by"]["toe_deg L2"]["add"]] == ["L2"]


def test_a_plain_survey_network_is_told_by_its_points(network):
    stations = [
        {"id": "A", "x_m": 0.0, "y_m": 0.0, "fixed": True},
        {"id": "B", "x_m": 40.0, "y_m": 0.0, "fixed": True},
        {"id": "C", "x_m": 21.0, "y_m": 29.0},
    ]
    observations = [
        {"type": "distance", "at": "A", "to": "C", "distance_m": 36.056, "sigma_m": 0.002},
        {"type": "distance", "at": "B", "to": "C", "distance_m": 36.056, "sigma_m": 0.002},
    ]
    code, out, _ = network({"stations": stations, "observations": observations})
    assert code == 0
    assert out.splitlines()[2].startswith("C            x 20.0000 m, y 30.0")
    answer = json.loads(network({"stations": stations, "observations": observations}, "--json")[1])
    assert (answer["wheels"], answer["axles"]) == ([], [])


def test_a_wrong_tape_across_an_axle_is_named_beside_the_seat_that_it_looks_like(network):
    """A tape from left to right hub and a head's seat there move the same place alike."""
    page = (Path(network_room.__path__[0]) / "FILES.md").read_text(encoding="utf-8")
    document = json.loads(re.search(r"```file tractor.json\n(.*?)```", page, flags=re.DOTALL)[1])
    at, tape = next(
        (i, each)
        for i, each in enumerate(document["observations"])
        if each["type"] == "distance" and {each["at"][0], each["to"][0]} == {"L", "R"}
    )
    tape["distance_m"] += 0.05
    code, out, _ = network(json.dumps(document))
    assert code == 0
    assert "distrust" in out
    assert f"observations[{at}]" in out
