"""The schemas of the payloads, checked with jsonschema (an outside validator) on both drafts."""

import json

import jsonschema
import pytest

from ingest.payload.axle import AxleResult
from ingest.payload.base import DISPLAY_LIMIT_BYTES, PayloadError
from ingest.payload.cmd import read_command
from ingest.payload.examples import EXAMPLES as GOLDEN
from ingest.payload.head import Reading
from ingest.payload.schemas import TOPICS, schema, schema_names
from ingest.payload.stamp import epoch_ms, rfc3339

DESCRIPTIONS = {"head-meta/1", "service-meta/1"}
"""Read by displays that have room: they may nest and be long."""
BEYOND_DRAFT_07 = ("prefixItems", "unevaluatedProperties", "dependentRequired", "$dynamicRef")


@pytest.mark.parametrize("name", [name for name, _ in TOPICS.values()])
def test_a_schema_is_valid_in_both_drafts_and_keeps_to_what_they_share(name):
    found = schema(name)
    jsonschema.Draft7Validator.check_schema(found)
    jsonschema.Draft202012Validator.check_schema(found)
    assert not any(word in json.dumps(found) for word in BEYOND_DRAFT_07)


@pytest.mark.parametrize("name", GOLDEN)
def test_a_golden_example_validates_and_stays_small(name):
    payload = GOLDEN[name].encode()
    for validator in (jsonschema.Draft7Validator, jsonschema.Draft202012Validator):
        validator(schema(name)).validate(json.loads(payload))
    if name not in DESCRIPTIONS:
        assert len(payload) < DISPLAY_LIMIT_BYTES
        assert not any(isinstance(v, dict | list) for v in json.loads(payload).values())


def test_every_schema_has_a_golden_example_and_a_name_of_its_own():
    names = [name for name, _ in TOPICS.values()]
    assert sorted(names) == sorted(set(names)) == sorted(GOLDEN)
    assert set(schema_names()) == set(TOPICS)


@pytest.mark.parametrize("name", GOLDEN)
def test_a_message_comes_back_as_it_went(name):
    message = GOLDEN[name]
    assert type(message).decode(message.encode()) == message


@pytest.mark.parametrize("name", GOLDEN)
def test_a_schema_refuses_a_message_without_one_of_its_keys(name):
    fields = json.loads(GOLDEN[name].encode())
    needed = schema(name).get("required", [])
    for key in needed:
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate({k: v for k, v in fields.items() if k != key}, schema(name))


def test_a_newer_message_with_a_key_that_we_do_not_know_is_read():
    fields = json.loads(GOLDEN["reading/1"].encode()) | {"humidity": 41}
    jsonschema.validate(fields, schema("reading/1"))
    assert Reading.decode(json.dumps(fields).encode()) == GOLDEN["reading/1"]


def test_a_word_that_we_do_not_know_is_taken_for_the_worst():
    fields = json.loads(GOLDEN["axle-result/1"].encode()) | {"q": "splendid"}
    read = AxleResult.decode(json.dumps(fields).encode())
    assert (read.q, read.dec) == ("bad", "none")


@pytest.mark.parametrize("number", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_what_is_no_number_is_refused(number):
    payload = GOLDEN["reading/1"].encode().replace(b"-1.284", number.encode())
    with pytest.raises(PayloadError):
        Reading.decode(payload)


@pytest.mark.parametrize(("q", "u"), [("bad", 0.059), ("stale", 0.059), ("good", None)])
def test_nothing_is_decided_without_trust_or_uncertainty(q, u):
    fields = json.loads(GOLDEN["axle-result/1"].encode())
    fields |= {"q": q, "why": "x", "U": u, "dec": "inside", "rule": "guard-u", "lo": -1, "hi": 1}
    with pytest.raises(PayloadError):
        AxleResult.decode(json.dumps(fields).encode())


def test_a_time_has_nine_decimals_and_sorts_as_text():
    # RFC 3339, worked by hand: 1795598043 s after 1970 is 2026-11-25T09:14:03Z.
    early, late = 1_795_598_043_271_508_112, 1_795_598_043_999_999_999
    assert rfc3339(early) == "2026-11-25T09:14:03.271508112Z"
    assert rfc3339(early) < rfc3339(late)
    assert epoch_ms(late) == 1_795_598_043_999


@pytest.mark.parametrize(
    ("name", "payload", "code"),
    [
        ("turn-begin", b"{", "bad-json"),
        ("turn-begin", b"[]", "bad-json"),
        ("turn-begin", b"{}", "bad-field"),
        ("turn-begin", b'{"id":"c","head":"A B"}', "bad-field"),
        ("wheel", b'{"id":"c","head":"a","axle":0,"side":"left"}', "bad-field"),
        ("open-sesame", b'{"id":"c","head":"a"}', "unknown-command"),
        ("turn-begin", b'{"id":"c","head":"a","by":"' + b"x" * 2000 + b'"}', "too-large"),
        ("turn-begin", b"[" * 5000, "too-large"),
    ],
)
def test_a_broken_command_is_refused_by_code(name, payload, code):
    with pytest.raises(PayloadError) as refused:
        read_command(name, payload)
    assert refused.value.code == code
