"""Version 1 of the calibration record stays readable for ever; what no record may be."""

import hashlib
import json
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from calibration.errors import CalibrationFileError
from calibration.records.text import dump_record, load_record, seal

VERSION_1 = Path(__file__).parent / "version-1.json"
"""Written by the first release. Never write it anew: old records must stay readable."""

TEXT = VERSION_1.read_text(encoding="utf-8")


def numbers(node, path=()):
    """Yield the path of every number in the record."""
    if isinstance(node, dict):
        for key, value in node.items():
            yield from numbers(value, (*path, key))
    elif isinstance(node, list):
        for i, value in enumerate(node):
            yield from numbers(value, (*path, i))
    elif isinstance(node, (int, float)):
        yield path


NUMBERS = list(numbers(json.loads(TEXT)))


def replaced(path, change):
    raw = json.loads(TEXT)
    node = raw
    for step in path[:-1]:
        node = node[step]
    node[path[-1]] = change(node[path[-1]])
    return json.dumps(raw)


def resealed(**changes):
    """Return the text of a record that someone sealed with other content."""
    raw = json.loads(TEXT) | changes
    return json.dumps(raw | {"sha256": digest_by_hand(raw)})


def digest_by_hand(raw):
    """RFC 8785 for this record, without the library: sorted keys, no spaces, JS numbers."""
    body = {key: value for key, value in raw.items() if key != "sha256"}

    def canonical(node):
        if isinstance(node, dict):
            items = (f"{json.dumps(k)}:{canonical(v)}" for k, v in sorted(node.items()))
            return "{" + ",".join(items) + "}"
        if isinstance(node, list):
            return "[" + ",".join(map(canonical, node)) + "]"
        if isinstance(node, float):
            return js_number(node)
        return json.dumps(node, ensure_ascii=False)

    return hashlib.sha256(canonical(body).encode()).hexdigest()


def js_number(number):
    """ECMAScript's Number::toString for the magnitudes in use here (1e-6 to 1e21)."""
    if number == int(number):
        return str(int(number))
    text = repr(number)
    if "e-05" in text:  # JavaScript writes 0.000015 where Python writes 1.5e-05
        digits = text.split("e")[0].replace(".", "").replace("-", "")
        return ("-" if number < 0 else "") + "0.0000" + digits
    if "e-06" in text:
        digits = text.split("e")[0].replace(".", "").replace("-", "")
        return ("-" if number < 0 else "") + "0.00000" + digits
    return text


def test_version_1_is_readable():
    record = load_record(TEXT)
    assert record.record_id == "cal-2026-0042"
    assert record.issued == date(2026, 11, 2)
    assert record.tilt.matrix[1] == (-0.0018, 0.997, 0.0012)
    assert record.encoders["azimuth_cross"].harmonics[1].order == 2
    assert record.ports["azimuth_track"].forward_m == 0.58


def test_version_1_is_written_as_it_was():
    assert dump_record(load_record(TEXT)) == TEXT


def test_the_hash_is_sha256_of_the_canonical_form():
    raw = json.loads(TEXT)
    assert digest_by_hand(raw) == raw["sha256"]


def test_the_order_of_keys_and_the_white_space_do_not_matter():
    raw = json.loads(TEXT)
    shuffled = json.dumps(dict(reversed(raw.items())), separators=(",", ":"))
    assert load_record(shuffled) == load_record(TEXT)


@given(
    path=st.sampled_from(NUMBERS),
    value=st.one_of(st.floats(-1e3, 1e3), st.integers(-9, 9), st.none(), st.text(max_size=3)),
)
def test_refuses_any_changed_figure(path, value):
    raw = json.loads(TEXT)
    for step in path:
        raw = raw[step]
    if isinstance(value, (int, float)) and value == raw:
        assert load_record(replaced(path, lambda _: value)) == load_record(TEXT)
    else:
        with pytest.raises(CalibrationFileError):
            load_record(replaced(path, lambda _: value))


@pytest.mark.parametrize(
    "path", [n for n in NUMBERS if n != ("version",)], ids=lambda p: ".".join(map(str, p))
)
def test_refuses_the_least_change_of_any_figure(path):
    with pytest.raises(CalibrationFileError, match="altered"):
        load_record(replaced(path, lambda old: old * (1 + 4e-16) if old else 5e-324))


@given(st.data())
def test_refuses_any_changed_character(data):
    at = data.draw(st.integers(0, len(TEXT) - 1))
    new = data.draw(st.characters(min_codepoint=32, max_codepoint=126))
    changed = TEXT[:at] + new + TEXT[at + 1 :]
    try:
        assert load_record(changed) == load_record(TEXT)
    except CalibrationFileError:
        return
    assert json.loads(changed) == json.loads(TEXT)


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("", "unreadable"),
        ("{", "unreadable"),
        ("[]", "not a JSON object"),
        ("[" * 100_000, "unreadable"),
        ('{"a": NaN}', "NaN is not a number"),
        ('{"a": 1, "a": 1}', "given twice"),
        ("{}", "not a levelhead-calibration record"),
        ('{"format": "levelhead-calibration"}', "version None is unknown"),
        ('{"format": "levelhead-calibration", "version": 4}', "version 4 is unknown"),
        ('{"format": "levelhead-calibration", "version": true}', "version True is unknown"),
        ('{"format": "levelhead-calibration", "version": 1}', "altered"),
        (
            '{"format": "levelhead-calibration", "version": 1, "a": 1' + "0" * 30 + "}",
            "no canonical form",
        ),
    ],
)
def test_says_what_is_wrong(text, reason):
    with pytest.raises(CalibrationFileError, match=reason) as refusal:
        load_record(text, "head-3.json")
    assert str(refusal.value).startswith("head-3.json: ")
    assert "\n" not in str(refusal.value)


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({"extra": 1}, "extra"),
        ({"head_id": "left front"}, "head_id"),
        ({"record_id": "42"}, "record_id"),
        ({"due": "2026-11-02"}, "due is not after issued"),
        ({"stub_m": -0.1}, "stub_m"),
        ({"stub_m": "0.25"}, "stub_m"),
        ({"encoders": {"wheel": {"zero_deg": 0.1, "u_zero_deg": 0.1}}}, "encoders"),
    ],
)
def test_a_sealed_record_must_still_be_a_record(changes, reason):
    with pytest.raises(CalibrationFileError, match=reason):
        load_record(resealed(**changes))


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({"matrix": ((1.0, 0.0), (0.0, 1.0))}, "matrix is not 3 by 3"),
        ({"u_bias_deg": (0.1, 0.1)}, "u_bias_deg has 2 axes"),
        ({"u_bias_deg": (0.1, 0.1, -0.1)}, "greater than or equal"),
        ({"bias_deg": (0.1, 0.1, float("nan"))}, "finite"),
        ({"dof": 0}, "greater than 0"),
    ],
)
def test_refuses_a_tilt_part_that_does_not_fit_together(changes, reason):
    part = load_record(TEXT).tilt
    with pytest.raises(ValidationError, match=reason):
        type(part).model_validate(part.model_dump() | changes)


def test_refuses_a_harmonic_given_twice():
    part = load_record(TEXT).encoders["rotation"]
    twice = part.model_dump() | {"harmonics": (part.harmonics[0],) * 2}
    with pytest.raises(ValidationError, match="twice"):
        type(part).model_validate(twice)


def test_a_record_cannot_be_changed():
    record = load_record(TEXT)
    with pytest.raises(ValidationError, match="frozen"):
        record.stub_m = 0.3
    with pytest.raises(ValidationError, match="frozen"):
        record.tilt.bias_deg = (0.0, 0.0, 0.0)


def test_a_record_without_its_hash_is_not_written():
    draft = load_record(TEXT).model_copy(update={"sha256": ""})
    with pytest.raises(ValueError, match="not sealed"):
        dump_record(draft)
    assert seal(draft) == load_record(TEXT)


def test_a_record_is_overdue_the_day_after_it_is_due():
    record = load_record(TEXT)
    assert not record.overdue(date(2027, 5, 2))
    assert record.overdue(date(2027, 5, 3))
    assert not record.model_copy(update={"due": None}).overdue(date(2099, 1, 1))
