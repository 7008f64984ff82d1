"""What every message keeps to: drawn at random from its own schema, and from newer programs."""

import json
import math

import jsonschema
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from ingest.payload.axle import AxleResult
from ingest.payload.base import DISPLAY_LIMIT_BYTES, Judged, PayloadError
from ingest.payload.head import Reading
from ingest.payload.runout import Runout
from ingest.payload.schemas import TOPICS, schema
from ingest.payload.svc import ServiceStatus

MODELS = dict(TOPICS.values())
SAFE = 2**53


def drawn(part, whole):
    """Return a strategy for what a schema lets through (as much of JSON Schema as ours use)."""
    if "$ref" in part:
        return drawn(whole["$defs"][part["$ref"].rpartition("/")[2]], whole)
    if "const" in part:
        return st.just(part["const"])
    if "enum" in part:
        return st.sampled_from(part["enum"])
    if "anyOf" in part:
        return st.one_of([drawn(each, whole) for each in part["anyOf"]])
    kind = part["type"]
    if kind == "object":
        if "properties" not in part:
            return st.dictionaries(st.text(max_size=9), drawn(part["additionalProperties"], whole))
        return st.fixed_dictionaries({k: drawn(v, whole) for k, v in part["properties"].items()})
    if kind == "array":
        return st.lists(drawn(part["items"], whole), max_size=3)
    return scalar(kind, part)


def scalar(kind, part):
    if kind == "string":
        if "pattern" in part:
            return st.from_regex(
                part["pattern"], fullmatch=True, alphabet=st.characters(codec="ascii")
            )
        return st.text(min_size=part.get("minLength", 0), max_size=part.get("maxLength", 40))
    if kind == "integer":
        return st.integers(part.get("minimum", -SAFE), part.get("maximum", SAFE - 1))
    if kind == "number":
        beyond = part.get("exclusiveMinimum")
        least = part.get("minimum", -1e300) if beyond is None else beyond
        most = part.get("maximum", 1e300)
        return st.floats(least, most, exclude_min=beyond is not None)
    return {"boolean": st.booleans(), "null": st.none()}[kind]


def agreeing(fields):
    """Return the fields with what their rules tie together tied: a reason, a k, a decision."""
    tied = {"why": "no-signal", "k": 2.0, "dec": "none", "axle": 3, "side": "left"}
    tied |= {"figure": 1.5, "limit": 1.0}
    return {**fields, **{key: value for key, value in tied.items() if key in fields}}


@pytest.mark.parametrize("name", MODELS)
@settings(max_examples=25, suppress_health_check=[HealthCheck.filter_too_much], deadline=None)
@given(data=st.data())
def test_what_the_schema_lets_through_is_read_and_comes_back_as_it_went(name, data):
    fields = agreeing(data.draw(drawn(schema(name), schema(name))))
    message, refused = None, ""
    try:
        message = MODELS[name].decode(json.dumps(fields).encode())
    except PayloadError as error:
        refused = str(error)
    # Only rules between fields may refuse what a schema of this subset cannot tell.
    assert message is not None or refused.startswith("message: ")
    assume(message is not None)
    payload = message.encode()
    assert MODELS[name].decode(payload) == message
    assert MODELS[name].decode(payload).encode() == payload
    for validator in (jsonschema.Draft7Validator, jsonschema.Draft202012Validator):
        validator(schema(name)).validate(json.loads(payload))


@pytest.mark.parametrize("name", MODELS)
@settings(max_examples=10, deadline=None)
@given(
    junk=st.binary(max_size=60)
    | st.recursive(
        st.none() | st.booleans() | st.floats() | st.text(max_size=5),
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner),
    ).map(lambda found: json.dumps(found).encode())
)
def test_junk_is_refused_by_code_and_in_one_line(name, junk):
    with pytest.raises(PayloadError) as refused:
        MODELS[name].decode(junk)
    assert refused.value.code in ("bad-json", "bad-field")


def example(name):
    """Return some valid fields of a message."""
    fields = {}
    for key, part in schema(name)["properties"].items():
        fields[key] = {"t": "2026-11-25T09:14:03.271508112Z", "ms": 1}.get(key, plain(part))
    return agreeing(fields)


def plain(part):
    if "anyOf" in part:
        part = part["anyOf"][0]
    if "const" in part or "enum" in part:
        return part.get("const", part.get("enum", [None])[0])
    if part["type"] == "string":
        line = r"^(P|[LR]\d{1,2})-[LR]\d{1,2}$"
        wanted = {"^[0-9a-f]{16}$": "a" * 16, "^[0-9a-f]{64}$": "a" * 64, line: "L1-R1"}
        return wanted.get(part.get("pattern"), "a")
    return {"integer": 1, "number": 1.0, "boolean": True}[part["type"]]


FLAT = [name for name in MODELS if "meta" not in name]


@pytest.mark.parametrize("name", FLAT)
def test_a_key_that_we_do_not_know_is_ignored(name):
    fields = example(name)
    known = MODELS[name].decode(json.dumps(fields).encode())
    newer = {"nested": {"deep": [1, None]}, **fields, "zest": 7}
    jsonschema.validate(newer, schema(name))
    assert MODELS[name].decode(json.dumps(newer).encode()) == known


@pytest.mark.parametrize(
    ("name", "key"), [(name, key) for name in FLAT for key in MODELS[name].WORST]
)
def test_a_word_that_we_do_not_know_is_the_worst_case_and_distrusts_the_rest(name, key):
    fields = {**example(name), key: "a-word-of-2031"}
    read = MODELS[name].decode(json.dumps(fields).encode())
    assert getattr(read, key) == MODELS[name].WORST[key]
    if isinstance(read, Judged) and key != "dec":
        assert (read.q, getattr(read, "dec", "none")) == ("bad", "none")


@pytest.mark.parametrize("name", FLAT)
def test_a_word_out_of_a_list_that_is_no_text_is_refused(name):
    for key in MODELS[name].WORST:
        with pytest.raises(PayloadError):
            MODELS[name].decode(json.dumps({**example(name), key: 7}).encode())


@pytest.mark.parametrize("name", [n for n in FLAT if issubclass(MODELS[n], Judged)])
@pytest.mark.parametrize("q", ["uncertain", "bad", "stale"])
def test_whoever_says_less_than_good_says_why(name, q):
    with pytest.raises(PayloadError, match="why"):
        MODELS[name].decode(json.dumps({**example(name), "q": q, "why": ""}).encode())


@pytest.mark.parametrize(
    ("missing", "holds"),
    [
        ({}, True),
        ({"q": "bad"}, False),
        ({"q": "stale"}, False),
        ({"U": None}, False),
    ],
)
@pytest.mark.parametrize("dec", ["inside", "undecided", "outside"])
def test_model_and_schema_agree_on_when_there_is_a_decision(missing, holds, dec):
    fields = {**example("axle-result/1"), "q": "good", "rule": "guard-u", "dec": dec, **missing}
    for validator in (jsonschema.Draft7Validator, jsonschema.Draft202012Validator):
        assert validator(schema("axle-result/1")).is_valid(fields) is holds
    if holds:
        assert AxleResult.decode(json.dumps(fields).encode()).dec == dec
    else:
        with pytest.raises(PayloadError, match="dec is"):
            AxleResult.decode(json.dumps(fields).encode())


@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize("name", ["reading/1", "axle-result/1"])
def test_no_message_of_ours_can_be_built_with_what_is_no_number(name, number):
    model = MODELS[name]
    message = model.decode(json.dumps(example(name)).encode())
    with pytest.raises(ValueError, match="finite"):
        model(**{**message.model_dump(), "value": number})


def test_zero_has_no_sign():
    fields = {**example("reading/1"), "value": -0.0}
    assert b'"value":0.0' in Reading.decode(json.dumps(fields).encode()).encode()


def test_no_message_of_ours_can_be_built_with_a_key_that_it_does_not_know():
    message = ServiceStatus.decode(json.dumps(example("service-status/1")).encode())
    with pytest.raises(ValueError, match="zest"):
        ServiceStatus(**message.model_dump(), zest=7)


@pytest.mark.parametrize(
    ("state", "why", "further"), [("turning", "turning", 120.5), ("done", "overdue", None)]
)
def test_the_fullest_run_out_fits_a_small_display(state, why, further):
    # Digits and lengths as the service gives them after hours of work, at their longest.
    message = Runout(
        t="2026-11-25T09:14:03.271508112Z",
        ms=1795598043271,
        q="uncertain",
        why=why,
        id="ro-1000",
        boot="b-e4434ef3",
        seq=100000,
        axle=12,
        side="right",
        state=state,
        n=10000,
        arc=1000.5,
        camber=-10.6532,
        camber_U=0.0081,
        heading=-90.911,
        heading_U=0.013,
        runout=0.82241,
        runout_U=0.00095,
        phase=-170.145,
        phase_U=0.071,
        ecc_mm=13.38,
        ecc_U=0.04718,
        k=2.0,
        dp=4,
        dilution=1.013,
        further=further,
        harm=2,
        rms=0.002289,
        cal="cal-2026-0001",
        ttl=3.0,
    )
    assert len(message.encode()) < DISPLAY_LIMIT_BYTES
    assert Runout.decode(message.encode()) == message


def test_a_refused_run_out_shows_its_figure_and_limit():
    fields = {**example("runout/1"), "state": "refused", "q": "bad", "figure": 1.0, "limit": 3.0}
    said = json.loads(Runout.decode(json.dumps(fields).encode()).encode())
    assert (said["figure"], said["limit"]) == (1.0, 3.0)
