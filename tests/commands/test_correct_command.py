"""``levelhead correct``: one object or a text, and one line for all that is wrong with a file."""

import io
import json
import math

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ingest.cli import main

ARMS = {
    "quantity": "axle_heading",
    "axle": 2,
    "measured_deg": 0.3,
    "u_deg": 0.02,
    "target_deg": 0.0,
    "adjuster": {
        "kind": "threaded_arms",
        "between_m": 1.0,
        "adjust": "left",
        "anchor": "ahead",
        "pitch_mm": 1.5,
    },
}
SHIMS = {
    **ARMS,
    "adjuster": {
        "kind": "shims",
        "between_m": 1.0,
        "adjust": "both",
        "thicker_moves": "forward",
        "most_mm": 10,
        "stock": [{"thickness_mm": 1, "count": 4}],
    },
}
ECCENTRICS = {
    **ARMS,
    "adjuster": {
        "kind": "eccentrics",
        "between_m": 1.0,
        "adjust": "left",
        "radius_mm": 10,
        "range_deg": 45,
    },
}
PINS = {
    **ARMS,
    "adjuster": {
        "kind": "bar_pins",
        "between_m": 1.0,
        "adjust": "left",
        "positions": [{"name": "a", "forward_mm": 0}, {"name": "b", "forward_mm": 4.8}],
        "at": {"left": "a", "right": "a"},
    },
}
STOP = {
    **ARMS,
    "quantity": "lock_angle",
    "side": "left",
    "measured_deg": 44,
    "target_deg": 45,
    "adjuster": {"kind": "steering_stop", "radius_mm": 120, "most_deg": 46, "pitch_mm": 1.5},
}
CASTER = {
    **ARMS,
    "quantity": "caster",
    "measured_deg": {"left": 2.5, "right": 2.5},
    "target_deg": {"left": 3.5, "right": 4.0},
    "adjuster": {
        "kind": "wedges",
        "spring": "above",
        "most_difference_deg": 0.5,
        "most_deg": 3,
        "stock": [{"angle_deg": 1.0, "count": 2}, {"angle_deg": 1.5, "count": 1}],
    },
}
CAMBER = {**ARMS, "quantity": "camber", "side": "right", "adjuster": {"kind": "beam_axle"}}


def with_(base, path, value):
    """A copy of a file with one key changed; an ellipsis takes it out."""
    copy = json.loads(json.dumps(base))
    *way, key = path.split(".")
    place = copy
    for step in way:
        place = place[int(step) if isinstance(place, list) else step]
    if value is ...:
        del place[key]
    else:
        place[key] = value
    return copy


@pytest.fixture
def correct(tmp_path, capsys):
    def run(content, *words):
        path = tmp_path / "file.json"
        path.write_text(content if isinstance(content, str) else json.dumps(content))
        code = main(["correct", str(path), *words])
        out, err = capsys.readouterr()
        return code, out, err

    return run


def test_the_object_has_exact_figures(correct):
    code, out, err = correct(ARMS, "--json")
    assert (code, err) == (0, "")
    found = json.loads(out)
    (step,) = found["steps"]
    assert step["length_mm"] == pytest.approx(-1000 * math.tan(math.radians(0.3)))
    assert step["turn_deg"] == pytest.approx(step["length_mm"] / 1.5 * 360)
    assert step["set_turn_deg"] == pytest.approx(-1255.0)
    (outcome,) = found["outcomes"]
    assert outcome["change_deg"] == pytest.approx(-0.3)
    set_mm = 1255 / 360 * 1.5
    assert outcome["expected_deg"] == pytest.approx(0.3 - math.degrees(math.atan(set_mm / 1000)))
    assert outcome["u_remaining_deg"] == pytest.approx(0.02)
    assert (found["worth_doing"], found["adjustable"]) == (True, True)
    assert "heading axle 2" in found["stale"]


def test_standard_input_is_read(monkeypatch, capsys):
    stdin = io.TextIOWrapper(io.BytesIO(json.dumps(ARMS).encode()))
    monkeypatch.setattr("sys.stdin", stdin)
    assert main(["correct", "-"]) == 0
    assert "Shorten the left torque arm" in capsys.readouterr().out


def test_the_text_shows_cautions_once_and_ends_with_what_must_be_measured_again(correct):
    for file in (ARMS, SHIMS, ECCENTRICS, PINS, STOP, CASTER):
        _, out, _ = correct(file)
        assert out.count("Chock the wheels") == 1
        assert out.count("never work under a vehicle") == 1
        last = out.splitlines()[-2:]
        assert "vehicle maker's torque" in last[0]
        assert "measure again" in last[0]
        assert last[1].startswith("Until then these do not hold: ")


def test_what_u_cannot_tell_is_left_alone(correct):
    _, out, _ = correct(with_(ARMS, "u_deg", 0.2))
    assert "Leave it: axle 2 differs from what is wanted by 0.300°" in out
    assert "cannot tell less than 0.400°" in out
    _, out, _ = correct(with_(ARMS, "u_deg", 0.2), "--json")
    assert json.loads(out)["worth_doing"] is False
    _, out, _ = correct(ARMS)
    assert "Leave it" not in out
    _, out, _ = correct(with_(ARMS, "u_deg", 0.15), "--json")
    assert json.loads(out)["worth_doing"] is False  # U is the very difference


def test_camber_of_a_beam_axle_is_referred_and_nobody_is_told_to_adjust(correct):
    code, out, _ = correct(CAMBER)
    assert code == 0
    assert "refer the axle to its maker" in out
    assert "1." not in out
    _, out, _ = correct(CAMBER, "--json")
    found = json.loads(out)
    assert (found["adjustable"], found["worth_doing"]) == (False, False)


def test_caster_has_an_outcome_for_each_side(correct):
    _, out, _ = correct(CASTER, "--json")
    found = json.loads(out)
    sides = {o["side"]: o for o in found["outcomes"]}
    wedges = {s["side"]: s["set_wedge_deg"] for s in found["steps"]}
    assert wedges == pytest.approx({"left": 1.0, "right": 1.5})
    assert sides["left"]["remaining_deg"] == pytest.approx(0.0, abs=1e-9)
    assert sides["right"]["remaining_deg"] == pytest.approx(0.0, abs=1e-9)


def test_a_shelf_that_cannot_do_it_is_a_result_with_what_remains(correct):
    code, out, err = correct(with_(SHIMS, "adjuster.stock", []))
    assert (code, err) == (0, "")
    assert "0.300° of error remains, more than the measurement's own doubt" in out
    assert out.splitlines()[-1] == "Nothing is to be changed, and all that was measured holds."
    _, out, _ = correct(with_(SHIMS, "adjuster.stock", []), "--json")
    assert (json.loads(out)["stale"], json.loads(out)["afterwards"]) == ([], None)


def test_what_is_fitted_beyond_a_limit_is_said_first_and_what_it_costs(correct):
    steep = with_(with_(CASTER, "adjuster.fitted_deg", {"left": 5, "right": 0}), "u_deg", 0.05)
    steep["target_deg"] = {"left": 3.5, "right": 3.5}
    _, out, _ = correct(steep)
    said = out.splitlines()
    assert said[0].startswith("The left wedge of 5.00 degrees that is fitted is steeper")
    assert said[1].startswith("The wedges that are fitted differ by 5.00 degrees")
    assert said[2].startswith("It must come out although the steps leave")
    found = json.loads(correct(steep, "--json")[1])
    left = max(abs(o["remaining_deg"]) for o in found["outcomes"])
    assert left > max(abs(o["change_deg"]) for o in found["outcomes"])
    assert (found["worth_doing"], found["worsens"]) == (True, True)
    assert found["beyond_limits"] == said[:2]


def test_a_pack_beyond_its_limit_is_said_first(correct):
    thick = with_(with_(SHIMS, "adjuster.most_mm", 2), "measured_deg", 0.1)
    thick["adjuster"] |= {"fitted": {"left": [6]}, "stock": []}
    said = correct(thick)[1].splitlines()
    assert said[0].startswith("The left shim pack is 6 mm thick, the maker's limit is 2 mm")
    assert said[1].startswith("It must come out although the steps leave")
    found = json.loads(correct(SHIMS, "--json")[1])
    assert (found["worsens"], found["beyond_limits"]) == (False, [])


BAD = [
    (with_(ARMS, "adjuster.pitch_mm", -1.5), "adjuster.pitch_mm = -1.5: must be at least 0.2"),
    (with_(ARMS, "adjuster.pitch_mm", [1.5, 0]), "adjuster.pitch_mm.1 = 0: must be at least 0.2"),
    (with_(ARMS, "adjuster.pitch_mm", 0), "adjuster.pitch_mm = 0: must be at least 0.2"),
    (with_(ARMS, "adjuster.pitch_mm", [1.5, 0]), "adjuster.pitch_mm.1 = 0: must be at least 0.2"),
    (with_(ARMS, "adjuster.pitch_mm", 0.0015), "give millimetres, not metres or inches"),
    (with_(ARMS, "adjuster.pitch_mm", []), "adjuster.pitch_mm = ()"),
    (with_(ARMS, "adjuster.pitch_mm", "1.5"), "adjuster.pitch_mm.0 = '1.5': a number is needed"),
    (with_(ARMS, "adjuster.pitch_mm", -1.5), "a pitch has no sign"),
    (with_(ARMS, "adjuster.pitch_mm", 12), "threads an inch? 12 of them are 2.117 mm"),
    (with_(ARMS, "adjuster.pitch_mm", [1, 1, 1]), "too many; 2 at the most"),
    (with_(ARMS, "adjuster.kind", "screw"), "adjuster.kind = 'screw': choose one of"),
    (with_(ARMS, "adjuster.kind", ...), "adjuster.kind: is needed"),
    (with_(ARMS, "adjuster.kind", "tie_rod"), "adjuster.kind = 'tie_rod': choose one of"),
    (with_(ARMS, "quantity", "total_toe"), "adjuster.kind = 'threaded_arms': choose 'tie_rod'"),
    (with_(ARMS, "quantity", "thrust"), "quantity = 'thrust': choose one of 'axle_heading'"),
    (with_(ARMS, "quantity", ...), "quantity: is needed"),
    (with_(ARMS, "adjuster.between_m", ...), "adjuster.between_m: is needed"),
    (with_(ARMS, "adjuster.between_m", 900), "give metres (900 mm are 0.9)"),
    (with_(ARMS, "adjuster.between_m", -1), "adjuster.between_m = -1: must be at least 0.3"),
    (with_(ARMS, "adjuster.betwen_m", 1), "adjuster.betwen_m = 1: no such key here"),
    (with_(ARMS, "bad\nkey", 1), "bad?key = 1: no such key here"),
    (with_(ARMS, "adjuster", ...), "adjuster: is needed"),
    (with_(ARMS, "adjuster", [1]), "adjuster = [1]"),
    (with_(ARMS, "measured_deg", math.nan), "NaN is not a number"),
    (with_(ARMS, "target_deg", math.inf), "Infinity is not a number"),
    (with_(ARMS, "measured_deg", "0.3"), "measured_deg = '0.3': a number is needed"),
    (with_(ARMS, "measured_deg", True), "measured_deg = True: a number is needed"),
    (with_(ARMS, "measured_deg", 31), "measured_deg = 31: must be at most 10"),
    (with_(ARMS, "measured_deg", ...), "measured_deg: is needed"),
    (with_(ARMS, "u_deg", -0.1), "u_deg = -0.1: must be at least 0.0001"),
    (with_(ARMS, "u_deg", 0), "u_deg = 0: must be at least 0.0001"),
    (with_(ARMS, "axle", 0), "axle = 0: must be at least 1"),
    (with_(ARMS, "axle", 1.5), "axle = 1.5: a whole number is needed"),
    (with_(SHIMS, "adjuster.stock.0.thickness_mm", -1), "adjuster.stock.0.thickness_mm = -1"),
    (with_(SHIMS, "adjuster.stock.0.count", 2.5), "adjuster.stock.0.count = 2.5: a whole number"),
    (with_(SHIMS, "adjuster.stock", 3), "adjuster.stock = 3: a list is needed"),
    (with_(ECCENTRICS, "adjuster.at_deg", {"left": 50}), "adjuster.at_deg.left = 50: lies outside"),
    (with_(ECCENTRICS, "adjuster.radius_mm", 0), "adjuster.radius_mm = 0: must be at least 0.5"),
    (with_(PINS, "adjuster.at.left", "c"), "adjuster.at.left = 'c': is none of the positions"),
    (with_(PINS, "adjuster.positions.1.name", "a"), "two of them have the same name"),
    (with_(STOP, "target_deg", 46.5), "target_deg = 46.5: is above adjuster.most_deg (46)"),
    (with_(STOP, "side", ...), "side: is needed"),
    (with_(CASTER, "measured_deg", 2.5), "measured_deg = 2.5: an object with keys is needed"),
    (with_(CASTER, "measured_deg.left", 25), "measured_deg.left = 25: must be at most 20"),
    (with_(CASTER, "adjuster.spring", "beside"), "adjuster.spring = 'beside': choose 'above' or"),
    (json.dumps(ARMS).replace("0.3", "1e999"), "measured_deg = inf"),
    (json.dumps(ARMS).replace('"axle"', '"u_deg"'), "a key is given twice"),
    ("[]", "not a JSON object"),
    ("", "unreadable JSON"),
    ('{"quantity": "camber", "axle": "\\ud800"}', "invalid json"),
]


@pytest.mark.parametrize(("content", "said"), BAD)
@pytest.mark.parametrize("words", [(), ("--json",)])
def test_bad_input_is_one_line_that_names_the_key(correct, content, said, words):
    code, out, err = correct(content, *words)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert err.startswith("levelhead correct: ")
    assert "file.json" in err
    assert said in err
    # No table is shown as such: it is one of its keys that is wrong.
    assert "{...}" not in err


REFUSED = [
    (with_(ARMS, "adjuster.travel_mm", {"longer": 10, "shorter": 5}), "5.24 mm is needed"),
    (with_(ECCENTRICS, "adjuster.range_deg", 20), "its travel leaves 3.42 mm"),
    (
        with_(with_(SHIMS, "adjuster.fitted", {"right": [6, 6]}), "adjuster.adjust", "left"),
        "12 mm, the most allowed is 10 mm",
    ),
]


@pytest.mark.parametrize(("content", "said"), REFUSED)
def test_what_the_adjuster_cannot_do_is_refused_with_the_figures(correct, content, said):
    code, out, err = correct(content, "--json")
    assert (code, out, err.count("\n")) == (3, "", 1)
    assert err.startswith("levelhead correct: refused: ")
    assert said in err


def test_a_file_that_is_not_there(tmp_path, capsys):
    assert main(["correct", str(tmp_path / "none.json")]) == 2
    assert capsys.readouterr().err.count("\n") == 1


values = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=2) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=4,
)
paths = st.sampled_from(
    [
        (base, path)
        for base in (ARMS, SHIMS, ECCENTRICS, PINS, STOP, CASTER, CAMBER)
        for path in [*base, *(f"adjuster.{key}" for key in base["adjuster"])]
    ]
)


@given(paths, values)
@settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_no_value_at_any_place_makes_more_than_one_line(correct, where, value):
    code, out, err = correct(with_(*where, value), "--json")
    assert code in (0, 2, 3)
    if code == 0:
        assert "NaN" not in out
        json.loads(out)
    else:
        assert (out, err.count("\n")) == ("", 1)
