"""``levelhead decide``: one object or a text, the exit code, and one line for bad input."""

import json

import pytest

from ingest.cli import main

LIMITS = ("--low", "-1.0", "--high", "0.5")


def run(capsys, *words):
    code = main(["decide", *words])
    out, err = capsys.readouterr()
    return code, out, err


def test_prints_one_object(capsys):
    code, out, err = run(capsys, "--value", "-1.03", "--u", "0.03125", *LIMITS, "--json")
    assert (code, err) == (0, "")
    answer = json.loads(out)
    assert answer.pop("p_conform") == pytest.approx(0.1685, abs=5e-5)
    assert answer == {
        "decision": "undecided",
        "acceptance_low": -0.9375,
        "acceptance_high": 0.4375,
        "rule": "guard-u",
        "why": "in-guard-band",
    }


def test_outside_is_a_result(capsys):
    code, out, _ = run(capsys, "--value", "-1.10", "--u", "0.03125", *LIMITS, "--json")
    assert code == 0
    assert json.loads(out)["decision"] == "outside"


@pytest.mark.parametrize(
    ("rule", "word"),
    [("simple", "outside"), ("guard-u", "undecided"), ("guard-u-4", "conditional-fail")],
)
def test_each_rule_has_its_words(capsys, rule, word):
    _, out, _ = run(
        capsys, "--value", "0.5625", "--u", "0.03125", *LIMITS, "--rule", rule, "--json"
    )
    assert json.loads(out)["decision"] == word


def test_a_missing_limit_is_null(capsys):
    _, out, _ = run(capsys, "--value", "1", "--u", "0.1", "--low", "0", "--json")
    assert json.loads(out)["acceptance_high"] is None


def test_negative_numbers_in_any_spelling_are_numbers(capsys):
    _, out, _ = run(
        capsys, "--value", "-1e-3", "--u", "1e-4", "--low", "-.5", "--high", "-1E-4", "--json"
    )
    assert json.loads(out)["decision"] == "inside"


def test_speaks_to_people_without_json(capsys):
    code, out, _ = run(capsys, "--value", "0.2", "--u", "0.03125", *LIMITS)
    assert code == 0
    assert out.startswith("inside: ")
    assert "from -0.9375 to 0.4375" in out
    _, out, _ = run(capsys, "--value", "0.2", "--u", "1", *LIMITS)
    assert "nowhere" in out
    _, out, _ = run(capsys, "--value", "0.2", "--u", "0.1", "--high", "1")
    assert "up to 0.8" in out
    _, out, _ = run(capsys, "--value", "0.2", "--u", "0.1", "--low", "0")
    assert "from 0.2 up" in out


@pytest.mark.parametrize(
    ("words", "names"),
    [
        (("--value", "x", "--u", "1", "--low", "0"), "--value"),
        (("--value", "nan", "--u", "1", "--low", "0"), "--value"),
        (("--value", "1", "--u", "inf", "--low", "0"), "--u"),
        (("--value", "1", "--u", "-1", "--low", "0"), "--u"),
        (("--value", "1", "--low", "0"), "--u"),
        (("--u", "1", "--low", "0"), "--value"),
        (("--value", "1", "--u", "1"), "--low, --high"),
        (("--value", "1", "--u", "1", "--low", "2", "--high", "1"), "--low"),
        (("--value", "1", "--u", "1", "--low", "1,5"), "--low"),
        (("--value", "1", "--u", "1", "--low", "0", "--rule", "strict"), "--rule"),
    ],
)
def test_bad_input_is_one_line_and_exit_2(capsys, words, names):
    code, out, err = run(capsys, *words)
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert err.startswith(f"levelhead decide: {names}: ")
